"""Judging the model on the business's own book: at each origin learn from the past, then score the visits that follow."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reminders.forecast.clock import WEIGHTS, ClockWeights
from reminders.forecast.coats import Coats
from reminders.forecast.fit import MISGRADE, Fit, fit
from reminders.forecast.intervals import Bounds, Visits, ages, bounds, lives
from reminders.forecast.lognormal import chance_within
from reminders.forecast.posterior import Posterior
from reminders.forecast.predict import life
from reminders.forecast.priors import PRIOR
from reminders.forecast.scoring import Bin, Coverage, Scores, coverage, log_scores, reliability, score

Floats = NDArray[np.float64]

FLAT_RULE_DAYS = 365.25  # "every deck once a year"
YEAR_DAYS = 365.25
FORECASTS = ("learned", "prior", "flat_rule", "finish_average")


@dataclass(frozen=True, eq=False)
class Book:
    """All coats of a business with their visits.

    Parameters
    ----------
    coats : Coats
        Every coat, also those that are gone; `sound_on` and `worn_on` are not looked at.
    visits : Visits
        Every visit.
    ended_on : ndarray, shape (n,)
        Day on which the next coat went on; NaN while the coat is on.
    """

    coats: Coats
    visits: Visits
    ended_on: Floats

    def before(self, day: float) -> Visits:
        """Return the visits before a day.

        Parameters
        ----------
        day : float
            In days since 1970-01-01.

        Returns
        -------
        Visits
            The visits.
        """
        return self.visits.take(np.flatnonzero(self.visits.visited_on < day))

    def running(self, day: float) -> NDArray[np.bool_]:
        """Return which coats were on a deck on a day, or not yet.

        Parameters
        ----------
        day : float
            In days since 1970-01-01.

        Returns
        -------
        ndarray of bool, shape (n,)
            Whether each coat had not yet ended.
        """
        return ~(self.ended_on < day)

    def learn(self, day: float, prior: Posterior = PRIOR, *, misgrade: float = MISGRADE) -> Fit:
        """Fit what was known before a day.

        Parameters
        ----------
        day : float
            In days since 1970-01-01.
        prior : Posterior
            What is believed without visits.
        misgrade : float
            Chance that a visit is graded on the wrong side of the limit.

        Returns
        -------
        Fit
            The fit.
        """
        found = bounds(self.coats, self.before(day))
        return fit(lives(self.coats, found, self.running(day)), prior, misgrade=misgrade)


@dataclass(frozen=True, eq=False)
class Tests:
    """Visits that a forecast is judged by, each with what was known of its coat just before.

    Parameters
    ----------
    coat : ndarray of int, shape (v,)
        Row of the coat.
    low : ndarray, shape (v,)
        Age at the last sound visit before, in clock months; 0 if none.
    age : ndarray, shape (v,)
        Age at the visit.
    days : ndarray, shape (v,)
        Age at the visit in calendar days.
    worn : ndarray of bool, shape (v,)
        What was found.
    """

    __test__ = False  # not a test of pytest's

    coat: NDArray[np.int64]
    low: Floats
    age: Floats
    days: Floats
    worn: NDArray[np.bool_]


def tests_between(book: Book, start: float, end: float, weights: ClockWeights = WEIGHTS) -> Tests:
    """Return the visits of a period, up to the first that found its coat worn.

    Parameters
    ----------
    book : Book
        All coats and visits.
    start, end : float
        The period, in days since 1970-01-01.
    weights : ClockWeights
        What the clock follows.

    Returns
    -------
    Tests
        The visits; those at an age that is known already tell nothing and are left out.
    """
    visits, age = book.visits, ages(book.coats, book.visits, weights)
    order = np.lexsort((visits.visited_on, visits.coat))
    coat, worn, at = visits.coat[order], visits.worn[order], age[order]
    new = np.diff(coat, prepend=-1) != 0
    before = np.where(new, 0.0, np.concatenate([[0.0], at[:-1]]))
    earlier = np.cumsum(worn) - worn
    first = np.maximum.accumulate(np.where(new, np.arange(len(coat)), 0))
    unworn = earlier == earlier[first] if len(coat) else np.zeros(0, dtype=bool)
    day = visits.visited_on[order]
    keep = unworn & (day >= start) & (day < end) & (at > before)
    days = day - book.coats.coated_on[coat]
    return Tests(coat[keep], before[keep], at[keep], days[keep], worn[keep])


def visit_chances(book: Book, tests: Tests, posterior: Posterior) -> Floats:
    """Return the chance that each visit finds its coat worn, given that the visit before found it sound.

    Parameters
    ----------
    book : Book
        All coats.
    tests : Tests
        The visits.
    posterior : Posterior
        What is believed.

    Returns
    -------
    ndarray, shape (v,)
        Chances.
    """
    mean, spread, _ = life(book.coats.take(tests.coat), posterior)
    with np.errstate(divide="ignore"):
        low, high = (np.log(tests.low) - mean) / spread, (np.log(tests.age) - mean) / spread
    return chance_within(low, np.full(len(low), np.inf), high)


def _flat_chances(past: Tests, tests: Tests) -> Floats:
    # The calendar rule says only "before" or "after" its day. To score it fairly it is given the share that was found
    # worn on either side so far, starting from one of each.
    late = past.days >= FLAT_RULE_DAYS
    rates = [(past.worn[side].sum() + 1) / (side.sum() + 2) for side in (~late, late)]
    return np.where(tests.days >= FLAT_RULE_DAYS, rates[1], rates[0])


def _class_only(prior: Posterior) -> Posterior:
    # The same model told nothing but the finish: every other coefficient is held at nought.
    keep = np.array([n in ("reference", "log_sigma", "log_omega") or n.startswith("finish_") for n in prior.names])
    covariance = np.where(np.outer(keep, keep), prior.covariance, 0.0) + np.diag(np.where(keep, 0.0, 1e-10))
    return Posterior(prior.names, np.where(keep, prior.mean, 0.0), covariance, f"{prior.version}-class")


@dataclass(frozen=True, eq=False)
class Backtest:
    """Scores of each forecast over the same visits.

    Parameters
    ----------
    scores : dict of str to Scores
        By name of `FORECASTS`.
    reliability : list of Bin
        Of the learned forecast.
    coverage : Coverage
        How often lives ended inside its window.
    origins : int
        How often it was fitted.
    """

    scores: dict[str, Scores]
    reliability: list[Bin]
    coverage: Coverage
    origins: int


def backtest(
    book: Book, first: float, last: float, *, step_days: float = YEAR_DAYS, prior: Posterior = PRIOR
) -> Backtest:
    """Go through the years as they came: learn, forecast the next period, look what was found, move on.

    Parameters
    ----------
    book : Book
        All coats and visits.
    first : float
        The first origin, in days since 1970-01-01.
    last : float
        End of the last period.
    step_days : float
        Length of a period.
    prior : Posterior
        What is believed without visits.

    Returns
    -------
    Backtest
        Scores over all visits from `first` to `last`.
    """
    if not step_days > 0:
        raise ValueError(f"step_days must be above 0; got {step_days}")
    chances: dict[str, list[Floats]] = {name: [np.zeros(0)] for name in FORECASTS}
    worn, ends = [np.zeros(0, dtype=bool)], [np.zeros((0, 2))]
    origins = np.arange(first, last, step_days)
    for origin in origins:
        end = min(origin + step_days, last)
        tests = tests_between(book, origin, end)
        found, posterior = _at_origin(book, origin, tests, prior)
        for name, chance in found.items():
            chances[name].append(chance)
        worn.append(tests.worn)
        ends.append(_window_ends(book, origin, end, posterior))
    seen, pairs = np.concatenate(worn), np.concatenate(ends)
    together = {name: np.concatenate(parts) for name, parts in chances.items()}
    scores = {name: score(chance, seen) for name, chance in together.items()}
    return Backtest(scores, reliability(together["learned"], seen), coverage(pairs[:, 0], pairs[:, 1]), len(origins))


def _at_origin(book: Book, origin: float, tests: Tests, prior: Posterior) -> tuple[dict[str, Floats], Posterior]:
    learned = book.learn(origin, prior).posterior
    average = book.learn(origin, _class_only(prior)).posterior
    past = tests_between(book, -np.inf, origin)
    found = {
        "learned": visit_chances(book, tests, learned),
        "prior": visit_chances(book, tests, prior),
        "flat_rule": _flat_chances(past, tests),
        "finish_average": visit_chances(book, tests, average),
    }
    return found, learned


def _window_ends(book: Book, origin: float, end: float, posterior: Posterior) -> Floats:
    # For coats put on in this period, forecast at the origin: the chances at the ages that bound their lives.
    rows = np.flatnonzero((book.coats.coated_on >= origin) & (book.coats.coated_on < end))
    found: Bounds = bounds(book.coats, book.visits)
    rows = rows[found.seen[rows] & ~found.conflict[rows]]
    mean, spread, _ = life(book.coats.take(rows), posterior)
    closed = np.full(len(rows), np.inf)
    with np.errstate(divide="ignore"):
        ends = [(np.log(age[rows]) - mean) / spread for age in (found.lower, found.upper)]
    return np.column_stack([chance_within(-closed, closed, z) for z in ends])


@dataclass(frozen=True)
class Verdict:
    """Whether a new fit is taken into use.

    Parameters
    ----------
    adopted : bool
        Whether it is.
    candidate_score : float
        Its mean log score over the held-back visits; less is better.
    in_use_score : float
        That of the fit in use.
    visits : int
        Visits held back.
    reason : str
        In plain words.
    """

    adopted: bool
    candidate_score: float
    in_use_score: float
    visits: int
    reason: str


def judge(book: Book, candidate: Posterior, in_use: Posterior, *, since: float, until: float) -> Verdict:
    """Compare a fit with the one in use over visits that neither has seen.

    Parameters
    ----------
    book : Book
        All coats and visits.
    candidate : Posterior
        Fitted to visits before `since`.
    in_use : Posterior
        The belief that forecasts rest on now.
    since, until : float
        The period held back, in days since 1970-01-01.

    Returns
    -------
    Verdict
        Adopted unless it scores worse; with no visits held back there is nothing to say against it.
    """
    tests = tests_between(book, since, until)
    if not len(tests.worn):
        return Verdict(True, float("nan"), float("nan"), 0, "No visit was held back to judge the new fit by.")
    new, old = (float(log_scores(visit_chances(book, tests, p), tests.worn).mean()) for p in (candidate, in_use))
    adopted = new <= old + 1e-9
    said = "as good or better" if adopted else "worse, so the fit in use stays"
    reason = f"Over {len(tests.worn)} held-back visits the new fit scores {new:.3f} against {old:.3f}: {said}."
    return Verdict(adopted, new, old, len(tests.worn), reason)
