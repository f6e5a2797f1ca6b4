"""Which weeks a client can choose: season, holidays, days off, and what is booked already."""

from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from clients.models import Business
from clients.places.public_holidays import HolidayPlace, public_holidays_between
from jobs.diary.week_capacity import WeekCapacity, crew_hours_by_week, week_capacities
from jobs.models import Booking, Crew, DayOff
from tests.factories import CrewFactory, DeckFactory, PropertyFactory
from tests.jobs.diary_days import book_visit

pytestmark = pytest.mark.django_db
NOW = datetime(2027, 6, 2, 12, tzinfo=UTC)  # a Wednesday
TODAY = date(2027, 6, 2)


@pytest.fixture
def tern(business: Business) -> Crew:
    return CrewFactory(name="Tern crew", hours_a_day=8)


def weeks(hours: str = "6", today: date = TODAY, **kwargs: Any) -> list[WeekCapacity]:
    home = kwargs.pop("site", None) or PropertyFactory()
    return week_capacities(hours=Decimal(hours), site=home, today=today, **kwargs)


def book(hours: str, day: date, **kwargs: Any) -> Booking:
    deck = kwargs.pop("deck", None) or DeckFactory()
    asked = {"by": None, "now": NOW, **kwargs}
    return book_visit(site=deck.site, decks=[deck], hours=Decimal(hours), first_day=day, **asked)


def test_the_first_week_begins_tomorrow_and_the_others_on_monday(tern: Crew) -> None:
    first, second = weeks()[:2]

    assert (first.monday, first.hours_free, first.has_room) == (
        date(2027, 5, 31),
        Decimal(16),
        True,
    )  # Thursday, Friday
    assert (second.monday, second.hours_free) == (date(2027, 6, 7), Decimal(40))
    assert len(weeks()) == 12


def test_months_outside_the_season_are_passed_over_so_that_winter_sees_spring(tern: Crew) -> None:
    found = weeks(today=date(2026, 11, 25))

    assert found[0].monday == date(2027, 4, 26)  # 1 May 2027 is the Saturday of that week
    assert not found[0].has_room
    assert found[0].why_not == "No crew works this week (April is outside the season)."
    assert (found[1].monday, found[1].has_room) == (date(2027, 5, 3), True)


def test_a_public_holiday_where_the_deck_stands_or_where_the_business_is_takes_its_day(
    tern: Crew,
) -> None:
    # Canada: Holidays Act (R.S.C., 1985, c. H-5) names 1 July; Nova Scotia keeps no holiday on 21
    # June, the Northwest Territories do (National Indigenous Peoples Day Act, S.N.W.T. 2001, c.
    # 10).
    def free(of: date, **place: str) -> Decimal:
        return next(
            week.hours_free for week in weeks(site=PropertyFactory(**place)) if week.monday == of
        )

    assert free(date(2027, 6, 28)) == 32  # a Thursday
    assert free(date(2027, 6, 21)) == 40
    assert free(date(2027, 6, 21), region="Northwest Territories") == 32


def test_where_summer_is_in_january_the_season_runs_over_the_turn_of_the_year(
    tern: Crew, business: Business
) -> None:
    season = [10, 11, 12, 1, 2, 3, 4]
    Business.objects.update(
        country="NZ", region="Nelson", time_zone="Pacific/Auckland", season_months=season
    )
    home = PropertyFactory(country="NZ", region="Nelson", latitude=-41.27, longitude=173.28)

    found = {week.monday: week for week in weeks(site=home, today=date(2027, 6, 2), weeks=40)}

    assert min(found) == date(2027, 9, 27)  # 1 October is the Friday of that week
    assert max(found) > date(2028, 4, 1)
    # New Zealand, Holidays Act 2003, s 44: 25 and 26 December and 1 and 2 January are public
    # holidays, the latter two moved from a Saturday and a Sunday to Monday and Tuesday (s 45A); the
    # day of Nelson is about 1 February.
    assert found[date(2028, 1, 3)].hours_free == 24
    assert found[date(2028, 1, 31)].hours_free == 32


def test_holidays_of_an_unknown_place_are_none_and_an_unknown_region_keeps_its_countrys() -> None:
    year = (date(2027, 1, 1), date(2027, 12, 31))

    assert public_holidays_between([HolidayPlace("XX", "")], *year) == {}
    assert (
        public_holidays_between([HolidayPlace("CA", "Atlantis")], *year)[date(2027, 7, 1)]
        == "Canada Day"
    )
    assert date(2027, 6, 24) in public_holidays_between([HolidayPlace("CA", "qc")], *year)


def test_days_off_of_one_crew_leave_the_other_and_days_off_of_all_close_the_week(
    tern: Crew,
) -> None:
    CrewFactory(name="Heron crew", hours_a_day=10)
    DayOff.objects.create(crew=tern, first_on=date(2027, 6, 7), last_on=date(2027, 6, 11))
    DayOff.objects.create(first_on=date(2027, 6, 14), last_on=date(2027, 6, 18), why="Regatta")

    _, second, third = weeks()[:3]

    assert second.hours_free == 50
    assert (third.has_room, third.why_not) == (
        False,
        "No crew works this week (Day off: Regatta).",
    )


def test_a_day_of_work_is_never_split_over_two_half_days(tern: Crew) -> None:
    for day in range(7, 12):
        book("3", date(2027, 6, day))

    week = weeks("6")[1]

    assert (week.hours_free, week.has_room) == (25, False)
    assert week.why_not == "The free hours of this week are too scattered for this work."
    assert weeks("5")[1].has_room


def test_a_full_week_and_one_with_too_little_say_so(tern: Crew) -> None:
    for day in range(7, 12):
        book("8" if day > 7 else "6", date(2027, 6, day))

    assert weeks("3")[1].why_not == "Only 2 of the 3 hours are free in this week."
    book("2", date(2027, 6, 7))
    assert weeks("3")[1].why_not == "This week is full."


def test_work_longer_than_a_week_may_run_on_into_the_next(tern: Crew) -> None:
    assert weeks("60")[1].has_room
    assert not weeks("24")[
        0
    ].has_room  # three days, and only Thursday and Friday are left of this week


def test_hours_by_week_are_what_the_crews_can_do_and_what_is_booked(
    business: Business, tern: Crew
) -> None:
    book("6", date(2027, 6, 8))

    found = crew_hours_by_week(first=date(2027, 6, 9), weeks=2, business=business)

    assert [
        (week.monday, week.hours_open, week.hours_booked, week.hours_free) for week in found
    ] == [
        (date(2027, 6, 7), 40, 6, 34),
        (date(2027, 6, 14), 40, 0, 40),
    ]


def test_a_year_of_weeks_is_asked_in_five_queries(tern: Crew) -> None:
    home = PropertyFactory()
    book("6", date(2027, 6, 8))

    with CaptureQueriesContext(connection) as asked:
        weeks(site=home, weeks=40)

    assert len(asked) == 5
