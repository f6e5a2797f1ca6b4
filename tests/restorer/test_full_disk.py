"""A disk without room: the form is kept, nothing is saved by halves, no part of a file stays."""

import errno
from datetime import timedelta
from pathlib import Path
from typing import Any

import psycopg.errors
import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import OperationalError
from django.test import Client as Browser
from django.utils import timezone

from jobs.actions.photo_files import delete_orphaned_photos
from jobs.models import Job, Photo
from restorer.storage import WholeFiles
from tests.factories import DeckFactory, PhotoFactory, ProductFactory
from tests.jobs.log_page import URL, filled, picture, row

pytestmark = pytest.mark.django_db
OWN_PAGE = {"headers": {"origin": "http://testserver", "sec-fetch-site": "same-origin"}}


class HalfContent(ContentFile):
    """The disk takes the first part and has no room for the next."""

    def chunks(self, chunk_size: int | None = None) -> Any:
        yield b"half of it"
        raise OSError(errno.ENOSPC, "No space left on device")


def test_a_file_that_a_full_disk_cut_off_does_not_stay(tmp_path: Path) -> None:
    storage = WholeFiles(location=tmp_path)
    with pytest.raises(OSError, match="No space left"):
        storage.save("decks/2026/11/a.jpg", HalfContent(b"", name="a.jpg"))
    assert list(tmp_path.rglob("*.jpg")) == []

    kept = storage.save("decks/2026/11/a.jpg", ContentFile(b"whole"))
    assert (tmp_path / kept).read_bytes() == b"whole"


@pytest.mark.parametrize(
    "fault",
    [OSError(errno.ENOSPC, "No space left on device"), psycopg.errors.DiskFull("no space")],
)
def test_a_job_that_a_full_disk_cannot_take_is_kept_on_the_page(
    as_owner: Browser, business: Any, monkeypatch: pytest.MonkeyPatch, fault: Exception
) -> None:
    def no_room(*args: Any, **options: Any) -> str:
        if isinstance(fault, OSError):
            raise fault
        raise OperationalError("no space") from fault

    as_owner.raise_request_exception = False
    sent = filled(
        DeckFactory(),
        row(ProductFactory()),
        photos=[picture()],
        notes="Gate sticks",
        moment="found",
    )
    with monkeypatch.context() as patched:
        patched.setattr(default_storage, "save", no_room)
        answer = as_owner.post(URL, sent, **OWN_PAGE)

    text = answer.content.decode()
    assert answer.status_code == 507  # RFC 4918, 11.5
    assert "The disk is full" in text
    assert "Gate sticks" in text
    assert "Files have to be chosen again" in text
    assert (Job.objects.count(), Photo.objects.count()) == (0, 0)
    assert as_owner.post(URL, sent | {"photos": [picture()]}).status_code == 302


def test_any_other_fault_keeps_what_was_typed_too(
    as_owner: Browser, business: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*args: Any, **options: Any) -> None:
        raise RuntimeError("a fault of ours")

    as_owner.raise_request_exception = False
    monkeypatch.setattr("jobs.views.log.handle_log_post", broken)
    answer = as_owner.post(
        URL, filled(DeckFactory(), row(ProductFactory()), notes="Gate sticks"), **OWN_PAGE
    )

    assert answer.status_code == 500
    assert "Gate sticks" in answer.content.decode()
    assert "Send it again" in answer.content.decode()


def test_files_without_a_row_are_swept_once_they_are_old() -> None:
    delete_orphaned_photos(now=timezone.now() + timedelta(days=3))  # what other tests left
    named = PhotoFactory().image.name
    lost = default_storage.save("decks/2026/11/lost.jpg", ContentFile(b"x"))

    assert delete_orphaned_photos(now=timezone.now()) == 0
    assert delete_orphaned_photos(now=timezone.now() + timedelta(days=3)) == 1
    assert default_storage.exists(named)
    assert not default_storage.exists(lost)
