"""A database of a test's own, which may be renamed, dropped and put in the place of another."""

import uuid
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from django.core.files.storage import default_storage
from django.db import connection
from pytest_django import Settings

from tests import database

NewBook = Callable[[], str]


def stored(name: str) -> bytes:
    """What a file of the store holds."""
    with default_storage.open(name) as file:
        return bytes(file.read())


@pytest.fixture
def new_book(transactional_db: None, settings: Settings, tmp_path: Path) -> Iterator[NewBook]:
    """Makes an empty book with all its tables, connects to it, and says its name; the next one
    leaves it aside. Photographs and keys lie in a folder of the test."""
    usual = connection.settings_dict["NAME"]
    template = connection.settings_dict["TEST"]["TEMPLATE"]
    made: list[str] = []
    settings.VAR_DIR = tmp_path / "var"
    settings.BACKUP_DIR = tmp_path / "backups"

    def make() -> str:
        connection.close()
        name = f"{usual[:30]}_book_{uuid.uuid4().hex[:8]}"
        connection.settings_dict["NAME"] = usual
        with connection._nodb_cursor() as cursor:
            cursor.execute(
                f"CREATE DATABASE {database.quoted(name)} TEMPLATE {database.quoted(template)}"
            )
        made.append(name)
        connection.settings_dict["NAME"] = name
        settings.MEDIA_ROOT = tmp_path / f"photos{len(made)}"
        settings.STORAGES = {
            **settings.STORAGES,
            "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
        }
        return name

    yield make
    connection.close()
    connection.settings_dict["NAME"] = usual
    with connection._nodb_cursor() as cursor:
        for name in made:
            cursor.execute(f"DROP DATABASE IF EXISTS {database.quoted(name)} WITH (FORCE)")
