"""The sign-off on the phone: the words are kept, no box is ticked beforehand, each tick is a
consent in writing."""

import re
from base64 import b64decode
from collections.abc import Callable
from datetime import date
from io import BytesIO
from typing import Any

import pytest
from django.test import Client as Browser
from django.urls import reverse
from pypdf import PdfReader

from clients.messaging import suppression
from clients.messaging.models import Attachment, Consent, Message, Suppression
from clients.models import Business, User
from jobs.models import Job, SignOff
from tests.factories import (
    BusinessFactory,
    CoatFactory,
    ConsentFactory,
    EmailFactory,
    JobFactory,
    PhoneFactory,
    UserFactory,
)
from tests.jobs.at_once import at_once


@pytest.fixture
def job(business: Business) -> Job:
    job: Job = CoatFactory(job__finished_on=date(2026, 6, 12), job__deck__label="Sun deck").job
    EmailFactory(client=job.deck.site.client, value="marlow@example.org")
    PhoneFactory(client=job.deck.site.client, value="902-555-0142")
    return job


@pytest.fixture
def on_site(crew: User, as_user: Callable[[User], Browser]) -> Browser:
    return as_user(crew)


def path(job: Job) -> str:
    return reverse("jobs:sign_off", args=[job.pk])


def test_no_box_is_ticked_beforehand_and_each_says_what_is_agreed_to(
    on_site: Browser, job: Job
) -> None:
    page = on_site.get(path(job)).content.decode()

    # GDPR recital 32, CJEU C-673/17 (Planet49): a box ticked beforehand is no consent.
    assert " checked" not in page
    assert page.count('type="checkbox"') == 5
    for words in (
        "marlow@example.org",
        "(902) 555-0142",
        "Answering STOP ends it",
        "phone me at",
        "send me letters",
    ):
        assert words in page
    assert page.count("No work and no price depends on my agreeing.") == 4


def test_signing_keeps_the_words_and_a_consent_for_each_tick_and_no_other(
    on_site: Browser, job: Job, crew: User, business: Business
) -> None:
    answer = on_site.post(
        path(job),
        {"name": "Marlow Pennington", "may_email": "on", "may_call": "on"},
        follow=True,
    )

    assert "Signed off" in answer.content.decode()
    signed = SignOff.objects.get()
    assert (signed.name, signed.recorded_by) == ("Marlow Pennington", crew)
    assert (
        "I have seen the finished work of Jun 12, 2026: strip and seal, Sun deck" in signed.wording
    )
    assert (
        "walked on from Jun 14, 2026" in signed.wording
    )  # the day is known, not the hour: a day after its end
    consents = {consent.channel: consent for consent in Consent.objects.all()}
    assert set(consents) == {"email", "call"}
    for consent in consents.values():
        assert (consent.basis, consent.is_given, consent.recorded_by) == ("written", True, crew)
        assert "Driftline Deck Care may" in consent.wording
        # SOR/2012-36 s. 4: name and mailing address of who asks, one more way, that it can end
        for words in (business.postal_address, "(902) 555-0100", "take this back at any time"):
            assert words in consent.wording
        assert f"sign-off of job {job.pk}" in consent.evidence
        assert consent.wording in page_of_consents(job)
    assert not Message.objects.exists()


def page_of_consents(job: Job) -> list[str]:
    return list(
        Consent.objects.filter(client=job.deck.site.client).values_list("wording", flat=True)
    )


def test_an_empty_box_withdraws_nothing(on_site: Browser, job: Job) -> None:
    ConsentFactory(client=job.deck.site.client)

    on_site.post(path(job), {"name": "Marlow Pennington"})

    assert SignOff.objects.count() == 1
    assert [consent.is_given for consent in Consent.objects.all()] == [True]


def test_who_had_refused_says_so_in_the_words_and_is_reached_again(
    on_site: Browser, job: Job
) -> None:
    business = Business.objects.get()
    for address in ("marlow@example.org", "someone.else@example.org"):
        suppression.suppress_address(
            business=business, channel="email", address=address, reason="Unsubscribed"
        )
    page = on_site.get(path(job)).content.decode()
    assert page.count("I had asked not to be reached this way, and I take that back.") == 1

    on_site.post(path(job), {"name": "Marlow Pennington", "may_email": "on"})

    assert Consent.objects.get().wording.startswith("I had asked not to be reached this way")
    left = [row.address_hash for row in Suppression.objects.all()]
    assert left == [suppression.address_hash(business, "email", "someone.else@example.org")]


def test_without_a_tick_the_refusal_stays(on_site: Browser, job: Job) -> None:
    business = Business.objects.get()
    suppression.suppress_address(
        business=business, channel="email", address="marlow@example.org", reason="Unsubscribed"
    )

    answer = on_site.post(path(job), {"name": "Marlow Pennington", "wants_record": "on"})

    assert "This address asked not to be written to." in answer.content.decode()
    assert not SignOff.objects.exists()
    assert Suppression.objects.count() == 1


def test_the_record_asked_for_goes_out_with_the_signature(on_site: Browser, job: Job) -> None:
    on_site.post(path(job), {"name": "Marlow Pennington", "wants_record": "on"})

    message = Message.objects.get()
    assert (message.kind, message.channel, message.address) == (
        "service",
        "email",
        "marlow@example.org",
    )
    assert message.idempotency_key == f"care/{job.pk}/email"
    assert not Consent.objects.exists()


def test_the_record_is_the_clients_copy_of_what_they_agreed_to(on_site: Browser, job: Job) -> None:
    ConsentFactory(client=job.deck.site.client, channel="text", wording="Said on the phone")
    on_site.post(path(job), {"name": "Marlow Pennington", "may_email": "on", "wants_record": "on"})

    agreed = Consent.objects.get(channel="email").wording
    paper = Attachment.objects.get(message=Message.objects.get())
    pages = PdfReader(BytesIO(bytes(paper.content))).pages
    text = " ".join(" ".join(page.extract_text() for page in pages).split())
    assert "What you agreed to" in text
    assert " ".join(agreed.split()) in text
    assert "Said on the phone" not in text


@pytest.mark.parametrize(
    ("sent", "words"), [({}, "The client writes their name here."), ({"name": "M\x00"}, "Null")]
)
def test_a_signature_needs_a_name(
    on_site: Browser, job: Job, sent: dict[str, str], words: str
) -> None:
    answer = on_site.post(path(job), {**sent, "may_email": "on"})

    assert words in answer.content.decode()
    assert not SignOff.objects.exists()
    assert not Consent.objects.exists()


def test_two_decks_of_one_visit_are_signed_off_together(on_site: Browser, job: Job) -> None:
    home = job.deck.site
    landing = CoatFactory(
        job__deck__site=home, job__deck__label="Landing", job__finished_on=job.finished_on
    ).job
    other_day = JobFactory(deck=landing.deck, finished_on=date(2025, 6, 12))

    on_site.post(path(job), {"name": "Marlow Pennington", "may_email": "on", "wants_record": "on"})

    assert {signed.job for signed in SignOff.objects.all()} == {job, landing}
    assert "Sun deck" in SignOff.objects.get(job=landing).wording
    assert "Landing" in SignOff.objects.get(job=job).wording
    assert Consent.objects.get().evidence.endswith(f"at the sign-off of job {job.pk}, {landing.pk}")
    assert Message.objects.count() == 2
    assert on_site.get(path(other_day)).status_code == 200


def test_a_channel_without_an_address_has_no_box(on_site: Browser, business: Business) -> None:
    page = on_site.get(path(JobFactory())).content.decode()

    assert page.count('type="checkbox"') == 1  # letters, to the property
    assert "send me letters" in page


def test_signed_once_it_thanks_and_shows_nothing_of_the_staffs(on_site: Browser, job: Job) -> None:
    done = on_site.post(path(job), {"name": "Marlow Pennington"})

    seen = on_site.get(path(job)).content.decode()
    again = on_site.post(path(job), {"name": "Somebody Else", "may_text": "on"})

    assert done["Location"] == again["Location"] == path(job)
    assert SignOff.objects.get().name == "Marlow Pennington"
    assert not Consent.objects.exists()
    assert "Signed off by Marlow Pennington" in seen
    # one way out, which names the crew, and the public notice; no navigation, no other page
    assert re.findall(r'<a [^>]*href="(/[^"?]*)', seen) == ["/privacy/"]


DRAWN = "M30 80L34 78L60 120M90 100L90 100"


def test_what_was_drawn_is_kept_and_shown_as_a_picture(on_site: Browser, job: Job) -> None:
    on_site.post(path(job), {"name": "Marlow Pennington", "drawn": DRAWN})

    assert SignOff.objects.get().drawn == DRAWN
    for page in (path(job), f"/jobs/{job.pk}/"):
        shown = on_site.get(page).content.decode()
        picture = re.search(r'src="data:image/svg\+xml;base64,([^"]+)"', shown)
        assert picture, page
        assert f'd="{DRAWN}"' in b64decode(picture[1]).decode()


@pytest.mark.parametrize("drawn", ['M1 1"/><script>', "M1 1L2", "M1 1" + "L22 33" * 1_400, "Z"])
def test_a_drawing_that_is_none_is_refused(on_site: Browser, job: Job, drawn: str) -> None:
    answer = on_site.post(path(job), {"name": "Marlow Pennington", "drawn": drawn})

    assert answer.status_code == 200
    assert "<script>" not in answer.content.decode().split("</head>")[1]
    assert not SignOff.objects.exists()


def test_a_phone_in_a_clients_hands_shows_one_page_until_it_is_taken_back(
    on_site: Browser, job: Job
) -> None:
    opened = {"Accept": "text/html,application/xhtml+xml"}  # as a browser asks for a page
    on_site.get(path(job))  # a phone that keeps the page for later opens nothing
    assert on_site.get("/", headers=opened).status_code == 200

    assert on_site.get(path(job), headers=opened).status_code == 200
    for address in ("/", "/diary/", f"/jobs/{job.pk}/", "/settings/signing-in/"):
        assert on_site.get(address, headers=opened)["Location"] == path(job)
    assert on_site.get("/privacy/", headers=opened).status_code == 200
    assert on_site.get("/phone/token/").status_code == 200  # what waits is still sent

    taken = on_site.post(path(job), {"take_back": "yes"})
    assert taken["Location"] == f"/jobs/{job.pk}/"
    assert on_site.get("/", headers=opened).status_code == 200


def test_nobody_is_held_on_a_page_that_is_gone(on_site: Browser, job: Job) -> None:
    opened = {"Accept": "text/html"}
    on_site.get(path(job), headers=opened)
    gone = path(job)
    job.delete()

    assert on_site.get("/", headers=opened)["Location"] == gone
    assert on_site.get(gone, headers=opened).status_code == 404
    assert on_site.get("/", headers=opened).status_code == 200


@pytest.mark.django_db(transaction=True)
def test_two_taps_at_the_same_moment_sign_once(transactional_db: None) -> None:
    BusinessFactory()
    job = CoatFactory().job
    EmailFactory(client=job.deck.site.client)
    crew = UserFactory(username="tern", role="crew")

    def tap() -> Any:
        browser = Browser()
        browser.force_login(crew)
        return browser.post(
            path(job), {"name": "Marlow Pennington", "may_email": "on", "wants_record": "on"}
        )["Location"]

    assert at_once(tap, tap) == [path(job)] * 2
    assert (SignOff.objects.count(), Consent.objects.count(), Message.objects.count()) == (1, 1, 1)
