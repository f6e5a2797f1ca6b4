"""The answer per deck: the window in which its coat is due, the chance that it is worn today, and
why."""

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from reminders.forecast.arrays import Booleans, Floats
from reminders.forecast.clock import CLOCK_WEIGHTS, ClockWeights, SeasonalClock
from reminders.forecast.coats import Coats
from reminders.forecast.doubted_look import BelievedLife, believe_look
from reminders.forecast.exposure import DESIGN_COLUMNS, FACTORS, deck_clock
from reminders.forecast.graded_belief import grades_of_running_coats, moments_after_grades
from reminders.forecast.mixing import MIXED_FACTORS, expected_design
from reminders.forecast.posterior import Posterior
from reminders.forecast.priors import NORMAL_QUANTILE_80, PUBLISHED_PRIOR
from reminders.forecast.wear_limits import (
    LOOK_CHANCE,
    LOOK_HOLDS_DAYS,
    STRIP_CHANCE,
    strip_ratios,
)

OPENS_CHANCE = 0.2
DUE_CHANCE = 0.5
LATE_CHANCE = 0.8
CACHED_ROWS = 8_192  # the arrays of one chunk stay in the processor's cache
# What may not be known of a coat: mixed over what it may be, or its day.
UNKNOWNS: tuple[str, ...] = (*MIXED_FACTORS, "shade", "start")
DAYS_A_MONTH = 365.2425 / 12
WIDTHS = {"contributions": (len(FACTORS),), "unknown_months": (len(UNKNOWNS),)}
_SCALAR_FIELDS = ("reference_months", "version")


@dataclass(frozen=True, eq=False)
class Prediction:
    """Forecasts of n coats. Dates are days since 1970-01-01, months are clock months.

    Parameters
    ----------
    window_opens : ndarray, shape (n,)
        The date at which one coat in five is worn.
    due_by : ndarray, shape (n,)
        The date at which one in two is worn.
    late : ndarray, shape (n,)
        The date at which four in five are worn.
    look_by : ndarray, shape (n,)
        The date from which one of us had better look before a recoat is planned; that of the coat
        where its finish is not known.
    strip_by : ndarray, shape (n,)
        The date from which a strip is planned.
    chance_worn_today : ndarray, shape (n,)
        Chance that the coat is worn today, given its inspections.
    median_months : ndarray, shape (n,)
        Median life of the coat before its inspections are taken into account.
    due_months : ndarray, shape (n,)
        The same after they are; the age at `due_by`.
    log_sd : ndarray, shape (n,)
        Spread of the life on the log scale.
    contributions : ndarray, shape (n, len(FACTORS))
        Months by which each factor of `FACTORS` moves `due_months` from `reference_months`; the
        rows sum to the whole difference.
    prior_share : ndarray, shape (n,)
        Share of the spread between decks that still rests on the priors.
    unknown_months : ndarray, shape (n, len(UNKNOWNS))
        Months by which the window of a new coat would be shorter on average, were each of
        `UNKNOWNS` known.
    reference_months : float
        Median life on the reference deck.
    version : str
        Which posterior was used.
    """

    window_opens: Floats
    due_by: Floats
    late: Floats
    look_by: Floats
    strip_by: Floats
    chance_worn_today: Floats
    median_months: Floats
    due_months: Floats
    log_sd: Floats
    contributions: Floats
    prior_share: Floats
    unknown_months: Floats
    reference_months: float
    version: str


def predict(
    coats: Coats,
    posterior: Posterior = PUBLISHED_PRIOR,
    today: ArrayLike = 0.0,
    *,
    weights: ClockWeights = CLOCK_WEIGHTS,
) -> Prediction:
    """Forecast when coats are due.

    Parameters
    ----------
    coats : Coats
        The running coat of each deck, with the last inspection that found it sound or the first
        that found it worn.
    posterior : Posterior
        What is believed; `PUBLISHED_PRIOR` if the business has no visits yet.
    today : array_like
        The day for which the chance of being worn is wanted, in days since 1970-01-01; one, or one
        a row.
    weights : ClockWeights
        What the seasonal clock follows.

    Returns
    -------
    Prediction
        One row a coat.
    """
    days = np.broadcast_to(np.asarray(today, dtype=float), (len(coats),))
    _check_today(coats, days)
    result = _empty_prediction(len(coats), posterior)

    def fill(start: int) -> None:
        rows = slice(start, start + CACHED_ROWS)
        for name, values in _predict_rows(coats.take(rows), posterior, days[rows], weights).items():
            getattr(result, name)[rows] = values

    _fill_side_by_side(fill, range(0, len(coats), CACHED_ROWS))
    return result


def _fill_side_by_side(fill: Callable[[int], None], starts: range) -> None:
    # On all cores: NumPy lets threads run. One piece needs no other thread.
    if len(starts) < 2:
        for start in starts:
            fill(start)
        return
    with ThreadPoolExecutor(os.cpu_count()) as threads:
        for _ in threads.map(fill, starts):  # so that an error comes up
            pass


def _check_today(coats: Coats, days: Floats) -> None:
    for name in ("coated_on", "sound_on", "worn_on", "recoatable_on", "asked_on"):
        dates = getattr(coats, name)
        late = ~np.isfinite(days) | (dates > days)
        if late.any():
            row = np.argmax(late)
            raise ValueError(
                f"{name} must not lie after today; row {row} has {dates[row]:g} and today is"
                f" {days[row]:g}"
            )


def _empty_prediction(count: int, posterior: Posterior) -> Prediction:
    shapes = {
        name: np.empty((count, *WIDTHS[name]) if name in WIDTHS else count)
        for name in Prediction.__dataclass_fields__
        if name not in _SCALAR_FIELDS
    }
    return Prediction(
        **shapes, reference_months=posterior.reference_months, version=posterior.version
    )


class LogLife(NamedTuple):
    """What is believed about the log life of n coats before they are inspected.

    Parameters
    ----------
    mean : ndarray, shape (n,)
        Mean of log clock months.
    spread : ndarray, shape (n,)
        Standard deviation of the same: coat, deck and doubt about the coefficients.
    x : ndarray, shape (n, len(COLUMNS))
        The design matrix.
    pace, pace_variance : ndarray, shape (n,)
        Log pace of the deck and its variance.
    unknown : ndarray, shape (n, len(UNKNOWNS))
        Part of the variance that knowing each of `UNKNOWNS` would take away on average.
    unknown_variance : ndarray, shape (n,)
        Part of the variance that comes of all that is not known.
    is_graded : ndarray of bool, shape (n,)
        Whether the grades of the coat itself have been read along a path of wear: then a sound
        visit or a client's look moves mean and spread, and is no bound besides.
    """

    mean: Floats
    spread: Floats
    x: Floats
    pace: Floats
    pace_variance: Floats
    unknown: Floats
    unknown_variance: Floats
    is_graded: Booleans


def predict_log_life(coats: Coats, posterior: Posterior) -> LogLife:
    """Return the belief about the log life of coats, inspections of the coats themselves left
    aside.

    Parameters
    ----------
    coats : Coats
        The coats.
    posterior : Posterior
        What is believed.

    Returns
    -------
    LogLife
        One row a coat.
    """
    design = expected_design(coats)
    x = design.x
    log_frailty, variance = posterior.log_frailty_of(coats.deck)
    mean = posterior.beta[0] + x @ posterior.beta[1:] + log_frailty
    doubt = posterior.predictor_variance(x, coats.deck)
    mixed = design.unknown_variances(posterior)
    start = start_variance(coats, mean)
    unknown = mixed[:, 0] + start
    return LogLife(
        mean,
        np.sqrt(posterior.coat_variance + variance + doubt + unknown),
        x,
        log_frailty,
        variance,
        np.vstack([mixed.T[1:], start]).T,
        unknown,
        np.zeros(len(coats), dtype=bool),
    )


def start_variance(coats: Coats, mean: Floats) -> Floats:
    """Return the variance of log life that comes of a coat whose day is not known.

    Parameters
    ----------
    coats : Coats
        The coats.
    mean : ndarray, shape (n,)
        Means of log clock months.

    Returns
    -------
    ndarray, shape (n,)
        Of the age at which it is worn, counted from the middle of the span.

    Notes
    -----
    Every day of the span is as likely as any other, so the start has a variance of h²/3 with h the
    half width; over the square of the median life it is that of the logarithm (delta method). In
    the mean a clock month is a calendar month.
    """
    half = coats.coated_within / DAYS_A_MONTH
    return half**2 / 3 / np.exp(2 * mean)


class InspectedLives(NamedTuple):
    """What is believed of the lives of n running coats, and the clock that counts them.

    Parameters
    ----------
    clock : SeasonalClock
        Their clock.
    start : ndarray, shape (n,)
        Its readings when they were put on.
    before : LogLife
        What is believed without what was found of the coats themselves.
    belief : LogLife
        The same once their grades are read along the path of wear.
    seen : BelievedLife
        Log lives, standardised by `belief`, once the coats have been inspected.
    """

    clock: SeasonalClock
    start: Floats
    before: LogLife
    belief: LogLife
    seen: BelievedLife

    def chance_over(self, day: Floats, ratio: Floats | float = 1.0) -> Floats:
        """Return the chance that so many lives are over by a day.

        Parameters
        ----------
        day : ndarray, shape (n,) or (k, n)
            Days since 1970-01-01; NaN gives 0.
        ratio : float or ndarray
            In lives; 1 is the recoat limit.

        Returns
        -------
        ndarray, of the shape of `day`
            Without regard to findings that a recoat still does.
        """
        age = (self.clock.reading(day) - self.start) / ratio
        return self.seen.cdf(
            _standardised_log_age(age, self.belief.mean, self.belief.spread, -np.inf)
        )

    def log_age_at(self, chance: Floats | float) -> Floats:
        """Return the log of the age at which the life is over with a chance.

        Parameters
        ----------
        chance : float or ndarray
            Between 0 and 1.

        Returns
        -------
        ndarray, shape (n,)
            Logs of clock months.
        """
        return self.belief.mean + self.belief.spread * self.seen.quantile(chance)


def inspected_lives(
    coats: Coats, posterior: Posterior, weights: ClockWeights = CLOCK_WEIGHTS
) -> InspectedLives:
    """Return what is believed of the lives of running coats once all that was found of them is
    read.

    Parameters
    ----------
    coats : Coats
        The coats, with what was found of them.
    posterior : Posterior
        What is believed.
    weights : ClockWeights
        What the seasonal clock follows.

    Returns
    -------
    InspectedLives
        One row a coat.
    """
    clock = deck_clock(coats, weights)
    start = clock.reading(coats.coated_on)
    before = predict_log_life(coats, posterior)
    belief = believe_grades(coats, (clock, start), before, posterior)
    seen = believe_inspections(coats, (clock, start), belief)
    return InspectedLives(clock, start, before, belief, seen)


def _predict_rows(
    coats: Coats, posterior: Posterior, today: Floats, weights: ClockWeights
) -> dict[str, Floats]:
    lives = inspected_lives(coats, posterior, weights)
    clock, start, before = lives.clock, lives.start, lives.before
    window = np.exp([lives.log_age_at(share) for share in (OPENS_CHANCE, DUE_CHANCE, LATE_CHANCE)])
    ages = np.vstack([window, _strip_ages(coats, lives)])
    opens, due, late, look, strip = clock.day_of(start + ages)
    # A finding that a recoat still does holds for a while.
    held = coats.recoatable_on + LOOK_HOLDS_DAYS
    looked_at_first = (coats.finish_class < 0) & np.isnan(held)
    return {
        "window_opens": opens,
        "due_by": due,
        "late": late,
        "look_by": np.where(looked_at_first, coats.coated_on, np.fmax(look, held)),
        "strip_by": np.fmax(strip, held),
        "chance_worn_today": lives.chance_over(today),
        "median_months": np.exp(before.mean),
        "due_months": window[1],
        "log_sd": before.spread,
        "contributions": _factor_contributions(coats, before, posterior, window[1]),
        "unknown_months": _narrower_months(before),
        "prior_share": _prior_share(before, posterior),
    }


def _strip_ages(coats: Coats, lives: InspectedLives) -> Floats:
    # At which the chance that only a strip will do reaches that of a look and that of a strip,
    # given that a recoat still did when that was last found; shape (2, n).
    ratio = strip_ratios(coats)
    gone = lives.chance_over(coats.recoatable_on, ratio)
    chances = (gone + chance * (1 - gone) for chance in (LOOK_CHANCE, STRIP_CHANCE))
    return ratio * np.exp([lives.log_age_at(chance) for chance in chances])


def believe_grades(
    coats: Coats, running: tuple[SeasonalClock, Floats], belief: LogLife, posterior: Posterior
) -> LogLife:
    """Return the belief about log lives once the grades of the coats themselves are read along the
    path of wear.

    Parameters
    ----------
    coats : Coats
        The coats.
    running : (SeasonalClock, ndarray)
        Their clock and its readings when they were put on.
    belief : LogLife
        What is believed of them before.
    posterior : Posterior
        What is believed; without a path nothing moves.

    Returns
    -------
    LogLife
        Mean and spread moved, the rest as before.
    """
    if posterior.path is None or not coats.graded_on.shape[1]:
        return belief
    log, rows = grades_of_running_coats(coats, *running)
    if not log:
        return belief
    mean, spread = belief.mean.copy(), belief.spread.copy()
    slope = posterior.path_slope(belief.x[rows], coats.deck[rows])
    mean[rows], spread[rows] = moments_after_grades(
        posterior.path, log, mean[rows], spread[rows], slope
    )
    is_graded = np.zeros(len(coats), dtype=bool)
    is_graded[rows] = True
    return belief._replace(mean=mean, spread=spread, is_graded=is_graded)


def believe_inspections(
    coats: Coats, running: tuple[SeasonalClock, Floats], belief: LogLife
) -> BelievedLife:
    """Return the belief about standardised log lives once coats have been inspected.

    Parameters
    ----------
    coats : Coats
        The coats, with what was found of them.
    running : (SeasonalClock, ndarray)
        Their clock and its readings when they were put on.
    belief : LogLife
        What is believed of them before.

    Returns
    -------
    BelievedLife
        One row a coat.
    """
    clock, start = running

    def z(day: Floats, missing: float) -> Floats:
        return _standardised_log_age(
            clock.reading(day) - start, belief.mean, belief.spread, missing
        )

    # Whoever of us found it worn is right: that bounds the life whatever the path says.
    return believe_look(
        z(np.where(belief.is_graded, np.nan, coats.sound_on), -np.inf),
        z(coats.worn_on, np.inf),
        z(np.where(belief.is_graded, np.nan, coats.asked_on), np.nan),
        coats.asked_worn > 0,
    )


def _standardised_log_age(age: Floats, mean: Floats, spread: Floats, missing: float) -> Floats:
    # An age on the scale of the standard normal; no inspection, or one on the day of coating, tells
    # nothing.
    with np.errstate(divide="ignore", invalid="ignore"):
        z = (np.log(age) - mean) / spread
    return np.where(np.isnan(z), missing, z)


def _narrower_months(belief: LogLife) -> Floats:
    # What knowing each thing would take off the window of a coat that nobody has looked at.
    months = np.zeros(belief.unknown.shape)
    rows = np.flatnonzero(belief.unknown_variance)
    spread = belief.spread[rows, None]
    known = np.sqrt(np.maximum(spread**2 - belief.unknown[rows], 0))
    widths = [np.sinh(NORMAL_QUANTILE_80 * each) for each in (spread, known)]
    months[rows] = 2 * np.exp(belief.mean[rows])[:, None] * (widths[0] - widths[1])
    return months


def _factor_contributions(
    coats: Coats, belief: LogLife, posterior: Posterior, due: Floats
) -> Floats:
    # The logarithmic mean turns a sum of logs into a sum of months, exactly and without an order
    # among the factors (Vartia 1976; the "log mean Divisia" split, from memory).
    log_due = np.log(due)
    months = _log_ratios(coats, belief.x, posterior)
    months[:, FACTORS.index("own_history")] = belief.pace
    months[:, FACTORS.index("inspection")] = log_due - belief.mean
    total = log_due - posterior.beta[0]
    reference = posterior.reference_months
    with np.errstate(divide="ignore", invalid="ignore"):
        months_per_log = (
            np.where(np.abs(total) > 1e-9, np.expm1(total) / total, 1 + total / 2) * reference
        )
    months *= months_per_log[:, None]
    months[np.abs(months) < 1e-12] = 0.0  # rounding is not a reason
    return months


def _log_ratios(coats: Coats, x: Floats, posterior: Posterior) -> Floats:
    # The logs of life that the columns of each factor add; shape (n, len(FACTORS)).
    effects = np.zeros((len(DESIGN_COLUMNS), len(FACTORS)))
    told = [FACTORS.index(factor) for factor in DESIGN_COLUMNS.values()]
    effects[np.arange(len(told)), told] = posterior.beta[1:]
    ratios = x @ effects
    for place, factor in enumerate(FACTORS):
        rows = np.flatnonzero(_is_unknown(coats, factor))
        ratios[rows, FACTORS.index("unknown")] += ratios[rows, place]
        ratios[rows, place] = 0.0
    return ratios


def _is_unknown(coats: Coats, factor: str) -> Booleans:
    # Whether the column of this factor holds a mean over what it may be.
    if factor in {"finish", "pigment", "base"}:
        return coats.finish_class < 0
    if factor == "species":
        return (coats.species_class < 0) | (coats.finish_class < 0)
    if factor == "shade":
        return coats.is_shade_unknown
    return np.isnan(coats.coats) if factor == "coats" else np.zeros(len(coats), dtype=bool)


def _prior_share(belief: LogLife, posterior: Posterior) -> Floats:
    # The rest was taken away by earlier coats of the deck itself and by visits to all decks.
    deck = posterior.omega**2
    variance = belief.pace_variance
    before = PUBLISHED_PRIOR.predictor_variance(belief.x, np.full(len(belief.x), -1))
    now = belief.spread**2 - posterior.coat_variance - variance - belief.unknown_variance
    own = np.clip((deck - variance) / (before + deck), 0, 1)
    book = np.clip((before - now) / (before + deck), 0, 1 - own)
    return 1 - own - book
