"""A QR code of a link, for whoever holds the paper and a phone: ISO/IEC 18004, bytes, error
correction level M, drawn as one path."""

from itertools import groupby
from xml.sax.saxutils import escape

import segno

MAX_QR_BYTES = 180  # what version 9 holds; beyond it the modules get too small for the paper
QUIET_ZONE = 4  # light modules around, section 6.3.8


def qr_code(text: str) -> segno.QRCode:
    """The code of the text. Raises ValueError if it is too long for the paper."""
    content = text.encode()
    if len(content) > MAX_QR_BYTES:
        raise ValueError(f"{len(content)} bytes do not fit into a code of {MAX_QR_BYTES}.")
    return segno.make_qr(content, error="m", boost_error=False, mode="byte")


def qr_svg(text: str, title: str) -> str:
    """As a drawing with its quiet zone, one path. Raises ValueError as `qr_code` does."""
    rows = list(qr_code(text).matrix_iter(border=QUIET_ZONE))
    runs = []
    for number, row in enumerate(rows):
        column = 0
        for is_dark, group in groupby(row):
            length = len(list(group))
            if is_dark:
                runs.append(f"M{column} {number}h{length}v1h-{length}z")
            column += length
    size = len(rows)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {size} {size}"'
        f' shape-rendering="crispEdges"><title>{escape(title)}</title><path fill="#fff" d="M0'
        f' 0h{size}v{size}H0z"/><path fill="#000" d="{"".join(runs)}"/></svg>'
    )
