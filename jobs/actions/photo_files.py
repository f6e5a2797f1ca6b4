"""Files of photographs that no row names."""

from datetime import datetime

from django.core.files.storage import default_storage

from jobs.models import Photo
from jobs.photos import STAGED_FOR, delete_photo_files

PHOTO_FOLDER = "decks"  # as Photo.image has it


def delete_orphaned_photos(*, now: datetime) -> int:
    """Left by a process that died between the file and the row; young ones may still get theirs."""
    count = 0
    for folder in photo_folders():
        photos = Photo.objects.filter(image__startswith=f"{folder}/")
        named = set(photos.values_list("image", flat=True))
        for name in default_storage.listdir(folder)[1]:
            path = f"{folder}/{name}"
            if path not in named and default_storage.get_modified_time(path) < now - STAGED_FOR:
                delete_photo_files([path])
                count += 1
    return count


def photo_folders() -> list[str]:
    """One for each month: decks/2026/11."""
    if not default_storage.exists(PHOTO_FOLDER):
        return []
    years = default_storage.listdir(PHOTO_FOLDER)[0]
    return [
        f"{PHOTO_FOLDER}/{year}/{month}"
        for year in years
        for month in default_storage.listdir(f"{PHOTO_FOLDER}/{year}")[0]
    ]
