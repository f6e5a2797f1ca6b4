"""Record a check of a deck on which nothing was done, and correct it."""

import uuid
from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from django.db import transaction

from clients.actions.saving import lock_until_commit, save_if_changed
from clients.events import decks_changed
from clients.models import Business, Deck, User
from jobs.actions.jobs import JobError, check_loggable, check_work_date
from jobs.models import GRADE_FIELDS, GradeExample, Visit


@transaction.atomic
def record_visit(
    *,
    deck: Deck,
    visited_on: date,
    findings: Mapping[str, Any],
    by: User | None,
    now: datetime,
    form_key: uuid.UUID | None = None,
) -> tuple[Visit, bool]:
    """Keep what was found; the very same visit a second time is only found again (False).
    Photographs of it follow by its `form_key`."""
    lock_until_commit(f"visit {deck.pk}")
    if there := Visit.objects.filter(
        deck=deck, visited_on=visited_on, recorded_by=by, job=None, **findings
    ).first():
        return there, False
    try:
        check_loggable(deck, visited_on, Business.objects.get().today(now))
    except JobError as error:
        raise JobError(error.field.replace("finished_on", "visited_on"), str(error)) from error
    check_findings(findings)
    visit = Visit.objects.create(
        deck=deck,
        visited_on=visited_on,
        recorded_by=by,
        created_at=now,
        form_key=form_key,
        **findings,
    )
    decks_changed.send(Visit, deck_ids=[deck.pk], now=now)
    return visit, True


@transaction.atomic
def change_visit(
    *,
    visit: Visit,
    visited_on: date,
    findings: Mapping[str, Any],
    business: Business,
    now: datetime,
) -> Visit:
    check_work_date(visited_on, business.today(now), "visited_on")
    check_findings(findings)
    if save_if_changed(visit, {**findings, "visited_on": visited_on}):
        GradeExample.objects.no_longer_true_of(visit).delete()
        decks_changed.send(Visit, deck_ids=[visit.deck_id], now=now)
    return visit


def check_findings(findings: Mapping[str, Any]) -> None:
    if all(findings.get(name) is None for name in [*GRADE_FIELDS, "moisture_percent"]):
        raise JobError(
            "overall", "Grade the deck as you found it: a check without a grade tells nothing."
        )
