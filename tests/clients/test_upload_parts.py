"""A photograph over a line that breaks: it comes in parts, goes on where the book has it, and is
whole or not there. Header names and their meaning: draft-ietf-httpbis-resumable-upload-10, section
4.3 (offset retrieval), 4.4 (append) and 4.5 (cancellation)."""

import hashlib
import uuid
from datetime import timedelta
from io import BytesIO
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.test import Client as Browser
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from clients.actions import upload_parts
from clients.models import MAX_PART_BYTES, UploadPart, User
from jobs.models import Job, Photo
from restorer.tasks import forget_answers_nightly
from tests.factories import JobFactory

pytestmark = pytest.mark.django_db
KEPT = {"X-Kept-Form": "1"}
PART = 1000


@pytest.fixture
def job() -> Job:
    return JobFactory(form_key=uuid.uuid4())


@pytest.fixture
def as_crew(crew: User, as_user: Any) -> Browser:
    return as_user(crew)


@pytest.fixture
def as_office(office: User, as_user: Any) -> Browser:
    return as_user(office)


def picture() -> bytes:
    image = Image.effect_noise((120, 90), 80).convert("RGB")
    image.save(file := BytesIO(), "JPEG")
    return file.getvalue()


def address(body: bytes) -> str:
    return reverse("phone_parts", args=[hashlib.sha256(body).hexdigest()])


def send(browser: Browser, body: bytes, offset: int, size: int = PART) -> Any:
    return browser.patch(
        address(body),
        body[offset : offset + size],
        content_type="application/partial-upload",
        headers={"Upload-Offset": str(offset), "Upload-Complete": "?0"},
    )


def where(answer: Any) -> int:
    return int(answer["Upload-Offset"])


def send_all(browser: Browser, body: bytes, offset: int = 0) -> None:
    while offset < len(body):
        offset = where(send(browser, body, offset))


def complete(browser: Browser, job: Job, body: bytes) -> Any:
    form = {
        "form_key": str(job.form_key),
        "moment": "finished",
        "in_parts": hashlib.sha256(body).hexdigest(),
    }
    return browser.post(reverse("jobs:form_photo"), form, headers=KEPT)


def test_a_photograph_in_parts_is_the_photograph_that_was_sent(as_crew: Browser, job: Job) -> None:
    body = picture()
    assert where(as_crew.head(address(body))) == 0
    send(as_crew, body, 0)
    asked = as_crew.head(address(body))  # the line broke: how far did it get?
    assert (asked.status_code, where(asked), asked["Upload-Complete"]) == (204, PART, "?0")
    assert asked["Cache-Control"] == "no-store"  # section 4.3
    send_all(as_crew, body, where(asked))

    answer = complete(as_crew, job, body)

    assert answer.json() == {"to": reverse("jobs:detail", args=[job.pk])}
    assert Photo.objects.get().content_hash == hashlib.sha256(body).hexdigest()


def test_a_part_that_comes_again_or_too_early_is_told_where_the_book_goes_on(
    as_crew: Browser,
) -> None:
    body = picture()
    send(as_crew, body, 0)

    again, early = send(as_crew, body, 0), send(as_crew, body, 2 * PART)

    assert [(each.status_code, where(each)) for each in (again, early)] == [(409, PART)] * 2
    assert UploadPart.objects.count() == 1


def test_a_form_whose_answer_was_lost_finds_the_parts_again_and_makes_no_second_photograph(
    as_crew: Browser, job: Job
) -> None:
    body = picture()
    send_all(as_crew, body)
    answers = [complete(as_crew, job, body).json() for _ in range(2)]
    assert answers[0] == answers[1]
    assert Photo.objects.count() == 1

    as_crew.delete(address(body))  # it was heard

    assert not UploadPart.objects.exists()


def test_parts_of_another_file_are_refused_and_the_next_try_begins_anew(
    as_crew: Browser, job: Job
) -> None:
    body = picture()
    send(as_crew, body, 0)

    answer = complete(as_crew, job, body)

    assert answer.status_code == 400
    assert not Photo.objects.exists()
    assert where(as_crew.head(address(body))) == 0


def test_nobody_completes_or_drops_what_another_person_sent(
    as_crew: Browser, as_office: Browser, job: Job
) -> None:
    body = picture()
    send_all(as_crew, body)

    assert where(as_office.head(address(body))) == 0
    assert complete(as_office, job, body).status_code == 400
    as_office.delete(address(body))

    assert where(as_crew.head(address(body))) == len(body)


@pytest.mark.parametrize(
    ("headers", "kind", "size", "status"),
    [
        ({"Upload-Offset": "0"}, "image/jpeg", PART, 415),
        ({"Upload-Offset": "-1"}, "application/partial-upload", PART, 400),
        ({"Upload-Offset": "9" * 30}, "application/partial-upload", PART, 400),
        ({"Upload-Offset": "٣"}, "application/partial-upload", PART, 400),
        ({}, "application/partial-upload", PART, 400),
        ({"Upload-Offset": "0"}, "application/partial-upload", 0, 400),
        ({"Upload-Offset": "0"}, "application/partial-upload", MAX_PART_BYTES + 1, 413),
    ],
)
def test_what_is_no_part_is_refused(
    as_crew: Browser, headers: dict[str, str], kind: str, size: int, status: int
) -> None:
    answer = as_crew.patch(address(b"any"), b"x" * size, content_type=kind, headers=headers)
    assert answer.status_code == status
    assert not UploadPart.objects.exists()


def test_a_file_is_known_by_its_sha_256_only(as_crew: Browser) -> None:
    assert as_crew.head(reverse("phone_parts", args=["A" * 64])).status_code == 404
    with pytest.raises(IntegrityError), transaction.atomic():
        UploadPart.objects.create(
            sent_by=User.objects.get(role="crew"),
            sha256="A" * 64,
            offset=0,
            body=b"x",
            received_at=timezone.now(),
        )


def test_a_person_may_let_so_much_wait_and_no_more(
    as_crew: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(upload_parts, "MAX_WAITING_BYTES", 2 * PART)
    body = b"x" * 3 * PART
    answers = [send(as_crew, body, number * PART) for number in range(3)]
    assert [each.status_code for each in answers] == [204, 204, 409]


def test_parts_that_never_became_a_file_go_after_some_nights(as_crew: Browser) -> None:
    send(as_crew, b"old", 0)
    UploadPart.objects.update(received_at=timezone.now() - timedelta(days=4))
    send(as_crew, b"new", 0)

    forget_answers_nightly()

    assert [bytes(each.body) for each in UploadPart.objects.all()] == [b"new"]
