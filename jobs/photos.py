"""Photographs: checked to be images, turned upright, shrunk, and freed of everything but the
picture.

A form that comes back with an error keeps its photographs here, under its form key, until it is
sent again.
"""

import hashlib
import logging
import uuid
from collections.abc import Callable, Iterable
from datetime import datetime, timedelta
from functools import partial
from pathlib import PurePosixPath

from django.core.files.base import ContentFile, File
from django.core.files.storage import default_storage
from django.db import transaction
from PIL import Image

from jobs.pictures import (
    TooManyPixelsError,
    UnreadablePictureError,
    encode_jpeg,
    shrink_logo,
    shrink_picture,
)

MAX_PHOTO_BYTES = 20 * 1024 * 1024
# Copies by the folder they lie in, with their longer side in pixels; made again from the pictures.
THUMBNAILS = {"small": 640, "tiny": 160}
STAGED_FOR = timedelta(days=2)
logger = logging.getLogger(__name__)


class NormalizedPhoto(ContentFile):  # type: ignore[type-arg] # Django gives it no brackets
    """A picture as it is kept, and the hash of the file that it came from."""

    def __init__(self, jpeg: bytes, *, content_hash: str) -> None:
        super().__init__(jpeg, name=f"{uuid.uuid4().hex}.jpg")
        self.content_hash = content_hash


class PhotoError(ValueError):
    """The file is no photograph we can keep; the message says why and what to do."""


def normalize_photo(upload: "File[bytes]") -> NormalizedPhoto:
    """An upright JPEG of at most 2000 pixels a side without EXIF, so without the place where it was
    taken."""
    content, jpeg = read_picture(upload, shrink_picture)
    return NormalizedPhoto(jpeg, content_hash=hashlib.sha256(content).hexdigest())


def normalize_logo(upload: "File[bytes]") -> "ContentFile[bytes]":
    """A small PNG on white, under a name of its own."""
    _content, png = read_picture(upload, shrink_logo)
    return ContentFile(png, name=f"{uuid.uuid4().hex}.png")


def read_picture(upload: "File[bytes]", shrink: Callable[[bytes], bytes]) -> tuple[bytes, bytes]:
    """What was sent, and what is kept of it. Raises `PhotoError`."""
    name = (upload.name or "The file")[:80]
    if (upload.size or 0) > MAX_PHOTO_BYTES:
        raise PhotoError(f"“{name}” is larger than 20 MB. Send a smaller picture.")
    upload.seek(0)
    content = upload.read()
    try:
        return content, shrink(content)
    except TooManyPixelsError as error:
        raise PhotoError(f"“{name}” has too many pixels. Send a smaller picture.") from error
    except UnreadablePictureError as error:
        raise PhotoError(
            f"“{name}” is not a picture we can read. Send JPEG, HEIC, PNG or WebP."
        ) from error


def make_thumbnail(stored: "File[bytes]", side: int) -> bytes:
    """A copy of at most so many pixels a side."""
    with Image.open(stored, formats=["JPEG"]) as opened:
        opened.draft("RGB", (side, side))
        picture = opened.convert("RGB")
    picture.thumbnail((side, side))
    return encode_jpeg(picture)


def stored_thumbnail(name: str, folder: str = "small") -> bytes:
    """A copy of a stored picture, made once: a picture never changes under its name. `folder` is
    one of `THUMBNAILS`. Raises OSError where the picture is gone."""
    small = thumbnail_name(name, folder)
    if default_storage.exists(small):
        with default_storage.open(small) as kept:
            return bytes(kept.read())
    with default_storage.open(name) as stored:
        made = make_thumbnail(stored, THUMBNAILS[folder])
    keep_thumbnail(small, made)
    return made


def keep_small_copy(name: str) -> None:
    """As soon as the picture is safe, so that no page and no paper waits for it."""
    transaction.on_commit(partial(stored_thumbnail, name), robust=True)


def keep_thumbnail(small: str, made: bytes) -> None:
    """On a full disk it is made again next time; of two at once one is kept."""
    try:
        saved = default_storage.save(small, ContentFile(made))
    except OSError:
        logger.warning("The small copy %s could not be kept.", small)
        return
    if saved != small:
        default_storage.delete(saved)


def thumbnail_name(name: str, folder: str = "small") -> str:
    return f"{folder}/{name}"


def delete_photo_files(names: Iterable[str]) -> None:
    """The pictures and their small copies."""
    for name in names:
        default_storage.delete(name)
        for folder in THUMBNAILS:
            default_storage.delete(thumbnail_name(name, folder))


def stored_in(folder: str) -> tuple[list[str], list[str]]:
    """The folders and files in a folder of the store; none if it is not there."""
    try:
        return default_storage.listdir(folder)
    except FileNotFoundError:
        return [], []


def staging_folder(form_key: uuid.UUID) -> str:
    return f"waiting/{form_key}"


def staged_photo_names(form_key: uuid.UUID) -> list[str]:
    """The names of the photographs that a form left here."""
    folder = staging_folder(form_key)
    return sorted(f"{folder}/{name}" for name in stored_in(folder)[1])


def stage_photos(form_key: uuid.UUID, files: list[NormalizedPhoto]) -> None:
    """Leave photographs here, each once."""
    names = staged_photo_names(form_key)
    there = {staged_hash(name) for name in names}
    new = {file.content_hash: file for file in files if file.content_hash not in there}
    for number, file in enumerate(new.values(), len(names)):
        name = f"{number:03}-{file.content_hash}.jpg"
        default_storage.save(f"{staging_folder(form_key)}/{name}", file)


def staged_hash(name: str) -> str:
    """From a name as `stage_photos` gives it."""
    return PurePosixPath(name).stem.partition("-")[2]


def read_staged_photos(form_key: uuid.UUID) -> list[NormalizedPhoto]:
    """Read what a form left here."""
    taken = []
    for name in staged_photo_names(form_key):
        with default_storage.open(name) as file:
            taken.append(NormalizedPhoto(file.read(), content_hash=staged_hash(name)))
    return taken


def delete_staged_photos(form_key: uuid.UUID) -> None:
    for name in staged_photo_names(form_key):
        default_storage.delete(name)
    if default_storage.exists(staging_folder(form_key)):
        default_storage.delete(staging_folder(form_key))


def delete_abandoned_photos(*, now: datetime) -> int:
    """Throw away what forms left here that never came back."""
    count = 0
    for name in stored_in("waiting")[0]:
        files = staged_photo_names(uuid.UUID(name))
        if all(default_storage.get_modified_time(file) < now - STAGED_FOR for file in files):
            delete_staged_photos(uuid.UUID(name))
            count += 1
    return count
