"""Whether work can be booked as asked, and the crew and days it goes to;
what cannot be is refused in words."""

from collections.abc import Sequence
from datetime import date, timedelta
from decimal import Decimal

from clients.display import format_day as written
from clients.display import format_number
from clients.models import Business, Property
from jobs import diary
from jobs.actions.booking_inputs import NewBooking
from jobs.actions.crew_days import NoRoomError
from jobs.diary import MAX_BOOKING_SPAN_DAYS, CrewDayCapacity, Placement
from jobs.models import Booking, Crew

OPEN_BOOKING_STATES = [Booking.State.BOOKED, Booking.State.HELD]


def check_bookable_work(work: NewBooking) -> None:
    if work.hours <= 0:
        raise NoRoomError("Say how many hours the work takes.", "hours")
    if not work.decks:
        raise NoRoomError("Choose at least one deck.", "decks")
    home = work.site
    if stranger := next((deck for deck in work.decks if deck.site_id != home.pk), None):
        raise NoRoomError(f"{stranger} does not stand at {home}.", "decks")
    if home.client.archived_at or any(deck.archived_at for deck in work.decks):
        raise NoRoomError(
            "The client or a deck is archived. Bring it back from the archive first.", "decks"
        )


def existing_booking(work: NewBooking) -> Booking | None:
    """The booking that does just this, from a second click;
    raises `NoRoomError` if a deck is booked otherwise."""
    living = Booking.objects.filter(
        site=work.site, state__in=OPEN_BOOKING_STATES, decks__in=work.decks
    ).distinct()
    for there in living.prefetch_related("decks"):
        is_same_work = there.offer == work.offer and {*there.decks.all()} == {*work.decks}
        is_same_time = (
            there.first_on == work.first_day
            if work.first_day
            else is_in_week(there.first_on, work.week)
        )
        if is_same_work and is_same_time and there.arrival() == work.arrival:
            return there
        shared = next(deck for deck in work.decks if deck in there.decks.all())
        raise NoRoomError(
            f"{shared} is booked for {written(there.first_on)} already. Move that booking instead.",
            "decks",
        )
    return None


def is_in_week(day: date, week: date | None) -> bool:
    return week is not None and diary.monday_of(day) == diary.monday_of(week)


def find_placement(
    crews: Sequence[Crew], work: NewBooking, business: Business, today: date
) -> Placement:
    if work.first_day is None:
        if work.week is None:
            raise NoRoomError("Choose a day or a week.", "first_day")
        return find_placement_in_week(
            crews=crews,
            week=work.week,
            today=today,
            hours=work.hours,
            site=work.site,
            business=business,
        )
    check_bookable_day(work.first_day, today)
    return find_placement_on_day(
        crews=crews,
        day=work.first_day,
        hours=work.hours,
        site=work.site,
        business=business,
        on_any_day=work.on_any_day,
    )


def check_bookable_day(day: date, today: date) -> None:
    if day < today:
        raise NoRoomError(f"{written(day)} is over. Choose a day from today on.", "first_day")
    if day.year > today.year + 3:
        raise NoRoomError("This day is more than three years ahead. Check the year.", "first_day")


def find_placement_on_day(
    *,
    crews: Sequence[Crew],
    day: date,
    hours: Decimal,
    site: Property,
    business: Business,
    on_any_day: bool = False,
) -> Placement:
    """The work from this day on, by the first of the crews that has room; raises `NoRoomError`."""
    places = diary.holiday_places(business, site)
    rooms = diary.crew_day_capacities(
        business=business,
        crews=crews,
        days=diary.days_between(day, day + timedelta(days=MAX_BOOKING_SPAN_DAYS)),
        places=places,
        forced_open_on=day if on_any_day else None,
    )
    found = diary.placements(rooms, crews, [day], hours, home=site)
    if not found:
        raise NoRoomError(
            why_day_has_no_room([rooms[crew.pk, day] for crew in crews], hours), "first_day"
        )
    return found[0]


def why_day_has_no_room(here: Sequence[CrewDayCapacity], hours: Decimal) -> str:
    """Why none of these crews can take the work on that day."""
    on = written(here[0].day)
    closed = [room for room in here if not room.is_working]
    if len(closed) == len(here):
        return f"{closed[0].crew} does not go out on {on}: {closed[0].why_not}. Choose another day."
    best = max(here, key=lambda room: room.hours_free)
    return (
        f"The work takes {format_number(hours)} h and {best.crew} has"
        f" {format_number(best.hours_free)} h free on"
        f" {on}{'' if hours <= best.hours_open else ' and too little on the days after it'}. Choose"
        " another day or crew."
    )


def find_placement_in_week(
    *,
    crews: Sequence[Crew],
    week: date,
    today: date,
    hours: Decimal,
    site: Property,
    business: Business,
) -> Placement:
    """The best place in the week of that day, from tomorrow on; raises `NoRoomError`."""
    monday = diary.monday_of(week)
    starts = [day for n in range(7) if (day := monday + timedelta(days=n)) > today]
    if not starts:
        raise NoRoomError("This week is over. Choose a later one.", "week")
    places = diary.holiday_places(business, site)
    last = starts[-1] + timedelta(days=MAX_BOOKING_SPAN_DAYS)
    rooms = diary.crew_day_capacities(
        business=business,
        crews=crews,
        days=diary.days_between(starts[0], last),
        places=places,
    )
    found = diary.placements_within_week(rooms, crews, starts, hours, home=site)
    if not found:
        raise NoRoomError(
            f"The week of {written(monday)} has no room for this work any more. Choose another.",
            "week",
        )
    return found[0]
