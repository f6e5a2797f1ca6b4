"""The diary of the demo: two crews, days off, and bookings around today or, out of season, around
its first weeks."""

from datetime import date, datetime, time, timedelta
from decimal import Decimal
from random import Random

from clients.models import Business, Deck
from jobs.actions import bookings
from jobs.actions.bookings import NoRoomError
from jobs.arrival import UNSPECIFIED_ARRIVAL, Arrival
from jobs.diary import monday_of, next_season_day
from jobs.models import Crew, DayOff

BOOKINGS = 26
ARRIVALS = [Arrival(time(8)), UNSPECIFIED_ARRIVAL, Arrival(time(12), time(14))]
CREWS = [("Tern crew", Decimal(16)), ("Heron crew", Decimal(8))]


def write_demo_diary(random: Random, *, today: date, now: datetime) -> None:
    """Crews, a regatta that everybody goes to, and bookings that fill three weeks unevenly."""
    business = Business.objects.get()
    for position, (name, hours) in enumerate(CREWS, 1):
        Crew.objects.create(name=name, hours_a_day=hours, position=position)
    first = monday_of(next_season_day(today, business) + timedelta(days=7))
    DayOff.objects.create(
        first_on=first + timedelta(days=18), last_on=first + timedelta(days=18), why="Regatta"
    )
    decks = list(Deck.objects.filter(site__country=business.country).select_related("site__client"))
    random.shuffle(decks)
    for number, deck in enumerate(decks[:BOOKINGS]):
        book_demo_visit(
            random, deck, first + timedelta(days=7 * (number % 3)), ARRIVALS[number // 3 % 3], now
        )
    hold_rainy_day(first + timedelta(days=2), now)


def book_demo_visit(
    random: Random, deck: Deck, week: date, arrival: Arrival, now: datetime
) -> None:
    """Hours by the size of the deck; a week that is full stays as it is."""
    hours = max(
        Decimal(2), round((deck.area_m2 or Decimal(0)) * 2 / random.randint(5, 8)) / Decimal(2)
    )
    work = bookings.NewBooking(
        site=deck.site, decks=[deck], hours=hours, week=week, arrival=arrival
    )
    try:
        bookings.book_work(work=work, by=None, now=now, notify_client=False)
    except NoRoomError:
        return


def hold_rainy_day(day: date, now: datetime) -> None:
    bookings.hold_bookings_of_day(
        weather=bookings.WeatherDay(day, Crew.objects.last(), "Rain is forecast."),
        by=None,
        now=now,
        notify_client=False,
    )
