"""Learning: fit the whole book again and take the fit into use unless it does worse on
held-back visits."""

from dataclasses import asdict, dataclass
from datetime import date, datetime

import numpy as np
from django.db import transaction

from clients.actions.saving import lock_until_commit
from reminders import actions, forecast
from reminders.forecasting import bridge, evaluation, learning
from reminders.models import ModelFit

# graded visits since the last try; fewer move a forecast by less than its own doubt (judgement)
MIN_NEW_VISITS = 20
# of the visits not yet learned from; the oldest part is only learned from, the others are each
# forecast
HELD_BACK_PARTS = 4
MAX_UNUSED_FITS = 50  # fits that were not taken into use or are no longer


@dataclass(frozen=True)
class RefitResult:
    """What came of it: the fit that was tried, if one was, and in words what happened."""

    fit: ModelFit | None
    outcome: str


@dataclass(frozen=True)
class HeldBackScores:
    """Mean log scores over the held-back visits, and whether the new fit is taken into use."""

    visits: int = 0
    own: float | None = None
    in_use: float | None = None
    flat: float | None = None
    by_class: float | None = None
    is_adopted: bool = True
    why: str = "Taken into use: there was no visit yet to hold back and judge it by."


def refit(*, today: date, now: datetime, always: bool = False) -> RefitResult:
    """Learn from the book if enough is new (or `always`);
    afterwards all forecasts follow the fit in use."""
    with transaction.atomic():
        lock_until_commit("refit")
        result = fit_if_enough_is_new(today=today, now=now, always=always)
    if result.fit is not None and result.fit.is_in_use:
        actions.refresh_forecasts(deck_ids=None, today=today, now=now)
    return result


def fit_if_enough_is_new(*, today: date, now: datetime, always: bool) -> RefitResult:
    """Fit and judge, or say why not."""
    history = learning.load_training_data(today=today)
    if history is None or not history.visits:
        return RefitResult(
            None,
            "No coat has been graded on a visit yet: forecasts rest on the published figures"
            " alone.",
        )
    new = history.visits - visits_at_newest_fit()
    if abs(new) < MIN_NEW_VISITS and not always:
        return RefitResult(
            None,
            f"{new} new graded visits since the last time; {MIN_NEW_VISITS} are needed to learn"
            " again.",
        )
    learned = history.book.fit_before(bridge.epoch_days(today) + 1)
    if not learned.coats:
        return RefitResult(
            None, "No grade in the book bounds the life of a coat: forecasts stay as they are."
        )
    known = ModelFit.objects.filter(version=learned.version).first()
    if known is not None:
        return RefitResult(
            None, f"Nothing in the book has changed since {known.version} was fitted."
        )
    return save_fit(history, learned, today=today, now=now)


def visits_at_newest_fit() -> int:
    newest = ModelFit.objects.newest()
    return newest.visits if newest is not None and has_current_factors(newest) else 0


def has_current_factors(fit: ModelFit) -> bool:
    """Whether the fit knows the factors that the core knows now."""
    return tuple(fit.parameters["posterior"]["names"]) == forecast.PUBLISHED_PRIOR.names


def save_fit(
    history: learning.TrainingData, learned: forecast.Fit, *, today: date, now: datetime
) -> RefitResult:
    """Judge the fit, keep it and, if it did well, take it into use."""
    trial = score_on_held_back_visits(history, today=today)
    before = bridge.active_posterior()
    figures = compute_figures(
        history, learned.posterior if trial.is_adopted else before, today=today
    )
    if trial.is_adopted:
        ModelFit.objects.filter(is_in_use=True).update(is_in_use=False)
    fit = ModelFit.objects.create(
        version=learned.version,
        created_at=now,
        trained_on=today,
        visits=history.visits,
        coats=learned.coats,
        decks=learned.decks,
        parameters=learned.to_dict(),
        held_back=trial.visits,
        own_score=trial.own,
        in_use_score=trial.in_use,
        flat_score=trial.flat,
        class_score=trial.by_class,
        is_in_use=trial.is_adopted,
        why=f"{trial.why} {learned.note}".strip(),
        figures=figures,
    )
    stale = ModelFit.objects.filter(is_in_use=False).values_list("pk", flat=True)[MAX_UNUSED_FITS:]
    ModelFit.objects.filter(pk__in=list(stale)).delete()
    return RefitResult(fit, fit.why)


def compute_figures(
    history: learning.TrainingData, belief: forecast.Posterior, *, today: date
) -> dict[str, object]:
    """What the Figures page shows, calculated once here because it takes many fits."""
    return asdict(evaluation.backtest_by_year(history.book, today=today)) | {
        "returns": evaluation.count_returns(history, belief, today=today),
        "left_out": {what: count for what, count in history.left_out.items() if count},
    }


def score_on_held_back_visits(history: learning.TrainingData, *, today: date) -> HeldBackScores:
    """Let the new way of learning and the fit in use forecast the same visits, neither having seen
    them."""
    until = bridge.epoch_days(today) + 1
    current = ModelFit.objects.in_use()
    since, has_seen = held_back_start(
        history, until, None if current is None else bridge.epoch_days(current.trained_on) + 1
    )
    if since is None:
        return HeldBackScores()
    rolled = forecast.backtest(
        history.book, since, until, step_days=(until - since) / (HELD_BACK_PARTS - 1)
    )
    held = forecast.scored_visits(history.book, since, until)
    chances = forecast.worn_chances_at_visits(history.book, held, bridge.active_posterior())
    before = float(forecast.log_scores(chances, held.worn).mean())
    own = rolled.scores["learned"].log_score
    flat, by_class = (rolled.scores[name].log_score for name in ("flat_rule", "finish_average"))
    is_adopted = own <= before + 1e-9
    why = describe_comparison(len(held.worn), own, before, is_adopted=is_adopted, has_seen=has_seen)
    return HeldBackScores(len(held.worn), own, before, flat, by_class, is_adopted, why)


def held_back_start(
    history: learning.TrainingData, until: float, unseen_since: float | None
) -> tuple[float | None, bool]:
    """The day from which visits are held back, and whether the fit in use has seen them all the
    same.

    Usually these are the newest three quarters of the visits since the fit in use. When an old list
    was imported there are hardly any of those, and the newest quarter of all has to do.
    """
    fresh = evaluation.informative_visit_days(
        history.book, -np.inf if unseen_since is None else unseen_since, until
    )
    if len(fresh) >= MIN_NEW_VISITS // 2:
        return float(fresh[len(fresh) // HELD_BACK_PARTS]), False
    everything = evaluation.informative_visit_days(history.book, -np.inf, until)
    if not len(everything):
        return None, False
    return (
        float(everything[len(everything) * (HELD_BACK_PARTS - 1) // HELD_BACK_PARTS]),
        unseen_since is not None,
    )


def describe_comparison(
    visits: int, own: float, before: float, *, is_adopted: bool, has_seen: bool
) -> str:
    """For the owner: what was compared and what came of it."""
    decision = "Taken into use" if is_adopted else "Not taken into use, the one before stays"
    compared = (
        f"over {visits} visits that it had not seen, the new fit scored {own:.3f} against"
        f" {before:.3f}"
    )
    unfair = " (which had seen them, and so had an advantage)" if has_seen else ""
    return f"{decision}: {compared} of the one in use{unfair}; less is better."
