"""What may be kept with a deck or a product: photographs as they are kept everywhere, and PDFs
that can be read."""

import hashlib
import uuid
from pathlib import PurePosixPath

from django.core.files.base import ContentFile, File

from jobs.pdf_check import (
    LockedPdfError,
    UnreadablePdfError,
    looks_like_pdf,
    require_pdf,
)
from jobs.photos import MAX_PHOTO_BYTES, NormalizedPhoto, PhotoError, normalize_photo

MAX_TITLE = 200


class CheckedPdf(ContentFile):  # type: ignore[type-arg] # Django gives it no brackets
    """A PDF that can be read, byte for byte as it was sent."""

    def __init__(self, content: bytes) -> None:
        super().__init__(content, name=f"{uuid.uuid4().hex}.pdf")
        self.content_hash = hashlib.sha256(content).hexdigest()


KeptFile = NormalizedPhoto | CheckedPdf


def check_kept_file(upload: "File[bytes]") -> KeptFile:
    """Raises `PhotoError`, whose message names the file and says what to do."""
    name = (upload.name or "The file")[:80]
    if (upload.size or 0) > MAX_PHOTO_BYTES:
        raise PhotoError(f"“{name}” is larger than 20 MB. Send a smaller file.")
    upload.seek(0)
    content = upload.read()
    if not looks_like_pdf(content):
        return read_as_photo(upload, name)
    try:
        require_pdf(content)
    except LockedPdfError as error:
        raise PhotoError(f"“{name}” asks for a password. Save it without one.") from error
    except UnreadablePdfError as error:
        raise PhotoError(f"“{name}” cannot be opened. Save it as a PDF again.") from error
    return CheckedPdf(content)


def read_as_photo(upload: "File[bytes]", name: str) -> NormalizedPhoto:
    suffix = PurePosixPath(name).suffix.casefold()
    try:
        return normalize_photo(upload)
    except PhotoError as error:
        if suffix in {".jpg", ".jpeg", ".png", ".webp", ".heic"}:
            raise
        raise PhotoError(
            f"“{name}” is no PDF and no picture. Save it as a PDF and send that."
        ) from error


def title_of(name: str) -> str:
    """What a file is called by whoever sent it, without its ending."""
    return " ".join(PurePosixPath(name).stem.replace("_", " ").split())[:MAX_TITLE] or "Document"
