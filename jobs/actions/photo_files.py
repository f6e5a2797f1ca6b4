"""Files of photographs and documents that no row names."""

from collections.abc import Iterator
from datetime import datetime

from django.core.files.storage import default_storage

from jobs.models import Document, Photo
from jobs.photos import STAGED_FOR, delete_photo_files, stored_in

# folder of the store → the rows that name its files, and by which field
NAMED_BY = {"decks": (Photo, "image"), "documents": (Document, "file")}


def delete_orphaned_photos(*, now: datetime) -> int:
    """Left by a process that died between the file and the row; young ones may still get theirs."""
    count = 0
    for top, (model, field) in NAMED_BY.items():
        for folder in month_folders(top):
            rows = model._base_manager.filter(**{f"{field}__startswith": f"{folder}/"})
            named = set(rows.values_list(field, flat=True))
            for path in old_files(folder, now):
                if path not in named:
                    delete_photo_files([path])
                    count += 1
    return count


def old_files(folder: str, now: datetime) -> Iterator[str]:
    for name in stored_in(folder)[1]:
        path = f"{folder}/{name}"
        if default_storage.get_modified_time(path) < now - STAGED_FOR:
            yield path


def month_folders(top: str) -> list[str]:
    """One for each month: decks/2026/11."""
    return [
        f"{top}/{year}/{month}"
        for year in stored_in(top)[0]
        for month in stored_in(f"{top}/{year}")[0]
    ]
