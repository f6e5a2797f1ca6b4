"""Learning: fit the book again and take that very fit into use unless it does worse on visits that
it has not seen."""

from dataclasses import asdict, dataclass
from datetime import date, datetime, timedelta
from math import inf
from typing import NamedTuple

from django.db import transaction

from clients.actions.saving import lock_until_commit
from clients.models import Business
from reminders import actions, forecast
from reminders.forecasting import bridge, evaluation, learning
from reminders.forecasting.starting import drop_start_if_worse
from reminders.models import ModelFit

# graded visits since the last try; fewer move a forecast by less than its own doubt (judgement)
MIN_NEW_VISITS = 20
# A fit is judged by the newest of the visits that the fit in use has not seen: an eighth of them,
# of few more, but never more than half (judgement). The next fit learns from these too.
HELD_BACK_PARTS = 8
MIN_HELD_BACK = 20
MIN_UNSEEN_VISITS = 20
MAX_UNUSED_FITS = 50  # fits that were not taken into use or are no longer
IN_USE = "the one in use"
STARTED_FROM = "other books"
PUBLISHED = "the published figures"
PLAIN_GRADES = "worn or not alone"
REFUSED = "Not taken into use"


@dataclass(frozen=True)
class RefitResult:
    """What came of it: the fit that was tried, if one was, and in words what happened."""

    fit: ModelFit | None
    outcome: str


class LearnedFit(NamedTuple):
    """A fit, and in words how it reads grades."""

    fit: forecast.Fit
    reading: str


class FitVerdict(NamedTuple):
    """Whether a fit is taken into use, and why in words."""

    is_adopted: bool
    why: str


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
    if drop_start_if_worse(history, today=today):
        actions.refresh_forecasts(deck_ids=None, today=today, now=now)
    new = history.visits - visits_at_newest_fit()
    if abs(new) < MIN_NEW_VISITS and not always:
        return RefitResult(
            None,
            f"{new} new graded visits since the last time; {MIN_NEW_VISITS} are needed to learn"
            " again.",
        )
    since = held_back_start(history, new=new, until=bridge.epoch_days(today) + 1)
    found = None if since is None else learn_both_ways(history.book, since, today)
    if since is None or found is None or not found.fit.coats:
        return RefitResult(
            None,
            f"Not yet {MIN_UNSEEN_VISITS} visits that forecasts do not rest on, to learn"
            " from some and to judge by the others: forecasts stay as they are.",
        )
    known = ModelFit.objects.filter(version=found.fit.version).first()
    if known is not None:
        return RefitResult(
            None, f"Nothing in the book has changed since {known.version} was fitted."
        )
    return save_fit(history, found, since, today=today, now=now)


def learn_both_ways(book: forecast.InspectionData, since: float, today: date) -> LearnedFit:
    """Read grades as worn or not, and along a path of wear; the path is used where it forecast the
    visits held back no worse."""
    prior = bridge.starting_belief()
    plain = book.fit_before(since, prior)
    along_path = book.fit_before(since, prior, along_path=True, start=plain.posterior)
    if along_path.posterior.path is None:
        return LearnedFit(plain, "")
    until = bridge.epoch_days(today) + 1
    rivals = {PLAIN_GRADES: plain.posterior}
    trial = forecast.try_fit(book, along_path.posterior, rivals, since, until)
    against = (
        f"{trial.scores.log_score:.3f} against {trial.rivals[PLAIN_GRADES].scores.log_score:.3f}"
        f" of {PLAIN_GRADES}"
    )
    if along_path.converged and trial.is_passed:
        return LearnedFit(along_path, f"It reads each grade along a path of wear ({against}).")
    return LearnedFit(plain, f"It reads grades as worn or not: a path of wear scored {against}.")


def visits_at_newest_fit() -> int:
    newest = ModelFit.objects.newest()
    if newest is None:
        return 0
    stored = forecast.Fit.from_dict(newest.parameters).posterior
    return newest.visits if bridge.is_usable(stored) else 0


def save_fit(
    history: learning.TrainingData,
    found: LearnedFit,
    since: float,
    *,
    today: date,
    now: datetime,
) -> RefitResult:
    """Judge the fit, keep it and, if it did well, take it into use."""
    learned = found.fit
    before = bridge.active_posterior()
    until = bridge.epoch_days(today) + 1
    trial = forecast.try_fit(history.book, learned.posterior, rivals_of_a_fit(), since, until)
    verdict = judge_trial(learned, trial)
    belief = learned.posterior if verdict.is_adopted else before
    figures = compute_figures(history, belief, today=today)
    simple = forecast.simple_rule_scores(history.book, since, until)
    if verdict.is_adopted:
        ModelFit.objects.filter(is_in_use=True).update(is_in_use=False)
    fit = ModelFit.objects.create(
        version=learned.version,
        created_at=now,
        trained_on=today - timedelta(days=round(until - since)),
        visits=history.visits,
        coats=learned.coats,
        decks=learned.decks,
        parameters=learned.to_dict(),
        held_back=trial.scores.visits,
        own_score=trial.scores.log_score,
        in_use_score=next(iter(trial.rivals.values())).scores.log_score,
        flat_score=simple["flat_rule"].log_score,
        class_score=simple["finish_average"].log_score,
        is_in_use=verdict.is_adopted,
        why=f"{verdict.why} {found.reading}".strip(),
        figures=figures,
    )
    stale = ModelFit.objects.filter(is_in_use=False).values_list("pk", flat=True)[MAX_UNUSED_FITS:]
    ModelFit.objects.filter(pk__in=list(stale)).delete()
    return RefitResult(fit, fit.why)


def compute_figures(
    history: learning.TrainingData, belief: forecast.Posterior, *, today: date
) -> dict[str, object]:
    """What the Figures page shows, calculated once here because it takes many fits."""
    along_path = belief.path is not None
    judged = evaluation.backtest_by_year(history.book, today=today, along_path=along_path)
    return asdict(judged) | {
        "returns": evaluation.count_returns(history, belief, today=today),
        "upkeep": upkeep_figures(history, belief, today=today),
        "left_out": {what: count for what, count in history.left_out.items() if count},
    }


def upkeep_figures(
    history: learning.TrainingData, belief: forecast.Posterior, *, today: date
) -> dict[str, object]:
    """With the currency of the business, for the page."""
    business = Business.current()
    if business is None:
        return {}
    currency = business.currency
    found = evaluation.upkeep_money(history, belief, today=today, currency=currency)
    return {**found, "currency": currency} if found else {}


def fit_in_force() -> ModelFit | None:
    """The fit that forecasts rest on; None where that is the start, also because the fit in use
    says nothing any more."""
    row = ModelFit.objects.defer("parameters").in_use()
    if row is None or not bridge.is_usable(bridge.load_posterior(row.pk, row.version)):
        return None
    return row


def held_back_start(history: learning.TrainingData, *, new: int, until: float) -> float | None:
    """The day from which visits are held back to judge a fit by, the newest of those that the fit
    in use has not seen; None where these are too few.

    Where nothing is new it is the day of the last time, for the same visits would make the same fit
    and be used to judge another.
    """
    newest = ModelFit.objects.newest()
    if newest is not None and not new:
        return bridge.epoch_days(newest.trained_on) + 1
    current = fit_in_force()
    unseen_since = -inf if current is None else bridge.epoch_days(current.trained_on) + 1
    fresh = evaluation.informative_visit_days(history.book, unseen_since, until)
    if len(fresh) < MIN_UNSEEN_VISITS:
        return None
    count = min(max(len(fresh) // HELD_BACK_PARTS, MIN_HELD_BACK), len(fresh) // 2)
    return float(fresh[-count])


def rivals_of_a_fit() -> dict[str, forecast.Posterior]:
    """What forecasts rest on now comes first; the published figures are always there."""
    start = bridge.starting_belief()
    rivals = {} if fit_in_force() is None else {IN_USE: bridge.active_posterior()}
    if start is not forecast.PUBLISHED_PRIOR:
        rivals |= {STARTED_FROM: start}
    return rivals | {PUBLISHED: forecast.PUBLISHED_PRIOR}


def judge_trial(learned: forecast.Fit, trial: forecast.FitTrial) -> FitVerdict:
    """For the owner: what was compared and what came of it."""
    if not learned.converged:
        return FitVerdict(False, f"{REFUSED}: {learned.note}")
    told = f"over {trial.scores.visits} visits that it had not seen"
    if trial.is_passed:
        against = " and ".join(
            f"{rival.scores.log_score:.3f} of {name}" for name, rival in trial.rivals.items()
        )
        return FitVerdict(
            True,
            f"Taken into use: {told}, the new fit scored {trial.scores.log_score:.3f} against"
            f" {against}; less is better.",
        )
    return FitVerdict(
        False,
        f"{REFUSED}: {told}, {' and '.join(worse_points(trial))}; less is better.",
    )


def worse_points(trial: forecast.FitTrial) -> list[str]:
    """What the fit did worse than each rival."""
    own = trial.scores
    points = []
    for name, rival in trial.rivals.items():
        if rival.has_better_chances:
            points.append(
                f"its chances were further off than those of {name} ({own.log_score:.3f} against"
                f" {rival.scores.log_score:.3f})"
            )
        if rival.has_better_windows:
            points.append(
                f"its windows were too wide or missed more often than those of {name}"
                f" ({own.window_score:.2f} against {rival.scores.window_score:.2f})"
            )
    return points
