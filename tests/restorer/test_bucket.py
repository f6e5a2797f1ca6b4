"""Photographs and backups in a bucket: a small server of the library moto on this machine, which
speaks the protocol over HTTP."""

import os
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import boto3
import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.core.management import CommandError, call_command
from django.test import Client as Browser
from django.utils import timezone
from moto.server import ThreadedMotoServer
from pytest_django import Settings

from clients.models import Deck, User
from jobs.actions.photo_files import delete_orphaned_photos
from jobs.models import Job, Photo
from jobs.photos import delete_abandoned_photos
from restorer import checks
from restorer.bucket import BucketAddress, BucketError, client
from restorer.models import BackupRun
from tests.business_day import today_there
from tests.factories import BusinessFactory, DeckFactory, ProductFactory, UserFactory
from tests.jobs.log_page import URL, filled, picture, row
from tests.restorer.conftest import NewBook, stored

OWN_PAGE = {"headers": {"origin": "http://testserver", "sec-fetch-site": "same-origin"}}
SILENT = "http://127.0.0.1:9"  # discard (RFC 863): nobody listens there


# Another store than the tests' own: its address, a key and its secret, with blanks between.
STORE = os.environ.get("RESTORER_TEST_STORE", "").split()
KEY, SECRET = STORE[1:] or ("key", "secret")


@pytest.fixture(scope="session")
def store_address() -> Iterator[str]:
    if STORE:
        yield STORE[0]
        return
    server = ThreadedMotoServer(ip_address="127.0.0.1", port=0, verbose=False)
    server.start()
    host, port = server.get_host_and_port()
    yield f"http://{host}:{port}"
    server.stop()


@pytest.fixture
def store(store_address: str, settings: Settings) -> Iterator[Any]:
    """An empty bucket `deck-care`, and the settings to reach it."""
    settings.S3_ENDPOINT, settings.S3_KEY, settings.S3_SECRET = store_address, KEY, SECRET
    options = client.connection_options()
    reached = boto3.client("s3", aws_access_key_id=KEY, aws_secret_access_key=SECRET, **options)
    reached.create_bucket(Bucket="deck-care")
    yield reached
    for found in reached.list_objects_v2(Bucket="deck-care").get("Contents", []):
        reached.delete_object(Bucket="deck-care", Key=found["Key"])
    reached.delete_bucket(Bucket="deck-care")


def keep_files_in(settings: Settings, address: str) -> None:
    settings.MEDIA_BUCKET = address
    kind = {"BACKEND": "restorer.bucket.files.BucketFiles", "OPTIONS": {"address": address}}
    settings.STORAGES = {**settings.STORAGES, "default": kind}


def keys(store: Any) -> list[str]:
    return [row["Key"] for row in store.list_objects_v2(Bucket="deck-care").get("Contents", [])]


def put(store: Any, key: str, content: bytes = b"x") -> None:
    store.put_object(Bucket="deck-care", Key=key, Body=content)


@pytest.mark.parametrize(
    ("text", "bucket", "prefix"),
    [
        ("s3://deck-care", "deck-care", ""),
        ("s3://deck-care/", "deck-care", ""),
        ("s3://deck-care/a/b/", "deck-care", "a/b"),
    ],
)
def test_an_address_names_a_bucket_and_a_prefix(text: str, bucket: str, prefix: str) -> None:
    place = BucketAddress.parse(text)
    assert (place.bucket, place.prefix) == (bucket, prefix)
    assert str(place) == text.rstrip("/")


@pytest.mark.parametrize("text", ["s3://", "s3:///a", "s3://A_b/c", "/var/backups", "s3://a"])
def test_what_is_no_address_of_a_bucket_is_refused(text: str) -> None:
    with pytest.raises(BucketError, match="Write s3://BUCKET/PREFIX"):
        BucketAddress.parse(text)


@pytest.mark.django_db
def test_photographs_of_a_job_lie_in_the_bucket_and_are_shown_kept_and_swept(
    as_owner: Browser, business: Any, store: Any, settings: Settings
) -> None:
    keep_files_in(settings, "s3://deck-care/photos")
    today = today_there().isoformat()
    sent = filled(DeckFactory(), row(ProductFactory()), finished_on=today, moment="found")

    wrong = as_owner.post(URL, sent | {"humidity_percent": "150", "photos": [picture()]})
    assert "1 photo already here" in wrong.text
    as_owner.post(URL, sent | {"photos": [picture(size=(500, 400))]})

    photos = Job.objects.get().photos.order_by("id")
    named = [f"photos/{photo.image.name}" for photo in photos]
    assert keys(store) == sorted(named)  # what waited for the form is gone
    shown: Any = as_owner.get(f"/jobs/photos/{photos[0].pk}/")
    assert b"".join(shown.streaming_content).startswith(b"\xff\xd8")
    put(store, "photos/decks/2026/11/lost.jpg")
    put(store, "photos/waiting/6f1f1b5e-7a53-4b53-9f55-0a4d8d8b5f11/000-a.jpg")
    later = timezone.now() + timedelta(days=3)
    assert (delete_orphaned_photos(now=later), delete_abandoned_photos(now=later)) == (1, 1)
    assert [key for key in keys(store) if "/small/" not in key] == sorted(named)


@pytest.mark.django_db
def test_a_store_that_does_not_answer_keeps_what_was_typed(
    as_owner: Browser,
    business: Any,
    store: Any,
    settings: Settings,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(client, "TRIES", 1)
    settings.S3_ENDPOINT = SILENT
    keep_files_in(settings, "s3://deck-care")
    as_owner.raise_request_exception = False
    today = today_there().isoformat()
    work = row(ProductFactory())
    sent = filled(DeckFactory(), work, finished_on=today, photos=[picture()], notes="Gate sticks")

    answer = as_owner.post(URL, sent, **OWN_PAGE)

    assert answer.status_code == 500
    assert "Gate sticks" in answer.text
    assert "Send it again" in answer.text
    assert (Job.objects.count(), Photo.objects.count()) == (0, 0)


def found() -> list[str]:
    return [str(message.id) for message in checks.check_buckets(None)]


def test_settings_that_cannot_reach_a_store_are_named(
    store: Any, settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert found() == []
    settings.BACKUP_BUCKET = "s3://deck-care/backups"
    assert found() == []
    assert checks.check_buckets_answer(None) == []
    settings.BACKUP_BUCKET = "s3://other-bucket"
    (message,) = checks.check_buckets_answer(None)
    assert "s3://other-bucket cannot be listed" in message.msg
    settings.BACKUP_BUCKET = "s3://Not A Bucket"
    settings.S3_SECRET, settings.S3_ENDPOINT = "", "store.example.com"
    assert found() == ["restorer.E006", "restorer.E007"]
    assert "S3_SECRET, S3_ENDPOINT" in checks.check_buckets(None)[1].msg
    settings.BACKUP_BUCKET, settings.S3_SECRET = "s3://deck-care", "secret"
    settings.S3_ENDPOINT = "http://store.example.com"
    assert found() == ["restorer.W015"]
    settings.S3_ENDPOINT = "https://store.example.com"
    monkeypatch.setattr(checks, "find_spec", lambda name: None)
    assert found() == ["restorer.E008"]


@pytest.mark.slow
@pytest.mark.django_db(transaction=True)
def test_a_backup_goes_to_the_bucket_is_proven_from_there_and_comes_back(
    new_book: NewBook, store: Any, settings: Settings, as_user: Any
) -> None:
    new_book()
    BusinessFactory()
    owner = UserFactory(username="maren", role="owner")
    DeckFactory(label="Upper deck")
    keep_files_in(settings, "s3://deck-care/photos")
    default_storage.save("decks/2026/11/a.jpg", ContentFile(b"a picture"))
    settings.BACKUP_BUCKET = "s3://deck-care/backups"
    first = datetime(2020, 1, 1, 3, tzinfo=UTC)
    times = [first + timedelta(days=number) for number in range(40)]
    for each in times:
        put(store, f"backups/book-{each:%Y-%m-%dT%H%M%SZ}.backup")
    put(store, "backups/holiday.txt")

    call_command("backup")

    run = BackupRun.objects.newest_proven()
    assert run.file.startswith("s3://deck-care/backups/book-20")
    assert run.file_count == 1
    left = [key for key in keys(store) if key.startswith("backups/book-2020")]
    assert len(left) == 9  # six days, three weeks, two months, of which two are both
    assert "backups/holiday.txt" in keys(store)
    assert list(Path(settings.VAR_DIR).glob("bucket-*")) == []
    page = as_user(owner).get("/settings/backup/").text
    assert "s3://deck-care/backups" in page
    assert "lies beside the book" not in page

    new_book()
    keep_files_in(settings, "s3://deck-care/new-photos")
    call_command("restore", run.file)
    assert (Deck.objects.get().label, User.objects.get().username) == ("Upper deck", "maren")
    assert stored("decks/2026/11/a.jpg") == b"a picture"
    assert "new-photos/decks/2026/11/a.jpg" in keys(store)

    named = run.file.removeprefix("s3://deck-care/")
    whole = store.get_object(Bucket="deck-care", Key=named)["Body"].read()
    put(store, "backups/cut.backup", whole[: len(whole) // 2])
    with pytest.raises(CommandError, match="cut off or damaged"):
        call_command("verify", "s3://deck-care/backups/cut.backup")
    with pytest.raises(CommandError, match="does not give gone"):
        call_command("verify", "s3://deck-care/backups/gone")
    with pytest.raises(CommandError, match="is there already"):
        call_command("backup", run.file)
