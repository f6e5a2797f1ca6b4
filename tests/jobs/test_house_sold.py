"""A house is sold: the deck and its history go to the new owner, nothing of the former one does."""

from datetime import UTC, date, datetime
from typing import Any

import pytest
from django.test import Client as Browser

from clients.messaging.models import Consent, Message
from clients.models import Client, User
from jobs.models import Job, Offer
from reminders.client_page.page import link_deck_ids
from reminders.models import ClientLink, Reminder, Stop
from tests.factories import (
    ClientFactory,
    CoatFactory,
    ConsentFactory,
    CrewFactory,
    DeckFactory,
    EmailFactory,
    MessageFactory,
    OfferFactory,
    OfferScopeFactory,
    PhoneFactory,
    PropertyFactory,
)
from tests.jobs.diary_days import booked, text

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)


@pytest.fixture
def sold_job(owner: User) -> Job:
    """A job on the deck of Vera, who agreed to e-mail and has a reminder waiting."""
    vera = ClientFactory(name="Vera Testwell")
    EmailFactory(client=vera, value="vera@example.org")
    ConsentFactory(client=vera)
    deck = DeckFactory(site=PropertyFactory(client=vera, street="9 Eider Drive"), label="Deck")
    return CoatFactory(job__deck=deck).job


def sale(**over: Any) -> dict[str, Any]:
    return {"sold_on": "2026-05-20", "name": "Otto Bright", **over}


def test_the_deck_and_its_history_go_and_the_people_stay(as_owner: Browser, sold_job: Job) -> None:
    site = sold_job.deck.site
    vera = site.client
    message = MessageFactory(client=vera, state="accepted", accepted_at=NOW)

    answer = as_owner.post(
        f"/jobs/sold/{site.pk}/", sale(phone="902-555-0181", email="otto@example.org"), follow=True
    )

    site.refresh_from_db()
    otto = site.client
    assert otto.name == "Otto Bright"
    assert Job.objects.get(deck__site__client=otto) == sold_job
    assert sorted(point.value for point in otto.contact_points.all()) == [
        "+19025550181",
        "otto@example.org",
    ]
    assert not Consent.objects.filter(client=otto).exists()
    assert list(Message.objects.filter(client=vera)) == [message]
    assert Consent.objects.filter(client=vera, is_given=True).exists()
    assert site.former_owners.get().until == date(2026, 5, 20)
    assert "before they agree" in text(answer)
    assert "Vera Testwell" in text(as_owner.get(f"/clients/{otto.pk}/"))
    shown = text(as_owner.get(f"/clients/{vera.pk}/"))
    assert "Had 9 Eider Drive" in shown
    assert "Otto Bright" in shown


def test_nothing_goes_to_the_former_owner_about_it_any_more(
    as_owner: Browser, sold_job: Job
) -> None:
    deck = sold_job.deck
    vera = deck.site.client
    waiting = MessageFactory(client=vera, state="queued", kind="reminder")
    Reminder.objects.create(deck=deck, job=sold_job, message=waiting, channel="email")
    link = ClientLink.objects.create(message=waiting, page_hash="a" * 64)
    Stop.objects.create(deck=deck, job=sold_job, why="sold")
    offer = OfferFactory(client=vera, site=deck.site, is_sent=True)
    OfferScopeFactory(offer=offer, deck=deck)
    assert link_deck_ids(link) == [deck.pk]

    as_owner.post(f"/jobs/sold/{deck.site_id}/", sale())

    waiting.refresh_from_db()
    offer.refresh_from_db()
    assert waiting.state == "cancelled"
    assert (offer.state, offer.client) == (Offer.State.WITHDRAWN, vera)
    assert link_deck_ids(link) == []
    assert not Stop.objects.filter(deck=deck).exists()


def test_a_new_owner_like_a_client_of_the_book_is_asked_about(
    as_owner: Browser, sold_job: Job
) -> None:
    site = sold_job.deck.site
    otto = ClientFactory(name="Bright, Otto")
    PhoneFactory(client=otto, value="902-555-0181")
    url = f"/jobs/sold/{site.pk}/"

    asked = as_owner.post(url, sale(phone="902-555-0181"))
    assert "in the book already" in text(asked)
    site.refresh_from_db()
    assert site.client != otto
    as_owner.post(url, sale(phone="902-555-0181", buyer=otto.pk))

    site.refresh_from_db()
    assert site.client == otto
    assert Client.objects.filter(name__contains="Otto").count() == 1


def test_an_owner_whom_nobody_knows_gets_a_name_that_says_so(
    as_owner: Browser, sold_job: Job
) -> None:
    as_owner.post(f"/jobs/sold/{sold_job.deck.site_id}/", sale(name=""))

    sold_job.deck.site.refresh_from_db()
    assert sold_job.deck.site.client.name == "New owner of 9 Eider Drive"


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"sold_on": "2999-01-01"}, "in the future"),
        ({"sold_on": ""}, "Please fill this in"),
        ({"name": "", "phone": "902-555-0181"}, "whose number"),
        ({"phone": "12"}, "Phone"),
        ({"email": "nobody"}, "E-mail"),
        ({"buyer": "7"}, "Not here"),
    ],
)
def test_a_sale_that_cannot_be_says_what_to_do(
    as_owner: Browser, sold_job: Job, typed: dict[str, str], said: str
) -> None:
    site = sold_job.deck.site
    before = site.client

    answer = as_owner.post(f"/jobs/sold/{site.pk}/", sale(**typed))

    assert answer.status_code == (404 if "buyer" in typed else 200)
    assert said in text(answer) or answer.status_code == 404
    site.refresh_from_db()
    assert site.client == before


def test_a_visit_that_is_agreed_is_settled_first(as_owner: Browser, sold_job: Job) -> None:
    CrewFactory()
    booked(decks=[sold_job.deck])

    answer = as_owner.post(f"/jobs/sold/{sold_job.deck.site_id}/", sale())

    assert "A visit is booked for 2027-06-07" in text(answer)
    assert sold_job.deck.site.former_owners.count() == 0


def test_a_deck_moves_to_another_property_with_its_history(
    as_owner: Browser, sold_job: Job
) -> None:
    deck = sold_job.deck
    other = PropertyFactory(client=ClientFactory(name="Otto Bright"), street="4 Gannet Row")
    DeckFactory(site=other, label="deck")

    found = text(as_owner.get(f"/jobs/move-deck/{deck.pk}/?q=gannet"))
    as_owner.post(f"/jobs/move-deck/{deck.pk}/", {"site": other.pk})

    deck.refresh_from_db()
    assert "4 Gannet Row" in found
    assert (deck.site, deck.label) == (other, "Deck 2")
    assert deck.jobs.get() == sold_job
