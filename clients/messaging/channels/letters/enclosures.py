"""What goes into the envelope with a letter:
which of it can be printed behind the letter, and why the rest cannot."""

from collections.abc import Iterable
from dataclasses import dataclass
from io import BytesIO
from typing import TYPE_CHECKING

from clients.messaging.models import Attachment

if TYPE_CHECKING:  # 29 MB: loaded by whoever prints
    from pypdf import PdfReader

MAX_ENCLOSURE_PAGES = 60  # of one enclosure; more does not fit into the envelope either
MAX_ENCLOSED_BYTES = 100_000_000  # of all enclosures of a print
PAGE_SIDE_POINTS = range(
    72, 14_401
)  # points; an inch at least, and the largest page of ISO 32000-1 (Annex C)
NOT_A_PDF = "it is no PDF"
PASSWORD_PROTECTED = "it is protected by a password"  # noqa: S105 - said, not used
UNREADABLE_PDF = "it cannot be read"
ENCLOSURES_TOO_LARGE = (
    f"the print would have more than {MAX_ENCLOSED_BYTES // 1_000_000} MB of enclosures"
)


@dataclass
class Enclosure:
    """A file frozen with a letter."""

    row: Attachment
    why_apart: str = ""  # in words; then it is no part of the print
    reader: "PdfReader | None" = None  # once it was opened

    @property
    def name(self) -> str:
        return self.row.name

    @property
    def is_printed(self) -> bool:
        return self.reader is not None and not self.why_apart

    @property
    def pages(self) -> int:
        return len(self.reader.pages) if self.reader and self.is_printed else 0


def unopened_enclosure(row: Attachment, known: dict[str, str]) -> Enclosure:
    """Without opening it: what the last print found (attachment → why it stayed apart), else by its
    media type."""
    is_pdf = row.media_type == "application/pdf"
    return Enclosure(row, known.get(str(row.pk), "") if is_pdf else NOT_A_PDF)


def open_enclosures(enclosures: Iterable[Enclosure]) -> None:
    """Open what is a PDF; whatever is wrong with one is written down with it, and the others go
    on."""
    total = 0
    for each in enclosures:
        if each.row.media_type != "application/pdf":
            continue
        content = bytes(each.row.content)
        total += len(content)
        each.why_apart = ENCLOSURES_TOO_LARGE if total > MAX_ENCLOSED_BYTES else ""
        if not each.why_apart:
            each.reader, each.why_apart = open_pdf(content)


def open_pdf(content: bytes) -> "tuple[PdfReader | None, str]":
    """The reader, and why it cannot be printed."""
    from pypdf import PdfReader

    try:
        reader = PdfReader(BytesIO(content))
        return reader, PASSWORD_PROTECTED if reader.is_encrypted else why_unprintable(reader)
    except Exception:  # a file from elsewhere can be wrong in any way
        return None, UNREADABLE_PDF


def why_unprintable(reader: "PdfReader") -> str:
    if not 0 < len(reader.pages) <= MAX_ENCLOSURE_PAGES:
        return (
            f"it has {len(reader.pages)} pages; at most {MAX_ENCLOSURE_PAGES} are printed behind a"
            " letter"
        )
    sides = [side for page in reader.pages for side in (page.mediabox.width, page.mediabox.height)]
    return (
        ""
        if all(PAGE_SIDE_POINTS[0] <= side <= PAGE_SIDE_POINTS[-1] for side in sides)
        else UNREADABLE_PDF
    )
