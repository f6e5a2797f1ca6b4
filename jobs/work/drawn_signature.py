"""A signature drawn with a finger, kept as the path of an SVG (SVG 2, 9.3: M and L, whole numbers)
in a field of 600 × 200; nothing else may stand in it, so it is safe in a page."""

import re
from base64 import b64encode

DRAWN_WIDTH = 600
DRAWN_HEIGHT = 200
MAX_DRAWN_LENGTH = 8_000
DRAWN_PATTERN = re.compile(r"(M\d{1,3} \d{1,3}(L\d{1,3} \d{1,3})*)*")
SVG = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}">'
    '<rect width="{width}" height="{height}" fill="#fff"/>'
    '<path d="{path}" fill="none" stroke="#1a2629" stroke-width="4" stroke-linecap="round"'
    ' stroke-linejoin="round"/></svg>'
)


def is_drawn_path(text: str) -> bool:
    return len(text) <= MAX_DRAWN_LENGTH and DRAWN_PATTERN.fullmatch(text) is not None


def drawn_image_url(path: str) -> str:
    """The drawing as the address of an image (RFC 2397); empty if nothing was drawn."""
    if not path:
        return ""
    markup = SVG.format(width=DRAWN_WIDTH, height=DRAWN_HEIGHT, path=path)
    return f"data:image/svg+xml;base64,{b64encode(markup.encode()).decode()}"
