"""A QR code of a link, for whoever holds the paper and a phone: ISO/IEC 18004, bytes, error
correction level M."""

import segno

MAX_QR_BYTES = 180  # what version 9 holds; beyond it the modules get too small for the paper
QUIET_ZONE = 4  # light modules around, section 6.3.8
PIXELS_A_MODULE = 2  # sharp at the size of a code on paper, and soon compressed


def qr_code(text: str) -> segno.QRCode:
    """The code of the text. Raises ValueError if it is too long for the paper."""
    content = text.encode()
    if len(content) > MAX_QR_BYTES:
        raise ValueError(f"{len(content)} bytes do not fit into a code of {MAX_QR_BYTES}.")
    return segno.make_qr(content, error="m", boost_error=False, mode="byte")


def qr_svg(text: str, title: str) -> str:
    """As a drawing for a page, with its quiet zone. Raises ValueError as `qr_code` does."""
    colours = {"light": "#fff", "dark": "#000"}
    names = {"title": title, "svgclass": None, "lineclass": None}
    return str(qr_code(text).svg_inline(border=QUIET_ZONE, omitsize=True, **colours, **names))


def qr_png(text: str) -> str:
    """As the address of a picture for paper (`data:`), which WeasyPrint sets many times faster than
    the drawing. Raises ValueError as `qr_code` does."""
    return qr_code(text).png_data_uri(scale=PIXELS_A_MODULE, border=QUIET_ZONE)
