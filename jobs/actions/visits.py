"""Record a check of a deck on which nothing was done, and correct it."""

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from django.db import transaction

from clients.models import Business, Deck, User
from jobs.actions.jobs import check, check_date
from jobs.actions.parts import JobError, one_at_a_time, write
from jobs.after import jobs_changed
from jobs.models import Visit
from jobs.models.visit import GRADES


@transaction.atomic
def record_visit(
    *, deck: Deck, visited_on: date, found: Mapping[str, Any], business: Business, by: User | None, now: datetime
) -> tuple[Visit, bool]:
    """Keep what was found; the very same visit a second time is only found again (False)."""
    one_at_a_time(f"visit {deck.pk}")
    if there := Visit.objects.filter(deck=deck, visited_on=visited_on, recorded_by=by, job=None, **found).first():
        return there, False
    try:
        check(deck, visited_on, business.today(now))
    except JobError as error:
        raise JobError(error.field.replace("finished_on", "visited_on"), str(error)) from error
    check_found(found)
    visit = Visit.objects.create(deck=deck, visited_on=visited_on, recorded_by=by, created_at=now, **found)
    jobs_changed([deck.pk])
    return visit, True


@transaction.atomic
def change_visit(
    *, visit: Visit, visited_on: date, found: Mapping[str, Any], business: Business, now: datetime
) -> Visit:
    check_date(visited_on, business.today(now), "visited_on")
    check_found(found)
    if write(visit, {**found, "visited_on": visited_on}):
        jobs_changed([visit.deck_id])
    return visit


def check_found(found: Mapping[str, Any]) -> None:
    if all(found.get(name) is None for name in [*GRADES, "moisture_percent"]):
        raise JobError("overall", "Grade the deck as you found it: a check without a grade tells nothing.")
