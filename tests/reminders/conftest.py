"""Decks with a coat and a forecast, for the tests of what is due and who is reminded."""

from collections.abc import Callable
from datetime import UTC, date, datetime
from typing import Any

import pytest

from clients.models import Deck
from jobs.models import Job
from reminders import actions
from reminders.models import Forecast
from reminders.months import shift_months
from reminders.steps import ReminderRequest
from tests.factories import (
    ClientFactory,
    CoatFactory,
    ConsentFactory,
    DeckFactory,
    EmailFactory,
    JobFactory,
    PropertyFactory,
)

TODAY = date(2026, 11, 25)
NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)  # eleven in the morning in Halifax
MARCH = date(2027, 3, 1)


def refresh(*decks: Deck, today: date = TODAY) -> int:
    return actions.refresh_forecasts(deck_ids=[deck.pk for deck in decks], today=today, now=NOW)


def remind(*decks: Deck, month: date = MARCH, by: Any = None) -> Any:
    asked = ReminderRequest(shift_months(month, 1), [deck.pk for deck in decks])
    return actions.queue_reminders(asked=asked, by=by, now=NOW)


@pytest.fixture
def coated(business: Any) -> Callable[..., Deck]:
    """A deck of a client who agreed to e-mail, with one finished strip, its forecast up to date."""

    def make(
        *, on: date = date(2025, 6, 10), client: Any = None, kind: str = "strip", **deck: Any
    ) -> Deck:
        if client is None:
            client = ClientFactory()
            EmailFactory(client=client)
            ConsentFactory(client=client)
        place = deck.pop("site", None) or PropertyFactory(client=client)
        made = DeckFactory(site=place, **deck)
        coat(made, on=on, kind=kind)
        refresh(made)
        return Deck.objects.get(pk=made.pk)

    return make


def coat(deck: Deck, *, on: date, kind: str = "recoat", **product: Any) -> Job:
    job = JobFactory(deck=deck, kind=kind, finished_on=on)
    CoatFactory(job=job, position=1, **product)
    return job


@pytest.fixture
def due(coated: Callable[..., Deck]) -> Callable[..., Deck]:
    """A deck with a window of chosen days."""

    def make(
        opens: date = date(2026, 11, 1),
        due_on: date = date(2027, 1, 5),
        late: date = date(2027, 2, 1),
        **deck: Any,
    ) -> Deck:
        made = coated(**deck)
        Forecast.objects.filter(deck=made).update(
            window_opens_on=opens,
            half_worn_on=due_on,
            due_on=due_on,
            boards_due_on=due_on,
            late_on=late,
        )
        return made

    return make
