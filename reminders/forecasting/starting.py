"""Where a book begins: what it learned, without anything about anybody, for others; and what others
learned, as the start of this one until its own visits say more."""

from collections.abc import Mapping
from datetime import date, datetime
from hashlib import sha256
from math import inf
from typing import Any

from django.db import transaction

from clients.actions.saving import lock_until_commit
from reminders import forecast
from reminders.forecasting import bridge, evaluation, learning
from reminders.models import LearnedStart

# A file about fewer would say something about each of them (judgement).
MIN_EXPORTED_DECKS = 10
MIN_JUDGING_VISITS = 20  # below that a start is taken unseen


class StartingError(Exception):
    """Why nothing was written or taken over, in words for the owner."""


def learned_of_book(*, today: date) -> forecast.LearnedBook:
    """What the visits of this book alone teach: fitted anew from the published figures, so that
    nothing of another book is handed on as ours.

    Raises `StartingError` while there is too little, or the fit did not settle.
    """
    history = learning.load_training_data(today=today)
    found = None if history is None else history.book.fit_before(bridge.epoch_days(today) + 1)
    if history is None or found is None or found.decks < MIN_EXPORTED_DECKS:
        raise StartingError(
            f"Graded visits of at least {MIN_EXPORTED_DECKS} decks are needed; there are"
            f" {found.decks if found else 0}. A file about fewer would tell of single decks."
        )
    if not found.converged:
        raise StartingError(f"Nothing was written: {found.note}")
    return forecast.LearnedBook(found.posterior, history.visits, found.coats, found.decks)


def start_from(files: Mapping[str, Any], *, today: date, now: datetime) -> tuple[LearnedStart, str]:
    """Begin from what other books learned, given as the JSON of each file by its name; whoever
    calls refreshes the forecasts, which follow as far as no fit of this book is in use.

    Raises `StartingError` naming the file and what is wrong with it, or saying that the published
    figures forecast the visits of this book better.
    """
    books = [read_learned(name, stored) for name, stored in files.items()]
    version = f"start-{sha256(repr([book.to_dict() for book in books]).encode()).hexdigest()[:12]}"
    pooled = forecast.pool_learned(books, version)
    with transaction.atomic():
        lock_until_commit("refit")
        history = learning.load_training_data(today=today)
        verdict = why_not_to_start(history, pooled, today=today)
        if verdict:
            raise StartingError(verdict)
        LearnedStart.objects.all().delete()
        row = LearnedStart.objects.create(
            version=version,
            created_at=now,
            parameters=pooled.to_dict(),
            books=len(books),
            visits=sum(book.visits for book in books),
            decks=sum(book.decks for book in books),
        )
    return row, f"Forecasts start from {len(books)} other book{'' if len(books) == 1 else 's'}."


def read_learned(name: str, stored: Any) -> forecast.LearnedBook:
    try:
        return forecast.LearnedBook.from_dict(stored)
    except ValueError as wrong:
        raise StartingError(f"{name}: {wrong}.") from wrong


def why_not_to_start(
    history: learning.TrainingData | None, start: forecast.Posterior, *, today: date
) -> str:
    """Why the published figures stand, in words; empty where the start may be used: it does not
    forecast the visits of this book worse, or there are too few to tell."""
    if history is None:
        return ""
    until = bridge.epoch_days(today) + 1
    if len(evaluation.informative_visit_days(history.book, -inf, until)) < MIN_JUDGING_VISITS:
        return ""
    published = {"published": forecast.PUBLISHED_PRIOR}
    trial = forecast.try_fit(history.book, start, published, -inf, until)
    if trial.is_passed:
        return ""
    rival = trial.rivals["published"].scores
    return (
        f"Not started from other books: over {rival.visits} visits of this book they scored"
        f" {trial.scores.log_score:.3f} against {rival.log_score:.3f} of the published figures;"
        " less is better."
    )


def forget_start() -> bool:
    """Begin from the published figures again; whether there was anything else. Whoever calls
    refreshes the forecasts."""
    gone, _ = LearnedStart.objects.all().delete()
    return bool(gone)


def drop_start_if_worse(history: learning.TrainingData, *, today: date) -> bool:
    """Set the start aside once the visits of this book speak for the published figures; whether it
    did."""
    row = LearnedStart.objects.first()
    if row is None or not why_not_to_start(history, bridge.starting_belief(), today=today):
        return False
    row.delete()
    return True
