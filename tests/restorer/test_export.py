"""Everything out and in again: the same book gives the same bytes, and nothing is lost."""

import csv
import json
import zipfile
from io import BytesIO, StringIO
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.core.management import CommandError, call_command
from django.db import connection, models

from clients.messaging.models import Attachment, Message, TextGateway
from clients.models import Business, Client, Deck, User
from jobs.models import Job, Offer
from restorer.export import columns
from tests.factories import (
    BusinessFactory,
    CoatFactory,
    CrewFactory,
    OfferLineFactory,
    PhotoFactory,
    UserFactory,
)
from tests.outbox import queued
from tests.restorer.conftest import NewBook, stored

pytestmark = [pytest.mark.slow, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def filled(new_book: NewBook) -> str:
    """One of many kinds of row, some with values that are hard to write."""
    name = new_book()
    BusinessFactory()
    UserFactory(username="maren", role="owner")
    coat = CoatFactory(colour='Slate "grey", 2\u2033', litres="7.250")
    PhotoFactory(deck=coat.job.deck)
    OfferLineFactory()
    CrewFactory()
    message = queued(1)
    Attachment.objects.create(message=message, name="a.pdf", content=b"\x00\xff%PDF")
    Client.objects.update(name="=Pennington\nand Māori Ōtepoti")
    TextGateway.objects.create(
        id=1, auth_secret="a secret", url="https://gateway.example.com/", template={"to": "{to}"}
    )
    Job.objects.filter(pk=coat.job_id).first().save()  # leaves a line in the trail of changes
    default_storage.save("decks/2026/11/z.jpg", ContentFile(b"picture"))
    return name


def refusal(*arguments: Any) -> str:
    with pytest.raises(CommandError) as caught:
        call_command(*arguments)
    return str(caught.value)


def test_out_in_and_out_again_gives_the_same_bytes(
    filled: str, new_book: NewBook, tmp_path: Path
) -> None:
    first, second, third = (tmp_path / f"{name}.zip" for name in ("first", "second", "third"))
    call_command("export_book", first)
    new_book()
    call_command("import_export", first)
    call_command("export_book", second)
    new_book()
    call_command("import_export", second)
    call_command("export_book", third)
    assert first.read_bytes() == second.read_bytes() == third.read_bytes()
    assert Client.objects.first().name == "=Pennington\nand Māori Ōtepoti"
    assert bytes(Attachment.objects.get().content) == b"\x00\xff%PDF"
    assert stored("decks/2026/11/z.jpg") == b"picture"
    assert Business.objects.get().sends_nothing
    assert not User.objects.get(username="maren").has_usable_password()
    # numbers go on behind those that came in
    Deck.objects.create(site=Deck.objects.first().site, label="New", area_m2=18)


def test_a_folder_and_a_zip_hold_the_same(filled: str, new_book: NewBook, tmp_path: Path) -> None:
    call_command("export_book", tmp_path / "out")
    call_command("export_book", tmp_path / "out.zip")
    with zipfile.ZipFile(tmp_path / "out.zip") as archive:
        for name in archive.namelist():
            assert (tmp_path / "out" / name).read_bytes() == archive.read(name)
    new_book()
    call_command("import_export", tmp_path / "out")
    assert Offer.objects.count() == 1


def test_secrets_stay_at_home(filled: str, tmp_path: Path) -> None:
    call_command("export_book", tmp_path / "out")
    everything = b"".join(
        path.read_bytes() for path in (tmp_path / "out").rglob("*") if path.is_file()
    )
    assert b"a secret" not in everything
    assert User.objects.get(username="maren").password.encode() not in everything
    assert Business.objects.get().suppression_key.encode() in everything  # or opt-outs were lost


def test_each_column_says_what_it_holds(filled: str, tmp_path: Path) -> None:
    call_command("export_book", tmp_path / "out")
    said = list(csv.DictReader(StringIO((tmp_path / "out/columns.csv").read_text())))
    assert all(row["kind"] and row["meaning"] for row in said)
    for path in sorted((tmp_path / "out/tables").glob("*.csv")):
        with path.open(newline="") as file:
            header = next(csv.reader(file))
        assert header == [row["column"] for row in said if row["table"] == path.stem]
        rows = json.loads(path.with_suffix(".json").read_text())
        assert all(list(row) == header for row in rows)
    # RFC 4180, and no spreadsheet runs a name as a formula
    with (tmp_path / "out/tables/clients_client.csv").open(newline="") as file:
        clients = list(csv.DictReader(file))
    assert clients[0]["name"] == "'=Pennington\nand Māori Ōtepoti"


def test_every_table_is_exported_or_left_out_by_name() -> None:
    ours = {"clients", "jobs", "reminders"}
    tables = {
        model._meta.db_table
        for model in apps.get_models(include_auto_created=True)
        if model._meta.app_label in ours and model._meta.managed
    }
    exported = {model._meta.db_table for model in columns.exported_models()}
    assert exported - {"auditlog_logentry"} == tables - columns.LEFT_OUT_TABLES
    there = {
        (model._meta.db_table, field.attname)
        for model in columns.exported_models()
        for field in model._meta.concrete_fields
    }
    assert there >= columns.LEFT_OUT_COLUMNS
    secret = {(table, name) for table, name in there if "secret" in name or "password" in name}
    assert secret <= columns.LEFT_OUT_COLUMNS
    assert all(isinstance(field, models.Field) for field in Message._meta.concrete_fields)


def test_it_goes_into_an_empty_book_only(filled: str, tmp_path: Path) -> None:
    call_command("export_book", tmp_path / "out.zip")
    assert "This book is not empty" in refusal("import_export", tmp_path / "out.zip")
    assert "is there already" in refusal("export_book", tmp_path / "out.zip")
    assert "cannot be written" in refusal("export_book", tmp_path / "nowhere" / "out.zip")


def test_what_is_damaged_is_refused_and_nothing_is_changed(
    filled: str, new_book: NewBook, tmp_path: Path
) -> None:
    call_command("export_book", tmp_path / "out")
    table = tmp_path / "out/tables/clients_deck.json"
    rows = json.loads(table.read_text())
    new_book()
    spoilt = {
        "does not fit together": [{**rows[0], "site_id": 999_999}],
        "clients_deck.json": [{**rows[0], "area_m2": "wide"}],
        "'nonsense'": [{**rows[0], "nonsense": 1}],
    }
    for said, content in spoilt.items():
        table.write_text(json.dumps(content))
        assert said in refusal("import_export", tmp_path / "out")
    table.unlink()
    assert "lacks tables/clients_deck.json" in refusal("import_export", tmp_path / "out")
    (tmp_path / "x.zip").write_bytes(b"PK nothing")
    assert "cannot be read" in refusal("import_export", tmp_path / "x.zip")
    (tmp_path / "empty").mkdir()
    assert "is no export of this program" in refusal("import_export", tmp_path / "empty")
    assert not Business.objects.exists()
    assert not Client.objects.exists()


def test_the_owner_gets_it_by_a_button(filled: str, as_user: Any) -> None:
    answer = as_user(User.objects.get(username="maren")).post("/settings/backup/export/")
    content = b"".join(answer.streaming_content)
    with zipfile.ZipFile(BytesIO(content)) as archive:
        assert archive.testzip() is None
        assert "tables/clients_deck.json" in archive.namelist()
        assert "files/decks/2026/11/z.jpg" in archive.namelist()
    assert "attachment" in answer["Content-Disposition"]
    with connection.cursor() as cursor:  # the moment that it read is over
        cursor.execute("SHOW transaction_read_only")
        assert cursor.fetchone() == ("off",)
