"""A form that was sent is taken once, however often it comes; a phone that keeps it hears where it
led, and one that broke off is refused whole."""

import uuid
from io import BytesIO
from typing import Any

import pytest
from django.test import Client as Browser
from django.test.client import BOUNDARY, MULTIPART_CONTENT, encode_multipart
from django.urls import reverse

from clients.models import Client, Deck, Place, ReceivedForm, User
from jobs.models import Job, Photo, SignOff, Visit
from tests.clients.filled import whole
from tests.factories import CoatFactory, DeckFactory, JobFactory, ProductFactory
from tests.jobs.log_page import filled, picture, row

pytestmark = pytest.mark.django_db
KEPT = {"X-Kept-Form": "1"}


def check(deck: Deck, **values: Any) -> dict[str, Any]:
    fields = {
        "form_key": str(uuid.uuid4()),
        "deck": deck.pk,
        "overall": "2",
        "reason": "routine",
        "visited_on": "2026-06-10",
    }
    return {**fields, **values}


def test_a_client_who_is_sent_again_much_later_is_in_the_book_once(
    as_owner: Browser, lunenburg: Place
) -> None:
    form = whole(form_key=str(uuid.uuid4()))
    answer = as_owner.post(reverse("clients:new"), form)
    assert answer.status_code == 302
    Client.objects.update(name="Marlow Vane")  # put right meanwhile: no likeness helps
    Deck.objects.update(created_at="2020-01-01T00:00Z")

    again = as_owner.post(reverse("clients:new"), form)

    assert again["Location"] == answer["Location"]
    assert Client.objects.count() == 1


def test_a_check_that_was_corrected_meanwhile_is_not_recorded_again(as_owner: Browser) -> None:
    deck = DeckFactory()
    form = check(deck)
    for _ in range(2):
        as_owner.post(reverse("jobs:visit"), form)
        Visit.objects.update(overall=4)

    assert [visit.overall for visit in Visit.objects.all()] == [4]
    assert ReceivedForm.objects.get().address == reverse("decks:detail", args=[deck.pk])


def test_a_form_that_was_refused_may_come_again_with_its_key(as_owner: Browser) -> None:
    form = check(DeckFactory(), overall="")
    assert as_owner.post(reverse("jobs:visit"), form).status_code == 200

    as_owner.post(reverse("jobs:visit"), {**form, "overall": "1"})

    assert Visit.objects.get().overall == 1


def test_a_phone_hears_where_its_form_led_and_the_words_wait_for_a_person(
    as_owner: Browser,
) -> None:
    deck = DeckFactory()

    answer = as_owner.post(reverse("jobs:visit"), check(deck), headers=KEPT)

    assert (answer.status_code, answer.json()) == (
        200,
        {"to": reverse("decks:detail", args=[deck.pk])},
    )
    assert "The check was recorded." in as_owner.get("/").content.decode()


def test_a_phone_whose_session_is_over_keeps_its_form(client: Browser, owner: User) -> None:
    answer = client.post(reverse("jobs:visit"), check(DeckFactory()), headers=KEPT)

    assert (answer.status_code, answer.content) == (401, b"")
    assert Visit.objects.count() == 0


def test_a_phone_whose_token_is_stale_gets_a_fresh_one(as_owner: Browser) -> None:
    strict = Browser(enforce_csrf_checks=True)
    strict.cookies = as_owner.cookies
    form = check(DeckFactory())
    stale = strict.post(reverse("jobs:visit"), form, headers=KEPT)
    assert stale.status_code == 403

    token = stale.json()["token"]
    answer = strict.post(
        reverse("jobs:visit"), {**form, "csrfmiddlewaretoken": token}, headers=KEPT
    )

    assert answer.status_code == 200
    assert Visit.objects.count() == 1


def test_words_that_changed_since_they_were_read_are_read_and_signed_again(
    as_owner: Browser,
) -> None:
    coat = CoatFactory()
    address = reverse("jobs:sign_off", args=[coat.job_id])
    shown = as_owner.get(address).context
    form = {
        "form_key": str(shown["form_key"]),
        "words_read": shown["form"].words_shown,
        "language": "en",
        "name": "Ottilie Saltonby",
    }
    JobFactory(deck__site=coat.job.deck.site, finished_on=coat.job.finished_on)

    refused = as_owner.post(address, form)

    assert "These words have changed since they were read." in refused.content.decode()
    assert SignOff.objects.count() == 0
    fresh = refused.context["form"].words_shown
    as_owner.post(address, {**form, "words_read": fresh})
    assert SignOff.objects.count() == 2


def test_who_signs_after_somebody_else_is_told_so(as_owner: Browser) -> None:
    job = CoatFactory().job
    address = reverse("jobs:sign_off", args=[job.pk])
    form = {"form_key": str(uuid.uuid4()), "language": "en", "name": "Ottilie Saltonby"}
    as_owner.post(address, form)

    said = [
        as_owner.post(address, {**form, **change}, follow=True).content.decode()
        for change in ({}, {"form_key": str(uuid.uuid4()), "name": "Jonty Saltonby"})
    ]

    assert "This job was signed off already.<" in said[0]
    assert "signed off already by Ottilie Saltonby. Nothing was added." in said[1]
    assert SignOff.objects.get().name == "Ottilie Saltonby"


def test_a_photo_that_comes_again_is_kept_once(as_owner: Browser) -> None:
    """By SHA-256 (FIPS 180-4) of the file as it was sent."""
    job = JobFactory()
    address = reverse("jobs:photos_add", args=[job.pk])
    said = []
    for _ in range(3):
        photos = [picture(), picture((300, 300))]
        answer = as_owner.post(address, {"photos": photos, "moment": "found"}, follow=True)
        said.append(answer.content.decode())

    assert Photo.objects.filter(job=job).count() == 2
    assert "2 photos added." in said[0]
    assert "0 photos added. 2 were here already." in said[1]


def test_photos_follow_their_form_one_by_one(as_owner: Browser) -> None:
    form = filled(DeckFactory(), row(ProductFactory()))
    following = {"form_key": form["form_key"], "moment": "finished"}
    early = as_owner.post(reverse("jobs:form_photo"), {**following, "photos": picture()})
    assert early.status_code == 404  # the form itself has not come

    as_owner.post("/jobs/log/", form, headers=KEPT)
    for _ in range(2):
        answer = as_owner.post(
            reverse("jobs:form_photo"), {**following, "photos": picture()}, headers=KEPT
        )
        assert answer.json() == {"to": reverse("jobs:detail", args=[Job.objects.get().pk])}

    assert Photo.objects.get().job == Job.objects.get()


def cut_body(form: dict[str, Any], *, keep: float) -> bytes:
    body = encode_multipart(BOUNDARY, form)
    return body[: int(len(body) * keep)]


@pytest.mark.parametrize("keep", [0.35, 0.7, 0.999])
@pytest.mark.parametrize("name", ["jobs:log", "jobs:photos_add"])
def test_a_form_that_broke_off_is_refused_whole(as_owner: Browser, name: str, keep: float) -> None:
    """Without its last boundary (RFC 2046, 5.1.1), though the stated length fits what came."""
    job = JobFactory()
    photos = [picture((900, 900)), picture((800, 800))]
    form = filled(job.deck, row(ProductFactory()), photos=photos)
    address = reverse(name, args=[job.pk] if name == "jobs:photos_add" else [])

    answer = as_owner.generic("POST", address, cut_body(form, keep=keep), MULTIPART_CONTENT)

    assert answer.status_code == 400
    assert "broke off on its way" in answer.content.decode()
    assert (Job.objects.count(), Photo.objects.count()) == (1, 0)


def test_a_form_shorter_than_it_says_is_refused(as_owner: Browser) -> None:
    """Content-Length, RFC 9110, 8.6: fewer bytes than announced are half a form."""
    form = filled(DeckFactory(), row(ProductFactory()), photos=[picture()])
    body = encode_multipart(BOUNDARY, form)
    answer = as_owner.generic(
        "POST",
        "/jobs/log/",
        body,
        MULTIPART_CONTENT,
        **{"wsgi.input": BytesIO(body), "CONTENT_LENGTH": len(body) + 1000},
    )

    assert answer.status_code == 400
    assert Job.objects.count() == 0
