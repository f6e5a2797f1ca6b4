"""All coats of a business with their visits, and what a forecast would have said before each
visit."""

from dataclasses import dataclass, replace

import numpy as np

from reminders.forecast.arrays import Booleans, Floats, Integers
from reminders.forecast.clock import CLOCK_WEIGHTS, ClockWeights
from reminders.forecast.coats import Coats
from reminders.forecast.fitting import fit
from reminders.forecast.frailty import QUADRATURE_NODES
from reminders.forecast.graded_belief import chances_found_worn, moments_after_grades
from reminders.forecast.graded_lives import GradedLives, GradeLog, graded_lives, log_grades
from reminders.forecast.intervals import (
    VISIT_REASONS,
    Visits,
    ages_at_visits,
    censored_lives,
    life_bounds,
)
from reminders.forecast.lognormal import truncated_normal_cdf
from reminders.forecast.mixing import expected_design
from reminders.forecast.path_doubt import with_path_doubt
from reminders.forecast.path_learning import PathLikelihood, average_over_lives, learn_path
from reminders.forecast.posterior import Fit, Posterior
from reminders.forecast.prediction import predict_log_life
from reminders.forecast.priors import PUBLISHED_PATH, PUBLISHED_PRIOR
from reminders.forecast.wear_path import WearPath

MAX_PATH_COATS = 3_000  # a dozen numbers are learned well from so many
PATH_ROUNDS = 2  # a third moves no forecast by a hundredth of its spread


@dataclass(frozen=True, eq=False)
class InspectionData:
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

    def visits_before(self, day: float) -> Visits:
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

    def running(self, day: float) -> Booleans:
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

    def fit_before(
        self,
        day: float,
        prior: Posterior = PUBLISHED_PRIOR,
        *,
        nodes: int = QUADRATURE_NODES,
        start: Posterior | None = None,
        along_path: bool = False,
    ) -> Fit:
        """Fit what was known before a day.

        Parameters
        ----------
        day : float
            In days since 1970-01-01.
        prior : Posterior
            What is believed without visits.
        nodes : int
            Quadrature nodes a deck.
        start : Posterior, optional
            Where to start; the fit of an earlier day saves steps.
        along_path : bool
            Whether grades are read along a path of wear, which is learned too, or only say worn or
            not.

        Returns
        -------
        Fit
            The fit.
        """
        graded = log_grades(self.coats, self.visits_before(day)) if along_path else None
        if graded and graded[0]:
            return self._fit_path(
                day, graded, prior, start or self.fit_before(day, prior).posterior
            )
        found = life_bounds(self.coats, self.visits_before(day))
        seen = censored_lives(self.coats, found, self.running(day))
        return fit(seen, prior, nodes=nodes, start=start)

    def _fit_path(
        self, day: float, graded: tuple[GradeLog, Integers], prior: Posterior, start: Posterior
    ) -> Fit:
        # In turn: the path given what is believed of lives, and lives given the path.
        log, rows = graded
        some, chosen = log.some_coats(MAX_PATH_COATS)
        x = expected_design(self.coats.take(rows[chosen])).x

        def likelihood_of_paths(belief: Posterior) -> PathLikelihood:
            mean = belief.beta[0] + x @ belief.beta[1:]
            spread = np.full(len(x), np.hypot(belief.omega, np.exp(belief.mean[-2])))
            return average_over_lives(some, mean, spread)

        def lives_along(path: WearPath) -> GradedLives:
            return graded_lives(self.coats, graded, path, self.running(day))

        path = start.path or PUBLISHED_PATH
        belief = start
        for _ in range(1 if start.path else PATH_ROUNDS):
            path = learn_path(likelihood_of_paths(belief), path)
            found = fit(lives_along(path), prior, start=belief)
            belief = found.posterior
        taught = likelihood_of_paths(belief)
        doubted = with_path_doubt(belief, path, prior, taught, len(chosen) / len(rows), lives_along)
        return replace(found, posterior=doubted)


@dataclass(frozen=True, eq=False)
class ScoredVisits:
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
    called : ndarray of bool, shape (v,)
        Whether the client had called, as clients do when a coat looks worn.
    """

    coat: Integers
    low: Floats
    age: Floats
    days: Floats
    worn: Booleans
    called: Booleans


def scored_visits(
    book: InspectionData, start: float, end: float, weights: ClockWeights = CLOCK_WEIGHTS
) -> ScoredVisits:
    """Return the visits of a period, up to the first that found its coat worn.

    Parameters
    ----------
    book : InspectionData
        All coats and visits.
    start, end : float
        The period, in days since 1970-01-01.
    weights : ClockWeights
        What the clock follows.

    Returns
    -------
    ScoredVisits
        The visits; those at an age that is known already tell nothing and are left out.
    """
    # What a client saw is doubted too much to judge a forecast by.
    visits = book.visits.take(np.flatnonzero(~book.visits.by_client))
    age = ages_at_visits(book.coats, visits, weights)
    order = np.lexsort((visits.visited_on, visits.coat))
    coat = visits.coat[order]
    worn = visits.worn[order]
    at = age[order]
    new = np.diff(coat, prepend=-1) != 0
    before = np.where(new, 0.0, np.concatenate([[0.0], at[:-1]]))
    earlier: Integers = np.cumsum(worn) - worn
    first = np.maximum.accumulate(np.where(new, np.arange(len(coat)), 0))
    unworn = earlier == earlier[first] if len(coat) else np.zeros(0, dtype=bool)
    day = visits.visited_on[order]
    keep = unworn & (day >= start) & (day < end) & (at > before)
    days = day - book.coats.coated_on[coat]
    called = visits.reason[order] == VISIT_REASONS.index("called")
    return ScoredVisits(coat[keep], before[keep], at[keep], days[keep], worn[keep], called[keep])


def worn_chances_at_visits(
    book: InspectionData, tried: ScoredVisits, posterior: Posterior
) -> Floats:
    """Return the chance that each visit finds its coat worn, given that the visit before found it
    sound, and along a path of wear given all grades before.

    Parameters
    ----------
    book : InspectionData
        All coats.
    tried : ScoredVisits
        The visits.
    posterior : Posterior
        What is believed.

    Returns
    -------
    ndarray, shape (v,)
        Chances.
    """
    coats = book.coats.take(tried.coat)
    belief = predict_log_life(coats, posterior)
    mean, spread = belief.mean, belief.spread
    if posterior.path is not None:
        log, rows = log_grades(coats, _visits_before_trials(book, tried))
        if log:
            slope = posterior.path_slope(belief.x[rows], coats.deck[rows])
            mean[rows], spread[rows] = moments_after_grades(
                posterior.path, log, mean[rows], spread[rows], slope
            )
        return chances_found_worn(posterior.path, coats.is_film, tried.age, (mean, spread))
    with np.errstate(divide="ignore"):
        low = (np.log(tried.low) - mean) / spread
        high = (np.log(tried.age) - mean) / spread
    return truncated_normal_cdf(low, np.full(len(low), np.inf), high)


def _visits_before_trials(book: InspectionData, tried: ScoredVisits) -> Visits:
    # All visits to the coat of each trial before it; `coat` is the row of the trial.
    visits = book.visits.take(np.argsort(book.visits.coat, kind="stable"))
    first, last = (np.searchsorted(visits.coat, tried.coat, side) for side in ("left", "right"))
    counts = last - first
    trial = np.repeat(np.arange(len(tried.coat)), counts)
    place = np.arange(len(trial)) - np.repeat(np.cumsum(counts) - counts, counts) + first[trial]
    day = (book.coats.coated_on[tried.coat] + tried.days)[trial]
    kept = visits.visited_on[place] < day
    return replace(visits.take(place[kept]), coat=trial[kept])
