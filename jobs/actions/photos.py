"""Photographs onto a deck or a job, their captions, and off again."""

from collections.abc import Sequence
from datetime import date, datetime

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import transaction

from clients.models import Deck
from jobs.models import Job, Photo


def attach_photos(
    *,
    deck: Deck,
    job: Job | None,
    files: Sequence["ContentFile[bytes]"],
    moment: str,
    taken_on: date,
    now: datetime,
) -> list[Photo]:
    """Store prepared pictures; if the transaction fails, files without a row are left, never rows
    without a file."""
    return [
        Photo.objects.create(
            deck=deck, job=job, image=file, moment=moment, taken_on=taken_on, created_at=now
        )
        for file in files
    ]


@transaction.atomic
def add_photos(
    *, job: Job, files: Sequence["ContentFile[bytes]"], moment: str, caption: str, now: datetime
) -> list[Photo]:
    photos = attach_photos(
        deck=job.deck, job=job, files=files, moment=moment, taken_on=job.finished_on, now=now
    )
    for photo in photos:
        describe_photo(photo=photo, caption=caption)
    return photos


@transaction.atomic
def describe_photo(*, photo: Photo, caption: str) -> None:
    """What is to be seen, in words, for those who cannot see it."""
    photo.caption = caption.strip()
    photo.save(update_fields=["caption"])


@transaction.atomic
def remove_photo(*, photo: Photo) -> None:
    name = photo.image.name or ""
    photo.delete()
    transaction.on_commit(lambda: default_storage.delete(name))
