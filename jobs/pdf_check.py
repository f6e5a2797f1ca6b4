"""Whether a file that somebody sends is a PDF which can be kept and read later.

Pure pypdf: `python -m jobs.pdf_check` reads a file and ends with what it found. A process of its
own with little memory and time, since a file from elsewhere can be wrong in any way.
"""

import resource
import subprocess
import sys
from io import BytesIO
from pathlib import Path

PDF_HEAD = b"%PDF-"
HEAD_BYTES = 1024  # ISO 32000-1, Annex H 3.4.1: the head stands somewhere in these
CHECK_BYTES = 700_000_000  # of address space, of which libraries map some hundred million
CHECK_SECONDS = 10
UNREADABLE, LOCKED = 3, 4  # how the child ends
TOP = Path(__file__).resolve().parent.parent


class UnreadablePdfError(ValueError):
    """No PDF, half of one, or one that takes more memory or time than we give it."""


class LockedPdfError(ValueError):
    """A PDF that asks for a password."""


def looks_like_pdf(content: bytes) -> bool:
    return PDF_HEAD in content[:HEAD_BYTES]


def require_pdf(content: bytes) -> None:
    """Raises `UnreadablePdfError` or `LockedPdfError`."""
    try:
        done = subprocess.run(
            [sys.executable, "-m", "jobs.pdf_check"],
            cwd=TOP,
            input=content,
            capture_output=True,
            timeout=CHECK_SECONDS + 5,
            check=False,
        )
    except subprocess.TimeoutExpired as error:
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
    resource.setrlimit(resource.RLIMIT_AS, (CHECK_BYTES, CHECK_BYTES))
    resource.setrlimit(resource.RLIMIT_CPU, (CHECK_SECONDS, CHECK_SECONDS))
    return check_here(sys.stdin.buffer.read())


if __name__ == "__main__":
    sys.exit(run_check())
