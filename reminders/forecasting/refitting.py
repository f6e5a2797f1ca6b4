"""The deed of learning: fit the whole book anew and take the fit into use unless it does worse on held-back visits."""

from dataclasses import asdict, dataclass
from datetime import date, datetime

import numpy as np
from django.db import connection, transaction

from reminders import actions, forecast
from reminders.forecast.book import trials, visit_chances
from reminders.forecasting import active_fit as in_use
from reminders.forecasting import bridge, evaluation, learning
from reminders.models import ModelFit

ENOUGH_NEW = 20  # graded visits since the last try; fewer move a forecast by less than its own doubt (judgement)
PARTS = 4  # of the visits not yet learned from; the oldest part is only learned from, the others are each foretold
KEPT = 50  # fits that were not taken into use or are no longer
LOCK = 7_301_442  # any number that nothing else in this database locks


@dataclass(frozen=True)
class Refit:
    """What came of it: the fit that was tried, if one was, and in words what happened."""

    fit: ModelFit | None
    said: str


@dataclass(frozen=True)
class Trial:
    """Mean log scores over the held-back visits, and whether the new fit is taken into use."""

    visits: int = 0
    own: float | None = None
    in_use: float | None = None
    flat: float | None = None
    by_class: float | None = None
    is_adopted: bool = True
    why: str = "Taken into use: there was no visit yet to hold back and judge it by."


def refit(*, today: date, now: datetime, always: bool = False) -> Refit:
    """Learn from the book if enough is new (or `always`); afterwards all forecasts follow the fit in use."""
    with transaction.atomic():
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [LOCK])
        result = tried(today=today, now=now, always=always)
    if result.fit is not None and result.fit.is_in_use:
        actions.refresh_forecasts(deck_ids=None, today=today, now=now)
    return result


def tried(*, today: date, now: datetime, always: bool) -> Refit:
    """Fit and judge, or say why not."""
    history = learning.history(today=today)
    if history is None or not history.visits:
        return Refit(None, "No coat has been graded on a visit yet: forecasts rest on the published figures alone.")
    new = history.visits - visits_last_time()
    if abs(new) < ENOUGH_NEW and not always:
        return Refit(None, f"{new} new graded visits since the last time; {ENOUGH_NEW} are needed to learn again.")
    learned = history.book.learn(bridge.days(today) + 1)
    if not learned.coats:
        return Refit(None, "No grade in the book bounds the life of a coat: forecasts stay as they are.")
    known = ModelFit.objects.filter(version=learned.version).first()
    if known is not None:
        return Refit(None, f"Nothing in the book has changed since {known.version} was fitted.")
    return stored(history, learned, today=today, now=now)


def visits_last_time() -> int:
    newest = ModelFit.objects.newest()
    return newest.visits if newest is not None and is_of_this_core(newest) else 0


def is_of_this_core(fit: ModelFit) -> bool:
    """Whether the fit knows the factors that the core knows now."""
    return tuple(fit.parameters["posterior"]["names"]) == forecast.PRIOR.names


def stored(history: learning.History, learned: forecast.Fit, *, today: date, now: datetime) -> Refit:
    """Judge the fit, keep it and, if it did well, take it into use."""
    trial = judged(history, today=today)
    before = in_use.posterior()
    figures = figures_of(history, learned.posterior if trial.is_adopted else before, today=today)
    if trial.is_adopted:
        ModelFit.objects.filter(is_in_use=True).update(is_in_use=False)
    fit = ModelFit.objects.create(
        version=learned.version, created_at=now, trained_on=today, visits=history.visits, coats=learned.coats,
        decks=learned.decks, parameters=learned.to_dict(), held_back=trial.visits, own_score=trial.own,
        in_use_score=trial.in_use, flat_score=trial.flat, class_score=trial.by_class, is_in_use=trial.is_adopted,
        why=f"{trial.why} {learned.note}".strip(), figures=figures,
    )  # fmt: skip
    stale = ModelFit.objects.filter(is_in_use=False).values_list("pk", flat=True)[KEPT:]
    ModelFit.objects.filter(pk__in=list(stale)).delete()
    return Refit(fit, fit.why)


def figures_of(history: learning.History, belief: forecast.Posterior, *, today: date) -> dict[str, object]:
    """What the Figures page shows, reckoned once here because it takes many fits."""
    return asdict(evaluation.yearly(history.book, today=today)) | {
        "returns": evaluation.returns(history, belief, today=today),
        "shape": shape(history, today=today),
        "left_out": {what: count for what, count in history.left_out.items() if count},
    }


def shape(history: learning.History, *, today: date) -> dict[str, float | int]:
    """How well the assumed curve of life explains the lives, and how well another one would."""
    until = bridge.days(today) + 1
    book = history.book
    seen = forecast.lives(book.coats, forecast.bounds(book.coats, book.before(until)), book.running(until))
    found = forecast.shape_of_life(seen)
    return {"coats": found.coats, "lognormal": round(found.lognormal, 3), "weibull": round(found.weibull, 3)}


def judged(history: learning.History, *, today: date) -> Trial:
    """Let the new way of learning and the fit in use foretell the same visits, neither having seen them."""
    until = bridge.days(today) + 1
    current = ModelFit.objects.in_use()
    since, has_seen = held_back_from(history, until, None if current is None else bridge.days(current.trained_on) + 1)
    if since is None:
        return Trial()
    rolled = forecast.backtest(history.book, since, until, step_days=(until - since) / (PARTS - 1))
    held = trials(history.book, since, until)
    before = float(forecast.log_scores(visit_chances(history.book, held, in_use.posterior()), held.worn).mean())
    own = rolled.scores["learned"].log_score
    flat, by_class = (rolled.scores[name].log_score for name in ("flat_rule", "finish_average"))
    is_adopted = own <= before + 1e-9
    why = in_words(len(held.worn), own, before, is_adopted=is_adopted, has_seen=has_seen)
    return Trial(len(held.worn), own, before, flat, by_class, is_adopted, why)


def held_back_from(history: learning.History, until: float, unseen_since: float | None) -> tuple[float | None, bool]:
    """The day from which visits are held back, and whether the fit in use has seen them all the same.

    Usually these are the newest three quarters of the visits since the fit in use. When an old list was imported there
    are hardly any of those, and the newest quarter of all has to do.
    """
    fresh = evaluation.telling(history.book, -np.inf if unseen_since is None else unseen_since, until)
    if len(fresh) >= ENOUGH_NEW // 2:
        return float(fresh[len(fresh) // PARTS]), False
    everything = evaluation.telling(history.book, -np.inf, until)
    if not len(everything):
        return None, False
    return float(everything[len(everything) * (PARTS - 1) // PARTS]), unseen_since is not None


def in_words(visits: int, own: float, before: float, *, is_adopted: bool, has_seen: bool) -> str:
    """For the owner: what was compared and what came of it."""
    verdict = "Taken into use" if is_adopted else "Not taken into use, the one before stays"
    compared = f"over {visits} visits that it had not seen, the new fit scored {own:.3f} against {before:.3f}"
    unfair = " (which had seen them, and so had an advantage)" if has_seen else ""
    return f"{verdict}: {compared} of the one in use{unfair}; less is better."
