"""What all grades of a coat together say about its life, by a path of wear."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
from scipy.sparse import csr_array
from scipy.special import ndtr

from reminders.forecast.arrays import Booleans, Floats, Integers
from reminders.forecast.coats import ArrayRecord, Coats
from reminders.forecast.grade_scale import GRADE_COUNT
from reminders.forecast.grade_table import (
    LifeGrid,
    log_chance_table,
    slope_table,
    table_rows,
)
from reminders.forecast.intervals import (
    CALL_DELAY_MONTHS,
    START_NODES,
    START_WEIGHTS,
    VISIT_REASONS,
    CensoredLives,
    Visits,
    ages_at_visits,
)
from reminders.forecast.mixing import expected_design
from reminders.forecast.priors import CLIENT_MISCLASSIFICATION
from reminders.forecast.step_likelihood import LifeSteps
from reminders.forecast.wear_path import GradesSeen, WearPath

LIFE_EDGES = 36  # steps of about a tenth of log life
# Of log life around the ages at visits: beyond these no grade tells lives apart.
BELOW_FIRST_VISIT = 1.3
ABOVE_LAST_VISIT = 2.0
CALL_DOUBT = 0.05  # that the coat a client called about wore out long before (judgement)
CALL_BLUR = 0.05  # of log age: neither end of that delay is an edge (judgement)


class GradeLog(NamedTuple):
    """The graded visits of n coats, coat by coat.

    Parameters
    ----------
    coat : ndarray of int, shape (v,)
        Number of the coat, ascending.
    log_age : ndarray, shape (v, s)
        Log of the age at the visit for each possible start of the coat; s is 1 where all are known.
    is_called : ndarray of bool, shape (v,)
        Whether it is the first that found the coat worn, and the client had called for it.
    seen : GradesSeen
        The grades.
    """

    coat: Integers
    log_age: Floats
    is_called: Booleans
    seen: GradesSeen

    def __bool__(self) -> bool:
        return bool(len(self.coat))

    @property
    def middle_log_age(self) -> Floats:
        """Log age at the visit for the start in the middle, shape (v, 1)."""
        middle = self.log_age.shape[1] // 2
        return self.log_age[:, middle : middle + 1]

    def some_coats(self, most: int) -> tuple["GradeLog", Integers]:
        """Return the visits of some coats, spread evenly over all.

        Parameters
        ----------
        most : int
            How many coats at most.

        Returns
        -------
        log : GradeLog
            Their visits, the coats numbered again.
        chosen : ndarray of int
            Their numbers here, ascending.
        """
        count = int(self.coat[-1]) + 1
        chosen = np.unique(np.linspace(0, count - 1, min(count, most)).astype(np.int64))
        place = np.full(count, -1)
        place[chosen] = np.arange(len(chosen))
        kept = np.flatnonzero(place[self.coat] >= 0)
        seen = self.seen.take(kept)
        part = GradeLog(place[self.coat[kept]], self.log_age[kept], self.is_called[kept], seen)
        return part, chosen

    def log_chances(self, path: WearPath, log_life: Floats) -> Floats:
        """Return the log chance of all grades of each coat, were its life so long.

        Parameters
        ----------
        path : WearPath
            The path.
        log_life : ndarray, shape (n, c)
            Logs of clock months.

        Returns
        -------
        ndarray, shape (n, c)
            Averaged over the possible starts.
        """
        life = log_life[self.coat]
        return self._averaged_over_starts(
            lambda log_age: path.log_chances(self.seen, log_age[:, None] - life),
            lambda coats: log_life[coats],
        )

    def tabled_log_chances(self, path: WearPath, grid: LifeGrid) -> Floats:
        """Return the same as `log_chances`, read off a table.

        Parameters
        ----------
        path : WearPath
            The path.
        grid : LifeGrid
            The lives.

        Returns
        -------
        ndarray, shape (n, grid.size)
            Averaged over the possible starts.
        """
        table = log_chance_table(path)
        row = table_rows(path, self.seen)
        lives = grid._replace(first=grid.first[self.coat])
        return self._averaged_over_starts(
            lambda log_age: table.stretches(row, log_age, lives),
            lambda coats: grid._replace(first=grid.first[coats]).log_life,
        )

    def _averaged_over_starts(
        self, log_chances: Callable[[Floats], Floats], log_lives: Callable[[Integers], Floats]
    ) -> Floats:
        # Of what each visit says, by log ages; the lives that coats are looked at by their numbers.
        called = np.flatnonzero(self.is_called)
        by_coat = self._by_coat
        parts = []
        for log_age, weight in zip(self.log_age.T, self._start_weights, strict=True):
            each = log_chances(log_age)
            if len(called):
                life = log_lives(self.coat[called])
                each[called] += _log_call_chances(log_age[called, None], life)
            parts.append(by_coat @ each + np.log(weight))
        return parts[0] if len(parts) == 1 else np.asarray(np.logaddexp.reduce(parts))

    @property
    def _start_weights(self) -> Floats:
        return START_WEIGHTS if self.log_age.shape[1] > 1 else np.ones(1)

    @property
    def _by_coat(self) -> csr_array:
        # Sums over the visits of each coat.
        visits = len(self.coat)
        first = self._first
        entries = (np.ones(visits, dtype=np.float32), np.arange(visits), first)
        return csr_array(entries, shape=(len(first) - 1, visits))

    @property
    def _first(self) -> Integers:
        # The first visit of each coat, and their number.
        return np.append(np.flatnonzero(np.diff(self.coat, prepend=-1)), len(self.coat))

    def slopes(self, path: WearPath, log_life: Floats, weight: Floats) -> Floats:
        """Return how the weighed log chances of all grades of each coat move with the path.

        Parameters
        ----------
        path : WearPath
            The path.
        log_life : ndarray, shape (n, c)
            Logs of clock months.
        weight : ndarray, shape (n, c)
            Weights; below 0 too.

        Returns
        -------
        ndarray, shape (n, len(PATH_NAMES) + g)
            The gradients of the sums over c, were each coat put on in the middle of its span.
        """
        x = self.middle_log_age - log_life[self.coat]
        return self._by_coat @ path.slopes(self.seen, x, weight[self.coat])

    def tabled_covariances(self, path: WearPath, mean: Floats, spread: Floats) -> Floats:
        """Return how the log chance of all grades of each coat, as it moves with the path, goes
        with the log life, read off a table.

        Parameters
        ----------
        path : WearPath
            The path.
        mean, spread : ndarray, shape (n,)
            Of log life, taken as normal.

        Returns
        -------
        ndarray, shape (n, len(PATH_NAMES) + g)
            Covariances of log life and slopes, were each coat put on in the middle of its span.
        """
        table = slope_table(path)
        row = table_rows(path, self.seen)
        log_ratio = mean[self.coat] - self.middle_log_age[:, 0]
        bends = table.bends(row, log_ratio, spread[self.coat])
        sums = path.summed_slopes(table.columns[row], bends, self._first)
        return sums * spread[:, None] ** 2  # of normal laws (Stein's identity)

    def life_edges(self) -> Floats:
        """Return where the steps of each coat lie.

        Returns
        -------
        ndarray, shape (n, LIFE_EDGES)
            Logs of clock months, ascending and equally far apart.
        """
        count = self.coat[-1] + 1
        first = np.full(count, np.inf)
        last = np.full(count, -np.inf)
        np.minimum.at(first, self.coat, self.log_age.min(axis=1))
        np.maximum.at(last, self.coat, self.log_age.max(axis=1))
        low = first - BELOW_FIRST_VISIT
        width = last + ABOVE_LAST_VISIT - low
        return low[:, None] + width[:, None] * np.linspace(0, 1, LIFE_EDGES)


def _log_call_chances(log_age: Floats, log_life: Floats) -> Floats:
    # A client who calls saw that it was worn, as in a look of theirs, and saw it wear lately.
    since = np.log(np.maximum(np.exp(log_age) - CALL_DELAY_MONTHS, np.finfo(float).tiny))
    lately = ndtr((log_life - since) / CALL_BLUR)
    worn = ndtr((log_age - log_life) / CALL_BLUR)
    misread = CLIENT_MISCLASSIFICATION
    return np.log((CALL_DOUBT + (1 - CALL_DOUBT) * lately) * (misread + (1 - 2 * misread) * worn))


def between_edges(edges: Floats) -> Floats:
    """Return the middles of the steps between equally distant edges, and beyond the outer ones.

    Parameters
    ----------
    edges : ndarray, shape (n, e)
        The edges.

    Returns
    -------
    ndarray, shape (n, e + 1)
        The middles.
    """
    half = (edges[:, 1:2] - edges[:, :1]) / 2
    return np.column_stack([edges - half, edges[:, -1:] + half])


def log_grades(coats: Coats, visits: Visits) -> tuple[GradeLog, Integers]:
    """Sort graded visits by coat.

    Parameters
    ----------
    coats : Coats
        The coats.
    visits : Visits
        Their visits.

    Returns
    -------
    log : GradeLog
        Visits at an age above 0.
    rows : ndarray of int, shape (n,)
        Rows of the coats that have such visits.
    """
    visits = visits.take(np.lexsort((visits.visited_on, visits.coat)))
    shares = START_NODES.tolist() if (coats.coated_within > 0).any() else [0.0]
    ages = np.column_stack([_ages_from(coats, visits, share) for share in shares])
    kept = np.flatnonzero((ages > 0).all(axis=1))
    visits = visits.take(kept)
    rows, coat = np.unique(visits.coat, return_inverse=True)
    seen = GradesSeen(
        np.minimum(visits.grade.astype(np.int64), GRADE_COUNT - 1),
        coats.is_film[visits.coat],
        visits.by_client,
        visits.grader,
    )
    return GradeLog(coat, np.log(ages[kept]), _are_called(visits, coat, len(rows)), seen), rows


def _ages_from(coats: Coats, visits: Visits, share: float) -> Floats:
    # Ages were the coat laid so far from the middle of its span; a visit within it came after.
    started = coats.started(share)
    after = np.maximum(visits.visited_on, started.coated_on[visits.coat] + (share != 0))
    return ages_at_visits(started, replace(visits, visited_on=after))


def _are_called(visits: Visits, coat: Integers, count: int) -> Booleans:
    worn = visits.worn & ~visits.by_client
    first = np.full(count, np.inf)
    np.minimum.at(first, coat[worn], visits.visited_on[worn])
    called = visits.reason == VISIT_REASONS.index("called")
    return np.asarray(worn & called & (visits.visited_on == first[coat]))


@dataclass(frozen=True, kw_only=True, eq=False)
class GradedLives(ArrayRecord):
    """Lives of n coats as their grades tell of them, ready for the fit.

    Parameters
    ----------
    x : ndarray, shape (n, k)
        Design matrix without the constant.
    deck : ndarray of int, shape (n,)
        Key of the deck.
    running : ndarray of bool, shape (n,)
        Whether the coat is still on.
    weight : ndarray, shape (n,)
        How many coats a row stands for.
    edges, falls : ndarray, shape (n, e)
        As in `LifeSteps`.
    last, log_scale : ndarray, shape (n,)
        As in `LifeSteps`.
    """

    x: Floats
    deck: Integers
    running: Booleans
    weight: Floats
    edges: Floats
    falls: Floats
    last: Floats
    log_scale: Floats

    def __len__(self) -> int:
        return len(self.deck)

    @property
    def is_start_known(self) -> Booleans:
        """Whether nothing is left to average over: always."""
        return np.ones(len(self), dtype=bool)

    def prepared(self, _misclassification: float) -> LifeSteps:
        """Return what the likelihood reads.

        Parameters
        ----------
        _misclassification : float
            Not looked at: doubt is part of the path.

        Returns
        -------
        LifeSteps
            The steps.
        """
        return LifeSteps(self.edges, self.falls, self.last, self.log_scale)


ObservedLives = CensoredLives | GradedLives


def graded_lives(
    coats: Coats, graded: tuple[GradeLog, Any], path: WearPath, running: Booleans
) -> GradedLives:
    """Return the coats that were graded, ready for the fit.

    Parameters
    ----------
    coats : Coats
        All coats.
    graded : (GradeLog, ndarray of int)
        What `log_grades` returned.
    path : WearPath
        The path.
    running : ndarray of bool, shape (len(coats),)
        Which coats are still on.

    Returns
    -------
    GradedLives
        One row a graded coat.
    """
    log, rows = graded
    edges = log.life_edges()
    logs = log.log_chances(path, between_edges(edges))
    top = logs.max(axis=1)
    height = np.exp(logs - top[:, None])
    return GradedLives(
        x=expected_design(coats.take(rows)).x,
        deck=coats.deck[rows],
        running=np.asarray(running, dtype=bool)[rows],
        weight=np.ones(len(rows)),
        edges=edges,
        falls=height[:, :-1] - height[:, 1:],
        last=height[:, -1],
        log_scale=top,
    )
