"""Whether a file that somebody sends is a PDF which can be kept and read later.

Pure pypdf: `python -m jobs.pdf_check` reads a file, apart, and ends with what it found.
"""

import sys
from io import BytesIO

from jobs.child_process import limit_this_process, run_apart

PDF_HEAD = b"%PDF-"
HEAD_BYTES = 1024  # ISO 32000-1, Annex H 3.4.1: the head stands somewhere in these
CHECK_BYTES = 700_000_000  # of address space
CHECK_SECONDS = 10
UNREADABLE, LOCKED = 3, 4  # how the child ends


class UnreadablePdfError(ValueError):
    """No PDF, half of one, or one that takes more memory or time than we give it."""


class LockedPdfError(ValueError):
    """A PDF that asks for a password."""


def looks_like_pdf(content: bytes) -> bool:
    return PDF_HEAD in content[:HEAD_BYTES]


def require_pdf(content: bytes) -> None:
    """Raises `UnreadablePdfError` or `LockedPdfError`."""
    try:
        done = run_apart("jobs.pdf_check", content, seconds=CHECK_SECONDS + 5)
    except TimeoutError as error:
        raise UnreadablePdfError from error
    if done.returncode == LOCKED:
        raise LockedPdfError
    if done.returncode:
        raise UnreadablePdfError


def check_here(content: bytes) -> int:
    from pypdf import PdfReader

    try:
        reader = PdfReader(BytesIO(content))
        if reader.is_encrypted and not reader.decrypt(""):
            return LOCKED
        return 0 if reader.pages[0].mediabox else UNREADABLE
    except Exception:  # a file from elsewhere can be wrong in any way
        return UNREADABLE


def run_check() -> int:
    limit_this_process(address_bytes=CHECK_BYTES, cpu_seconds=CHECK_SECONDS)
    return check_here(sys.stdin.buffer.read())


if __name__ == "__main__":
    sys.exit(run_check())
