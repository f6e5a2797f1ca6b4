"""Half a year of weeks: what is booked, offered, expected and free, and where there is room."""

from datetime import date, timedelta
from decimal import Decimal

import pytest

from jobs.diary import keep_expected_hours, read_season
from jobs.models import Booking, BookingDay, CrewDay
from tests.factories import CrewFactory, OfferFactory, PropertyFactory

TODAY = date(2027, 5, 3)  # a Monday of the season
WEEK = timedelta(days=7)


@pytest.fixture
def crew_row(business):
    """Eight hours a day from Monday to Friday."""
    return CrewFactory(name="Tern crew", hours_a_day=Decimal(8))


def book(crew, day, hours):
    place = PropertyFactory()
    booking = Booking.objects.create(
        client=place.client, site=place, crew=crew, first_on=day, last_on=day, hours=hours
    )
    crew_day = CrewDay.objects.create(crew=crew, day=day, hours_open=8, hours_booked=hours)
    BookingDay.objects.create(booking=booking, crew_day=crew_day, hours=hours)


def test_offers_fill_the_first_weeks_with_room_and_what_is_expected_comes_after_them(
    business, crew_row
):
    book(crew_row, TODAY + timedelta(days=1), 6)
    OfferFactory(is_sent=True, hours=Decimal(50), valid_until=date(2027, 6, 1))
    OfferFactory(is_sent=True, hours=Decimal(9), valid_until=date(2027, 5, 1))  # ran out
    keep_expected_hours({TODAY + WEEK: 10.0, TODAY + 2 * WEEK: 100.0})

    weeks = read_season(today=TODAY, business=business).weeks

    assert len(weeks) == 26
    (first, second, third) = weeks[:3]
    assert (first.hours_open, first.booked, first.offered, first.free) == (40, 6, 34, 0)
    assert (second.offered, second.expected, second.free) == (16, 10, 14)
    assert (third.offered, third.free) == (0, 0)
    assert third.expected == third.hours_open - third.booked


def test_the_first_month_with_room_is_said_with_about_how_many_visits(business, crew_row):
    book(crew_row, TODAY + timedelta(days=1), 4)

    room = read_season(today=TODAY, business=business).next_room

    hours = sum(
        week.free
        for week in read_season(today=TODAY, business=business).weeks
        if (week.monday.year, week.monday.month) == (2027, 5)
    )
    assert room == (date(2027, 5, 1), int(hours / 4))


def test_without_a_crew_there_is_no_room(business):
    assert read_season(today=TODAY, business=business).next_room is None


def test_an_empty_week_of_the_diary_leads_to_the_next_booking(as_owner, crew_row):
    book(crew_row, TODAY, 4)

    before = as_owner.get("/diary/?week=2027-04-12").content.decode()
    there = as_owner.get("/diary/?week=2027-05-03").content.decode()

    assert "Next booking: Mon, May 3" in before
    assert "Next booking" not in there
