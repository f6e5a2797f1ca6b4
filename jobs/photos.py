"""Photographs: checked to be images, turned upright, shrunk, and freed of everything but the picture.

A form that comes back with an error keeps its photographs here, under its form key, until it is sent again.
"""

import uuid
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from io import BytesIO

from django.core.files.base import ContentFile, File
from django.core.files.storage import default_storage
from PIL import Image, ImageFile, ImageOps, UnidentifiedImageError

MOST_BYTES = 20 * 1024 * 1024
LONGEST_SIDE = 2000
SMALL_SIDE = 640
FORMATS = ["JPEG", "PNG", "WEBP"]
KEPT_FOR = timedelta(days=2)


class PhotoError(ValueError):
    """The file is no photograph we can keep; the message says why and what to do."""


def prepared(upload: File) -> ContentFile:
    """An upright JPEG of at most 2000 pixels a side without EXIF, so without the place where it was taken."""
    name = (upload.name or "The file")[:80]
    if (upload.size or 0) > MOST_BYTES:
        raise PhotoError(f"“{name}” is larger than 20 MB. Send a smaller picture.")
    try:
        with warnings.catch_warnings(), whole_pictures_only():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            picture = plain(upload)
            picture.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise PhotoError(f"“{name}” has too many pixels. Send a smaller picture.") from error
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError) as error:
        raise PhotoError(f"“{name}” is not a picture we can read. Send JPEG, PNG or WebP.") from error
    return ContentFile(jpeg(picture), name=f"{uuid.uuid4().hex}.jpg")


@contextmanager
def whole_pictures_only() -> Iterator[None]:
    """The library that prints PDFs tells Pillow to accept half a file; a photo that broke off must be sent again."""
    before, ImageFile.LOAD_TRUNCATED_IMAGES = ImageFile.LOAD_TRUNCATED_IMAGES, False
    try:
        yield
    finally:
        ImageFile.LOAD_TRUNCATED_IMAGES = before


def plain(upload: File) -> Image.Image:
    """The picture alone, upright, transparent parts on white."""
    upload.seek(0)
    with Image.open(upload, formats=FORMATS) as opened:
        opened.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))  # a large JPEG is read at the size that is needed
        picture = ImageOps.exif_transpose(opened)
    if "A" in picture.getbands() or "transparency" in picture.info:
        picture = picture.convert("RGBA")
        picture = Image.alpha_composite(Image.new("RGBA", picture.size, "white"), picture)
    return picture.convert("RGB")


def jpeg(picture: Image.Image) -> bytes:
    """A fresh copy of the pixels: no EXIF, no comment, no colour profile travels along."""
    out = BytesIO()
    fresh = Image.new("RGB", picture.size)
    fresh.paste(picture)
    fresh.save(out, "JPEG", quality=82, optimize=True, progressive=True)
    return out.getvalue()


def small(stored: File) -> bytes:
    """A copy for lists."""
    with Image.open(stored, formats=["JPEG"]) as opened:
        opened.draft("RGB", (SMALL_SIDE, SMALL_SIDE))
        picture = opened.convert("RGB")
    picture.thumbnail((SMALL_SIDE, SMALL_SIDE))
    return jpeg(picture)


def folder(form_key: uuid.UUID) -> str:
    return f"waiting/{form_key}"


def kept(form_key: uuid.UUID) -> list[str]:
    """The names of the photographs that a form left here."""
    if not default_storage.exists(folder(form_key)):
        return []
    return sorted(f"{folder(form_key)}/{name}" for name in default_storage.listdir(folder(form_key))[1])


def keep(form_key: uuid.UUID, files: list[ContentFile]) -> None:
    before = len(kept(form_key))
    for number, file in enumerate(files, before):
        default_storage.save(f"{folder(form_key)}/{number:03}-{file.name}", file)


def take(form_key: uuid.UUID) -> list[ContentFile]:
    """Read what a form left here."""
    taken = []
    for name in kept(form_key):
        with default_storage.open(name) as file:
            taken.append(ContentFile(file.read(), name=f"{uuid.uuid4().hex}.jpg"))
    return taken


def drop(form_key: uuid.UUID) -> None:
    for name in kept(form_key):
        default_storage.delete(name)
    if default_storage.exists(folder(form_key)):
        default_storage.delete(folder(form_key))


def drop_forgotten(*, now: datetime) -> int:
    """Throw away what forms left here that never came back."""
    count = 0
    for name in default_storage.listdir("waiting")[0] if default_storage.exists("waiting") else []:
        files = kept(uuid.UUID(name))
        if all(default_storage.get_modified_time(file) < now - KEPT_FOR for file in files):
            drop(uuid.UUID(name))
            count += 1
    return count
