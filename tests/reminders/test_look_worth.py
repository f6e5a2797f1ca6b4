"""What one more look is worth: in money on the page of the deck, and to a crew that is near by."""

from collections.abc import Callable
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client as Browser
from freezegun import freeze_time

from clients.models import Deck
from jobs.models import Booking, BookingDay, CrewDay
from reminders.forecasting.upkeep import deck_upkeep
from reminders.models import Forecast
from tests.factories import CrewFactory, PropertyFactory, UserFactory, VisitFactory
from tests.reminders.conftest import NOW, TODAY, coat, refresh

pytestmark = pytest.mark.django_db
LONG_AGO = date(2012, 6, 1)


@pytest.fixture
def uncertain(coated: Callable[..., Deck]) -> Callable[..., Deck]:
    """A deck of which nobody knows whether its coat can wait."""

    def make(**place: Any) -> Deck:
        return coated(on=date(2025, 11, 25), site=PropertyFactory(**place))

    return make


def booking_at(deck: Deck) -> Booking:
    made: Booking = Booking.objects.create(
        client=deck.site.client,
        site=deck.site,
        crew=CrewFactory(),
        first_on=date(2026, 11, 30),
        last_on=date(2026, 11, 30),
        hours=6,
    )
    made.decks.add(deck)
    return made


def shown(client: Browser, booking: Booking) -> str:
    with freeze_time(NOW):
        answer = client.get(f"/diary/{booking.pk}/")
    assert answer.status_code == 200
    return answer.content.decode()


def test_a_crew_is_told_which_decks_near_by_are_worth_a_look(
    coated: Callable[..., Deck], uncertain: Callable[..., Deck], as_owner: Browser
) -> None:
    booking = booking_at(coated())
    near = uncertain(street="3 Wharf Street", latitude=44.385)
    far = uncertain(street="9 Far Road", latitude=44.5)
    fresh = coated(on=date(2026, 11, 1), site=PropertyFactory(street="5 New Lane"))

    page = shown(as_owner, booking)

    assert "Worth a look while you are there" in page
    assert f"/visit/?deck={near.pk}" in page
    assert "3 Wharf Street, 0.6" in page.replace("\u00a0", " ")
    for other in (far, fresh):
        assert f"deck={other.pk}" not in page


def test_the_pages_of_decks_near_by_lie_on_the_phone_without_a_signal(
    coated: Callable[..., Deck], uncertain: Callable[..., Deck], as_owner: Browser
) -> None:
    booking = booking_at(coated())
    day = CrewDay.objects.create(crew=booking.crew, day=booking.first_on, hours_open=8)
    BookingDay.objects.create(booking=booking, crew_day=day, hours=6)
    near = uncertain(street="3 Wharf Street", latitude=44.385)
    far = uncertain(street="9 Far Road", latitude=44.5)

    with freeze_time(datetime(2026, 11, 30, 15, tzinfo=UTC)):
        pages = as_owner.get("/phone/day/").json()["pages"]

    assert f"/diary/{booking.pk}/" in pages
    assert {f"/decks/{near.pk}/", f"/jobs/visit/?deck={near.pk}"} <= set(pages)
    assert f"/decks/{far.pk}/" not in pages


def test_a_deck_that_was_looked_at_or_booked_is_not_named(
    coated: Callable[..., Deck], uncertain: Callable[..., Deck], as_owner: Browser
) -> None:
    booking = booking_at(coated())
    looked_at = uncertain(latitude=44.381)
    booking_at(uncertain(latitude=44.382))
    VisitFactory(deck=looked_at, visited_on=TODAY, overall=0)
    refresh(looked_at)

    assert "Worth a look while you are there" not in shown(as_owner, booking)


def test_three_decks_at_most_the_one_worth_most_first(
    coated: Callable[..., Deck], uncertain: Callable[..., Deck], as_owner: Browser
) -> None:
    booking = booking_at(coated())
    made = [uncertain(latitude=44.38 + n / 1000, street=f"{n} Pier Road") for n in range(1, 6)]
    unsure = coated(on=LONG_AGO, site=PropertyFactory(street="7 Old Road"))

    page = shown(as_owner, booking)

    assert sum(f"/visit/?deck={each.pk}" in page for each in [*made, unsure]) == 3


def test_the_deck_page_says_what_a_look_saves_and_the_crew_reads_no_money(
    uncertain: Callable[..., Deck],
    as_owner: Browser,
    as_user: Callable[..., Browser],
    business: Any,
) -> None:
    deck = uncertain()
    for kind, amount in (("strip", 2400), ("recoat", 900)):
        old = coat(deck, on=date(2024 if kind == "strip" else 2025, 6, 1), kind=kind)
        type(old).objects.filter(pk=old.pk).update(amount=Decimal(amount), currency="CAD")
    refresh(deck)
    row = Forecast.objects.select_related("deck").get(deck=deck)
    found = deck_upkeep(row, today=TODAY, business=business)
    assert found is not None
    assert found.our_look >= found.clients_look > 0
    assert found.our_look == round(found.look.ours * 900)

    crew = as_user(UserFactory(role="crew"))
    with freeze_time(NOW):
        pages = [client.get(f"/decks/{deck.pk}/").content.decode() for client in (as_owner, crew)]

    assert "One look before the next job saves about" in pages[0]
    assert "It is worth a look before the next job." in pages[1]
    assert "saves about" not in pages[1]
