"""Photographs: checked to be images, turned upright, shrunk, and freed of everything but the
picture.

A form that comes back with an error keeps its photographs here, under its form key, until it is
sent again.
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

MAX_PHOTO_BYTES = 20 * 1024 * 1024
MAX_SIDE_PIXELS = 2000
THUMBNAIL_SIDE_PIXELS = 640
PHOTO_FORMATS = ["JPEG", "PNG", "WEBP"]
STAGED_FOR = timedelta(days=2)


class PhotoError(ValueError):
    """The file is no photograph we can keep; the message says why and what to do."""


def normalize_photo(upload: "File[bytes]") -> "ContentFile[bytes]":
    """An upright JPEG of at most 2000 pixels a side without EXIF, so without the place where it was
    taken."""
    name = (upload.name or "The file")[:80]
    if (upload.size or 0) > MAX_PHOTO_BYTES:
        raise PhotoError(f"“{name}” is larger than 20 MB. Send a smaller picture.")
    try:
        with warnings.catch_warnings(), refuse_truncated_images():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            picture = upright_rgb(upload)
            picture.thumbnail((MAX_SIDE_PIXELS, MAX_SIDE_PIXELS))
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise PhotoError(f"“{name}” has too many pixels. Send a smaller picture.") from error
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError) as error:
        raise PhotoError(
            f"“{name}” is not a picture we can read. Send JPEG, PNG or WebP."
        ) from error
    return ContentFile(encode_jpeg(picture), name=f"{uuid.uuid4().hex}.jpg")


@contextmanager
def refuse_truncated_images() -> Iterator[None]:
    """The library that prints PDFs tells Pillow to accept half a file;
    a photo that broke off must be sent again."""
    before = ImageFile.LOAD_TRUNCATED_IMAGES
    ImageFile.LOAD_TRUNCATED_IMAGES = False
    try:
        yield
    finally:
        ImageFile.LOAD_TRUNCATED_IMAGES = before


def upright_rgb(upload: "File[bytes]") -> Image.Image:
    """The picture alone, upright, transparent parts on white."""
    upload.seek(0)
    with Image.open(upload, formats=PHOTO_FORMATS) as opened:
        opened.draft(
            "RGB", (MAX_SIDE_PIXELS, MAX_SIDE_PIXELS)
        )  # a large JPEG is read at the size that is needed
        picture = ImageOps.exif_transpose(opened)
    if "A" in picture.getbands() or "transparency" in picture.info:
        picture = picture.convert("RGBA")
        picture = Image.alpha_composite(Image.new("RGBA", picture.size, "white"), picture)
    return picture.convert("RGB")


def encode_jpeg(picture: Image.Image) -> bytes:
    """A fresh copy of the pixels: no EXIF, no comment, no colour profile travels along."""
    out = BytesIO()
    fresh = Image.new("RGB", picture.size)
    fresh.paste(picture)
    fresh.save(out, "JPEG", quality=82, optimize=True, progressive=True)
    return out.getvalue()


def make_thumbnail(stored: "File[bytes]") -> bytes:
    """A copy for lists."""
    with Image.open(stored, formats=["JPEG"]) as opened:
        opened.draft("RGB", (THUMBNAIL_SIDE_PIXELS, THUMBNAIL_SIDE_PIXELS))
        picture = opened.convert("RGB")
    picture.thumbnail((THUMBNAIL_SIDE_PIXELS, THUMBNAIL_SIDE_PIXELS))
    return encode_jpeg(picture)


def staging_folder(form_key: uuid.UUID) -> str:
    return f"waiting/{form_key}"


def staged_photo_names(form_key: uuid.UUID) -> list[str]:
    """The names of the photographs that a form left here."""
    if not default_storage.exists(staging_folder(form_key)):
        return []
    return sorted(
        f"{staging_folder(form_key)}/{name}"
        for name in default_storage.listdir(staging_folder(form_key))[1]
    )


def stage_photos(form_key: uuid.UUID, files: list["ContentFile[bytes]"]) -> None:
    before = len(staged_photo_names(form_key))
    for number, file in enumerate(files, before):
        default_storage.save(f"{staging_folder(form_key)}/{number:03}-{file.name}", file)


def read_staged_photos(form_key: uuid.UUID) -> list["ContentFile[bytes]"]:
    """Read what a form left here."""
    taken = []
    for name in staged_photo_names(form_key):
        with default_storage.open(name) as file:
            taken.append(ContentFile(file.read(), name=f"{uuid.uuid4().hex}.jpg"))
    return taken


def delete_staged_photos(form_key: uuid.UUID) -> None:
    for name in staged_photo_names(form_key):
        default_storage.delete(name)
    if default_storage.exists(staging_folder(form_key)):
        default_storage.delete(staging_folder(form_key))


def delete_abandoned_photos(*, now: datetime) -> int:
    """Throw away what forms left here that never came back."""
    count = 0
    for name in default_storage.listdir("waiting")[0] if default_storage.exists("waiting") else []:
        files = staged_photo_names(uuid.UUID(name))
        if all(default_storage.get_modified_time(file) < now - STAGED_FOR for file in files):
            delete_staged_photos(uuid.UUID(name))
            count += 1
    return count
