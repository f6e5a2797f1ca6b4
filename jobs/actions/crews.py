"""Crews, their hours and days off, and the link to their calendar."""

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.db.models import F
from django.db.models.functions import Greatest

from clients.actions.saving import (
    NameTakenError,
    holds_values,
    lock_row,
    lock_until_commit,
    save_if_changed,
)
from clients.models import Business
from jobs.actions.crew_days import BookingError, lock_crews
from jobs.actions.placement import OPEN_BOOKING_STATES
from jobs.models import BookingDay, Crew, CrewDay, DayOff
from jobs.offers import links

SAME_CREW = "Another crew has this name. Choose another."


@transaction.atomic
def add_crew(*, values: Mapping[str, Any]) -> Crew:
    """A new crew; a second click finds what the first one made. Raises `NameTakenError`."""
    lock_until_commit(f"crew {values['name'].casefold()}")
    if there := Crew.objects.filter(name__iexact=values["name"]).first():
        if holds_values(there, without_people(values)):
            return there
        raise NameTakenError(SAME_CREW)
    crew = Crew.objects.create(**without_people(values))
    crew.people.set(values.get("people", []))
    return crew


def without_people(values: Mapping[str, Any]) -> dict[str, Any]:
    """What stands in the crew's own row."""
    return {name: value for name, value in values.items() if name != "people"}


@transaction.atomic
def change_crew(*, crew: Crew, values: Mapping[str, Any], now: datetime) -> Crew:
    """Correct a crew; days to come get its new hours, but never fewer than are booked.

    Raises `NameTakenError`, and `BookingError` if a crew with bookings to come should no longer go
    out.
    """
    lock_until_commit(f"crew {values['name'].casefold()}")
    crew = lock_crews([crew])[0]
    if Crew.objects.filter(name__iexact=values["name"]).exclude(pk=crew.pk).exists():
        raise NameTakenError(SAME_CREW)
    today = Business.objects.get().today(now)
    if not values["is_active"] and (bookings := bookings_to_come(crew, today)):
        raise BookingError(
            f"{crew} has {bookings} booking{'' if bookings == 1 else 's'} to come. Move them"
            " first.",
            "is_active",
        )
    save_if_changed(crew, without_people(values))
    if "people" in values:
        crew.people.set(values["people"])
    coming = CrewDay.objects.filter(crew=crew, day__gte=today)
    coming.update(hours_open=Greatest(F("hours_booked"), crew.hours_a_day))
    return crew


def bookings_to_come(crew: Crew, today: date) -> int:
    return crew.bookings.filter(state__in=OPEN_BOOKING_STATES, last_on__gte=today).count()


@transaction.atomic
def add_day_off(*, off: DayOff) -> int:
    """Keep days off; how many days of work lie on them, which somebody has to move."""
    off.save()
    rows = BookingDay.objects.filter(
        crew_day__day__range=(off.first_on, off.last_on), booking__state__in=OPEN_BOOKING_STATES
    )
    return (rows.filter(crew_day__crew=off.crew_id) if off.crew_id else rows).count()


@transaction.atomic
def remove_day_off(*, off: DayOff) -> None:
    off.delete()


@transaction.atomic
def open_crew_feed(*, crew: Crew) -> str:
    """A new calendar link of the crew: the token, which nobody can read again.
    The link before it ends."""
    token, feed_hash = links.new_token()
    save_if_changed(lock_row(crew), {"feed_hash": feed_hash})
    return token


@transaction.atomic
def close_crew_feed(*, crew: Crew) -> None:
    """The link leads nowhere from now on."""
    save_if_changed(lock_row(crew), {"feed_hash": None})
