"""The diary of the demo: two crews, days off, and bookings around today or, out of season, around
its first weeks."""

from datetime import date, datetime, time, timedelta
from decimal import Decimal
from random import Random

from clients.models import Business, Deck, User
from jobs.actions import bookings
from jobs.actions.bookings import NoRoomError
from jobs.actions.crew_days import take_crew_hours
from jobs.arrival import UNSPECIFIED_ARRIVAL, Arrival
from jobs.diary import Placement, monday_of, next_season_day
from jobs.models import Booking, Crew, CrewDay, DayOff, Job

BOOKINGS = 26
DAYS_KEPT = 2 * 365  # of the diary before today
ARRIVALS = [Arrival(time(8)), UNSPECIFIED_ARRIVAL, Arrival(time(12), time(14))]
CREWS = [("Tern crew", Decimal(16)), ("Heron crew", Decimal(8))]


def write_demo_diary(random: Random, *, today: date, now: datetime) -> None:
    """Crews, a regatta that everybody goes to, and bookings that fill three weeks unevenly."""
    business = Business.objects.get()
    for position, (name, hours) in enumerate(CREWS, 1):
        crew = Crew.objects.create(name=name, hours_a_day=hours, position=position)
        crew.people.set(User.objects.filter(first_name=name))  # their own day comes first
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
    kept = Job.objects.filter(finished_on__gt=today - timedelta(days=DAYS_KEPT))
    for job in kept.select_related("deck__site__client"):
        keep_past_visit(job)


def keep_past_visit(job: Job) -> None:
    """The booking that a job was done on, with the crew that had most room on its day."""
    rows = {row.crew_id: row for row in CrewDay.objects.filter(day=job.finished_on)}
    room = {
        crew: crew.hours_a_day - (rows[crew.pk].hours_booked if crew.pk in rows else 0)
        for crew in Crew.objects.all()
    }
    crew = max(room, key=room.__getitem__)
    hours = min(room[crew], demo_hours(job.deck, Decimal(4 if job.kind == Job.Kind.STRIP else 8)))
    if hours <= 0:
        return
    booking = Booking.objects.create(
        client=job.deck.site.client,
        site=job.deck.site,
        crew=crew,
        state=Booking.State.DONE,
        first_on=job.finished_on,
        last_on=job.finished_on,
        hours=hours,
    )
    booking.decks.add(job.deck)
    booking.jobs.add(job)
    take_crew_hours(booking, Placement(crew, ((job.finished_on, hours),)))


def demo_hours(deck: Deck, m2_an_hour: Decimal) -> Decimal:
    """In half hours, two at the least."""
    return max(Decimal(2), round((deck.area_m2 or Decimal(0)) * 2 / m2_an_hour) / Decimal(2))


def book_demo_visit(
    random: Random, deck: Deck, week: date, arrival: Arrival, now: datetime
) -> None:
    """Hours by the size of the deck; a week that is full stays as it is."""
    hours = demo_hours(deck, Decimal(random.randint(5, 8)))
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
