"""The diary in a real browser: dragging asks before it moves, the keyboard does the same, a phone
lists the days."""

from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from clients.models import User
from jobs.actions import bookings
from jobs.diary import monday_of
from jobs.models import Booking, Crew
from tests.browser.conftest import DESKTOP, PHONE, faults_of_both_looks, look
from tests.business_day import today_there
from tests.factories import CrewFactory, DeckFactory, OfferFactory, OfferScopeFactory

Open = Callable[..., Page]


@pytest.fixture
def monday(people: dict[str, User]) -> date:
    """Of a week to come in which crews work, a month without holidays in Nova Scotia."""
    return monday_of(date(today_there().year + 1, 6, 14))


@pytest.fixture
def booking(people: dict[str, User], monday: date) -> Booking:
    CrewFactory(name="Tern crew", hours_a_day=Decimal(16))
    CrewFactory(name="Heron crew", hours_a_day=Decimal(8))
    deck = DeckFactory(site__client__name="Marlow Pennington", label="Back deck")
    offer = OfferFactory(site=deck.site)
    OfferScopeFactory(offer=offer, deck=deck)
    work = bookings.NewBooking(
        site=deck.site,
        decks=[deck],
        hours=Decimal(6),
        first_day=monday,
        crew=Crew.objects.get(name="Tern crew"),
        offer=offer,
    )
    return bookings.book_work(work=work, by=None, now=timezone.now())


def week(monday: date) -> str:
    return f"/diary/?week={monday.isoformat()}"


def test_a_booking_is_dragged_to_another_day_and_crew_and_moves_once_confirmed(
    open_as: Open, booking: Booking, monday: date
) -> None:
    page = open_as("owner", week(monday), size=DESKTOP)
    heron = Crew.objects.get(name="Heron crew")
    thursday = monday + timedelta(days=3)

    page.locator("[data-booking]").drag_to(
        page.locator(f'[data-crew="{heron.pk}"][data-day="{thursday.isoformat()}"]')
    )

    expect(page.get_by_role("heading", level=1)).to_have_text("Move the booking")
    booking.refresh_from_db()
    assert booking.first_on == monday
    page.get_by_role("button", name="Move the booking").click()
    page.get_by_role("button", name="Move it").click()
    expect(
        page.locator(f'[data-crew="{heron.pk}"][data-day="{thursday.isoformat()}"]')
    ).to_contain_text("Marlow")
    booking.refresh_from_db()
    assert (booking.first_on, booking.crew) == (thursday, heron)


def test_the_keyboard_moves_a_booking_without_scripts(
    open_as: Open, booking: Booking, monday: date
) -> None:
    page = open_as("owner", week(monday), size=DESKTOP, scripts=False)

    page.get_by_role("link", name="Move the booking of Marlow Pennington").press("Enter")
    page.get_by_role("radio", name="Another day").press("Space")
    page.locator("[name=first_day]").fill((monday + timedelta(days=1)).isoformat())
    page.get_by_role("button", name="Move the booking").press("Enter")
    page.get_by_role("button", name="Move it").press("Enter")

    expect(page.locator(".notice")).to_contain_text("Marlow Pennington")
    booking.refresh_from_db()
    assert booking.first_on == monday + timedelta(days=1)


def test_on_a_phone_the_days_stand_one_below_the_other_under_the_weeks(
    open_as: Open, booking: Booking, monday: date
) -> None:
    page = open_as("crew", week(monday), size=PHONE)

    tops = [box["y"] for day in page.locator(".diary-day").all() if (box := day.bounding_box())]
    assert tops == sorted(set(tops))
    later = page.get_by_role("link", name="Later").bounding_box()
    assert later
    # In sight without a second bar at the lower edge; targets as WCAG 2.2, 2.5.5 has them.
    assert later["y"] + later["height"] < min(tops[0], PHONE["height"])
    assert min(later["height"], later["width"]) >= 44
    page.get_by_role("link", name="Marlow Pennington").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Marlow Pennington")


def test_the_pages_of_a_booking_are_accessible_and_fit_320_pixels(
    open_as: Open, booking: Booking, monday: date
) -> None:
    bookings.hold_booking(booking=booking, why="Rain.", by=None, now=timezone.now())
    page = open_as("owner", "/")
    deck = booking.decks.get()

    found = {}
    for path in (
        week(monday),
        f"/diary/{booking.pk}/",
        f"/diary/{booking.pk}/move/",
        f"/diary/new/?deck={deck.pk}",
        f"/diary/crews/{booking.crew_id}/",
        f"/jobs/log/?deck={deck.pk}&booking={booking.pk}",
    ):
        look(page, PHONE, dark=False)
        page.goto(path)
        found[path] = faults_of_both_looks(page)

    assert {path: wrong for path, wrong in found.items() if wrong} == {}
