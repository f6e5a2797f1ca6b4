"""Makes a backup: the database of one moment, the photographs, and the key of the installation."""

import json
import uuid
from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from django.apps import apps
from django.conf import settings
from django.core.files.storage import default_storage
from django.db.models import FileField

from clients.models import Business
from jobs.photos import THUMBNAILS, stored_in
from restorer.backup import archive, database
from restorer.backup.manifest import Manifest
from restorer.backup.problem import BackupError
from restorer.backup.turn import backup_turn

# Folders of the store that are left out: photographs whose form was not sent yet, small copies.
FLEETING = {"waiting", *THUMBNAILS}


def write_backup(*, path: Path, passphrase: str, now: datetime) -> Manifest:
    """One file with all of the book; encrypted if there is a passphrase. What it holds."""
    if path.exists():
        raise BackupError(f"{path} is there already. Name another file.")
    dump = archive.part_path(path.with_name(f"{path.name}.dump"))
    try:
        with backup_turn(), archive.new_file(path) as out, database.book_snapshot() as snapshot:
            database.dump_book(dump, snapshot)
            manifest = describe(snapshot, now)
            named = named_file_names()
            written: list[Manifest] = []
            archive.write_archive(
                out,
                passphrase,
                lambda writer: written.append(fill_archive(writer, dump, named, manifest)),
            )
    except OSError as mistake:
        raise BackupError(f"{path} cannot be written: {mistake.strerror or mistake}.") from mistake
    finally:
        dump.unlink(missing_ok=True) if path.parent.is_dir() else None
    return written[0]


def describe(snapshot: database.Snapshot, now: datetime) -> Manifest:
    business = Business.current()
    return Manifest(
        key=str(uuid.uuid4()),
        made_at=now,
        release=settings.RELEASE,
        mode=settings.MODE,
        business=business.name if business else "",
        postgres=database.server_version(),
        migrations=snapshot.migrations,
        tables=snapshot.tables,
        without_rows=database.WITHOUT_ROWS,
    )


def fill_archive(
    writer: archive.ArchiveWriter, dump: Path, named: Iterable[str], manifest: Manifest
) -> Manifest:
    """Asks no database: for an encrypted backup it runs in a thread of its own."""
    with dump.open("rb") as file:
        writer.add(archive.DUMP, file, dump.stat().st_size)
    keys = {"SECRET_KEY": settings.SECRET_KEY}
    writer.add_bytes(archive.KEYS, json.dumps(keys).encode())
    for name in stored_file_names():
        try:
            with default_storage.open(name) as file:
                writer.add(f"{archive.FILES}{name}", file, file.size)
        except FileNotFoundError:
            continue  # deleted this moment
    missing = sorted(name for name in named if f"{archive.FILES}{name}" not in writer.records)
    return writer.finish(replace(manifest, missing=missing))


def named_file_names() -> set[str]:
    """The photographs and documents that rows name, by their names in the store."""
    fields = [
        (model, field.name)
        for model in apps.get_models()
        for field in model._meta.concrete_fields
        if isinstance(field, FileField)
    ]
    return {
        name
        for model, field in fields
        for name in model._base_manager.exclude(**{field: ""}).values_list(field, flat=True)
    }


def stored_file_names(folder: str = "") -> Iterator[str]:
    """Everything in the store that cannot be made again, in order of names."""
    folders, files = stored_in(folder)
    prefix = f"{folder}/" if folder else ""
    yield from sorted(f"{prefix}{name}" for name in files)
    for name in sorted(folders):
        if f"{prefix}{name}" not in FLEETING:
            yield from stored_file_names(f"{prefix}{name}")
