"""Photographs: checked to be images, turned upright, shrunk, and freed of everything but the
picture.

A form that comes back with an error keeps its photographs here, under its form key, until it is
sent again.
"""

import uuid
from datetime import datetime, timedelta

from django.core.files.base import ContentFile, File
from django.core.files.storage import default_storage
from PIL import Image

from jobs.pictures import (
    TooManyPixelsError,
    UnreadablePictureError,
    encode_jpeg,
    shrink_picture,
)

MAX_PHOTO_BYTES = 20 * 1024 * 1024
THUMBNAIL_SIDE_PIXELS = 640
STAGED_FOR = timedelta(days=2)


class PhotoError(ValueError):
    """The file is no photograph we can keep; the message says why and what to do."""


def normalize_photo(upload: "File[bytes]") -> "ContentFile[bytes]":
    """An upright JPEG of at most 2000 pixels a side without EXIF, so without the place where it was
    taken."""
    name = (upload.name or "The file")[:80]
    if (upload.size or 0) > MAX_PHOTO_BYTES:
        raise PhotoError(f"“{name}” is larger than 20 MB. Send a smaller picture.")
    upload.seek(0)
    try:
        jpeg = shrink_picture(upload.read())
    except TooManyPixelsError as error:
        raise PhotoError(f"“{name}” has too many pixels. Send a smaller picture.") from error
    except UnreadablePictureError as error:
        raise PhotoError(
            f"“{name}” is not a picture we can read. Send JPEG, PNG or WebP."
        ) from error
    return ContentFile(jpeg, name=f"{uuid.uuid4().hex}.jpg")


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
