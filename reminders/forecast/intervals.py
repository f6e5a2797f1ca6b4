"""From as-found grades to what they say about the life of a coat: an interval, or one end of it."""

from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from reminders.forecast.arrays import Booleans, Floats, Integers
from reminders.forecast.clock import CLOCK_WEIGHTS, ClockWeights
from reminders.forecast.coats import ArrayRecord, Coats
from reminders.forecast.exposure import deck_clock
from reminders.forecast.likelihood import CensoringIntervals, prepare_intervals
from reminders.forecast.mixing import expected_design

VISIT_REASONS = ("routine", "due", "called", "quote", "other")
RECOAT_LIMIT_GRADE = 3.0
STRIP_RATIO = 1.5  # a coat left for half its life again needs the stripper (judgement)
# (grade, age at which it is reached against the life of the coat). Penetrating finishes have one
# limit state, film formers two (Grüll et al. 2011).
PENETRATING_LIMITS = ((RECOAT_LIMIT_GRADE, 1.0),)
FILM_LIMITS = ((RECOAT_LIMIT_GRADE, 1.0), (4.0, STRIP_RATIO))
LEAST_RATIO = 1.0001  # between the bounds of one start, where its grades leave no room
# Where only the span of a coat's day is known, it is any day of it alike: integrated by
# Gauss–Legendre, exact for polynomials up to degree 9.
START_NODES, START_WEIGHTS = np.polynomial.legendre.leggauss(5)
START_WEIGHTS = START_WEIGHTS / 2
CALL_DELAY_MONTHS = 3.0  # a client who calls saw it wear within the last season (judgement)


@dataclass(frozen=True, kw_only=True, eq=False)
class Visits(ArrayRecord):
    """Inspections of coats, oldest first for each coat; also those after which nothing was done.

    Parameters
    ----------
    coat : array_like of int
        Row of the coat among the coats.
    visited_on : array_like
        Days since 1970-01-01.
    grade : array_like
        As-found grade, 0 to 5; half steps are allowed.
    reason : array_like
        Word of `REASONS`, or its code.
    by_client : array_like of bool
        Whether the client looked, and not one of us: doubted more, and never against us.
    grader : array_like of int
        Key of who graded; −1 if that is not known.
    """

    coat: Any
    visited_on: Any
    grade: Any
    reason: Any = "routine"
    by_client: Any = False
    grader: Any = -1

    def __post_init__(self) -> None:
        coat = np.atleast_1d(np.asarray(self.coat, dtype=np.int64))
        object.__setattr__(self, "coat", coat)
        for name, low, high in (("visited_on", -36525.0, 73050.0), ("grade", 0.0, 5.0)):
            object.__setattr__(
                self, name, _numeric_visits(name, getattr(self, name), len(coat), low, high)
            )
        object.__setattr__(self, "reason", _encode_reasons(self.reason, len(coat)))
        looked = np.broadcast_to(np.asarray(self.by_client, dtype=bool), (len(coat),))
        object.__setattr__(self, "by_client", looked)
        grader = np.broadcast_to(np.asarray(self.grader, dtype=np.int64), (len(coat),))
        object.__setattr__(self, "grader", grader)
        order = np.argsort(coat, kind="stable")
        back = (np.diff(coat[order]) == 0) & (np.diff(self.visited_on[order]) < 0)
        if back.any():
            row = order[1:][np.argmax(back)]
            raise ValueError(
                f"visited_on must not go back for one coat; row {row} has {self.visited_on[row]:g}"
            )

    def __len__(self) -> int:
        return len(self.coat)

    @property
    def worn(self) -> Booleans:
        """Whether the coat was found due for a recoat."""
        return self.grade >= RECOAT_LIMIT_GRADE


def _numeric_visits(name: str, values: Any, count: int, low: float, high: float) -> Floats:
    array = np.atleast_1d(np.asarray(values, dtype=float))
    bad = ~((array >= low) & (array <= high))
    if bad.any():
        raise ValueError(
            f"{name} must lie between {low:g} and {high:g}; row {np.argmax(bad)} has"
            f" {array[bad][0]:g}"
        )
    if array.shape not in ((count,), (1,)):
        raise ValueError(f"{name} must have one value or {count} rows; got shape {array.shape}")
    return np.broadcast_to(array, (count,))


def _encode_reasons(values: Any, count: int) -> NDArray[np.int8]:
    given = np.atleast_1d(np.asarray(values))
    words = (
        given
        if given.dtype.kind not in "iu"
        else np.array([*VISIT_REASONS, "?"])[np.where(given < 5, given, 5)]
    )
    codes = np.full(given.shape, -1, dtype=np.int8)
    for code, word in enumerate(VISIT_REASONS):
        codes[words == word] = code
    if (codes < 0).any():
        raise ValueError(
            f"reason must be one of {', '.join(VISIT_REASONS)}; row {np.argmin(codes)} has"
            f" {given[codes < 0][0]}"
        )
    return np.broadcast_to(codes, (count,))


def _check_design(x: Floats, count: int) -> None:
    if x.ndim != 2 or len(x) != count:
        raise ValueError(
            f"x must have {count} rows, one a life, and a column a factor; got shape {x.shape}"
        )


@dataclass(frozen=True, kw_only=True, eq=False)
class CensoredLives(ArrayRecord):
    """Lives of n coats as visits bound them, ready for the fit.

    Parameters
    ----------
    x : ndarray, shape (n, k)
        Design matrix without the constant.
    lower : ndarray, shape (n,)
        Age in clock months at which the coat was surely sound; 0 if never seen sound.
    upper : ndarray, shape (n,)
        Age at which it was surely worn; infinity if never seen worn. Equal to `lower` for a life
        known exactly.
    deck : ndarray of int, shape (n,)
        Key of the deck.
    running : ndarray of bool, shape (n,)
        Whether the coat is still on; its visits teach the coefficients, but not the pace of its own
        deck, because the prediction conditions on them.
    weight : ndarray, shape (n,)
        How many coats a row stands for.
    lower_by_client, upper_by_client : ndarray of bool, shape (n,)
        Whether that end rests on the client's own look, which is doubted more.
    lower_at_starts, upper_at_starts : ndarray, shape (n, 0) or (n, len(START_NODES))
        The same ages for each of the days on which the coat may have been laid; without columns
        where all days are known.
    """

    x: Floats
    lower: Floats
    upper: Floats
    deck: Integers
    running: Any = None
    weight: Any = None
    lower_by_client: Any = None
    upper_by_client: Any = None
    lower_at_starts: Any = None
    upper_at_starts: Any = None

    def __post_init__(self) -> None:
        count = len(self.lower)
        _check_design(self.x, count)
        for name in ("running", "lower_by_client", "upper_by_client"):
            if getattr(self, name) is None:
                object.__setattr__(self, name, np.zeros(count, dtype=bool))
        for name in ("lower_at_starts", "upper_at_starts"):
            if getattr(self, name) is None:
                object.__setattr__(self, name, np.zeros((count, 0)))
        if self.weight is None:
            object.__setattr__(self, "weight", np.ones(count))
        bad = {
            "x": ~np.isfinite(self.x).all(axis=1),
            "lower": ~((self.lower >= 0) & np.isfinite(self.lower)),
            "upper": ~((self.upper >= self.lower) & (self.upper > 0)),
            "weight": ~((self.weight > 0) & np.isfinite(self.weight)),
        }
        for name, rows in bad.items():
            if rows.any():
                at = int(np.argmax(rows))
                raise ValueError(
                    f"{name} is not a possible value; row {at} has {getattr(self, name)[at]}"
                )

    def __len__(self) -> int:
        return len(self.lower)

    def prepared(self, misclassification: float) -> CensoringIntervals:
        """Return what the likelihood reads.

        Parameters
        ----------
        misclassification : float
            Chance that a visit of ours is graded on the wrong side of the limit.

        Returns
        -------
        CensoringIntervals
            The lives.
        """
        return prepare_intervals(
            self.lower,
            self.upper,
            misclassification,
            by_client=(self.lower_by_client, self.upper_by_client),
            at_starts=(self.lower_at_starts, self.upper_at_starts),
        )

    @property
    def is_start_known(self) -> Booleans:
        """Whether the day of each coat is known."""
        return (self.lower_at_starts == self.lower[:, None]).all(axis=1) & (
            self.upper_at_starts == self.upper[:, None]
        ).all(axis=1)


@dataclass(frozen=True, eq=False)
class LifeBounds:
    """What visits say about the life of each of n coats, in clock months.

    Parameters
    ----------
    lower : ndarray, shape (n,)
        Age at which the coat was surely sound; 0 if never seen sound.
    upper : ndarray, shape (n,)
        Age at which it was surely worn; infinity if never seen worn.
    seen : ndarray of bool, shape (n,)
        Whether the coat was inspected at all.
    conflict : ndarray of bool, shape (n,)
        Whether its grades contradict each other, such as sound after worn: to be looked at by a
        person.
    lower_by_client, upper_by_client : ndarray of bool, shape (n,)
        Whether that end rests on the client's own look.
    lower_at_starts, upper_at_starts : ndarray, shape (n, 0) or (n, len(START_NODES))
        The bounds for each of the days on which the coat may have been laid; without columns where
        all days are known.
    """

    lower: Floats
    upper: Floats
    seen: Booleans
    conflict: Booleans
    lower_by_client: Booleans
    upper_by_client: Booleans
    lower_at_starts: Any = None
    upper_at_starts: Any = None

    def __post_init__(self) -> None:
        for name in ("lower_at_starts", "upper_at_starts"):
            if getattr(self, name) is None:
                object.__setattr__(self, name, np.zeros((len(self.lower), 0)))


def ages_at_visits(coats: Coats, visits: Visits, weights: ClockWeights = CLOCK_WEIGHTS) -> Floats:
    """Return the age of the coat at each visit.

    Parameters
    ----------
    coats : Coats
        The coats.
    visits : Visits
        Their visits.
    weights : ClockWeights
        What the clock follows.

    Returns
    -------
    ndarray, shape (len(visits),)
        Clock months.
    """
    outside = (visits.coat < 0) | (visits.coat >= len(coats))
    if outside.any():
        raise ValueError(
            f"coat must be a row of the coats; row {np.argmax(outside)} has"
            f" {visits.coat[outside][0]}"
        )
    seen = coats.take(visits.coat)
    age = deck_clock(seen, weights).months_between(seen.coated_on, visits.visited_on)
    if (age < 0).any():
        row = int(np.argmax(age < 0))
        raise ValueError(
            f"visited_on must not lie before the coat; row {row} has {visits.visited_on[row]:g}"
        )
    return age


def life_bounds(
    coats: Coats, visits: Visits, *, weights: ClockWeights = CLOCK_WEIGHTS, **limits: Any
) -> LifeBounds:
    """Turn the grades of visits into bounds on the lives of coats.

    Parameters
    ----------
    coats : Coats
        The coats.
    visits : Visits
        Every visit to them, also the sound ones before a worn one.
    weights : ClockWeights
        What the clock follows.
    **limits : object
        `penetrating` and `film` (pairs of grade and age ratio, ascending) and `call_delay_months`,
        if not as usual.

    Returns
    -------
    LifeBounds
        One row a coat.
    """
    ages = _age_bounds(coats, visits, weights, limits)
    seen = np.zeros(len(coats), dtype=bool)
    seen[visits.coat] = True
    by_client = ages.ends_by_client()
    lower, upper = ages.narrowed(*by_client)
    found = LifeBounds(lower, upper, seen, ages.are_contradictory, *by_client)
    return _with_starts(found, coats, visits, weights, limits)


def _with_starts(
    found: LifeBounds, coats: Coats, visits: Visits, weights: ClockWeights, limits: dict[str, Any]
) -> LifeBounds:
    # The bounds for each possible start rest on the same visits as those for the middle one.
    rows = np.flatnonzero(coats.coated_within > 0)
    if not len(rows):
        return found
    lower, upper = (
        np.repeat(ages[:, None], len(START_NODES), axis=1) for ages in (found.lower, found.upper)
    )
    place = np.full(len(coats), -1)
    place[rows] = np.arange(len(rows))
    seen = visits.take(np.flatnonzero(place[visits.coat] >= 0))
    seen = replace(seen, coat=place[seen.coat])
    spans = coats.take(rows)
    for node, share in enumerate(START_NODES):
        ages = _age_bounds(spans.started(share), seen, weights, limits)
        low, high = ages.narrowed(found.lower_by_client[rows], found.upper_by_client[rows])
        lower[rows, node] = low
        upper[rows, node] = np.maximum(high, low * LEAST_RATIO + np.finfo(float).tiny)
    return replace(found, lower_at_starts=lower, upper_at_starts=upper)


class _AgeBounds(NamedTuple):
    # What our own visits and what the client's looks say about each coat, by its age.
    lower: Floats
    upper: Floats
    client_lower: Floats
    client_upper: Floats

    @property
    def are_contradictory(self) -> Booleans:
        return self.lower >= self.upper

    def ends_by_client(self) -> tuple[Booleans, Booleans]:
        # A client's look narrows what we found ourselves and never contradicts it; two looks of
        # theirs that contradict each other say nothing.
        low, high = self.client_lower, self.client_upper
        useful = ~self.are_contradictory & (low < high)
        low_by_client = useful & (low > self.lower) & (low < self.upper)
        lower = np.where(low_by_client, low, self.lower)
        return low_by_client, useful & (high < self.upper) & (high > lower)

    def narrowed(self, by_low: Booleans, by_high: Booleans) -> tuple[Floats, Floats]:
        return (
            np.where(by_low, self.client_lower, self.lower),
            np.where(by_high, self.client_upper, self.upper),
        )


def _age_bounds(
    coats: Coats, visits: Visits, weights: ClockWeights, limits: dict[str, Any]
) -> _AgeBounds:
    age = ages_at_visits(coats, visits, weights)
    low, high = _limit_state_ages(age, visits, coats.is_film[visits.coat], limits)
    lower, upper = _widest_bounds(low, high, visits, ~visits.by_client, len(coats))
    called = _is_first_worn_visit(age, visits, len(coats)) & (
        visits.reason == VISIT_REASONS.index("called")
    )
    delay = limits.get("call_delay_months", CALL_DELAY_MONTHS)
    np.maximum.at(
        lower, visits.coat[called], np.minimum(age[called], upper[visits.coat[called]]) - delay
    )
    asked = _widest_bounds(low, high, visits, visits.by_client, len(coats))
    return _AgeBounds(lower, upper, *asked)


def _widest_bounds(
    low: Floats, high: Floats, visits: Visits, rows: Booleans, count: int
) -> tuple[Floats, Floats]:
    # The latest sound and the earliest worn age of each coat, by the chosen visits.
    lower = np.zeros(count)
    upper = np.full(count, np.inf)
    np.maximum.at(lower, visits.coat[rows], low[rows])
    np.minimum.at(upper, visits.coat[rows], high[rows])
    return lower, upper


def _limit_state_ages(
    age: Floats, visits: Visits, film: Booleans, limits: dict[str, Any]
) -> tuple[Floats, Floats]:
    # Grade g says: the last limit at or below g has been passed, the next one has not.
    low = np.zeros(len(age))
    high = np.full(len(age), np.inf)
    kinds = (
        (~film, limits.get("penetrating", PENETRATING_LIMITS)),
        (film, limits.get("film", FILM_LIMITS)),
    )
    for rows, ladder in kinds:
        for grade, ratio in ladder:
            high = np.where(rows & (visits.grade >= grade), age / ratio, high)
        for grade, ratio in reversed(ladder):
            low = np.where(rows & (visits.grade < grade), age / ratio, low)
    return low, high


def _is_first_worn_visit(age: Floats, visits: Visits, count: int) -> Booleans:
    # Whether the visit is the first of ours that found its coat worn.
    worn = visits.worn & ~visits.by_client
    first = np.full(count, np.inf)
    np.minimum.at(first, visits.coat[worn], age[worn])
    return worn & (age == first[visits.coat])


def censored_lives(coats: Coats, found: LifeBounds, running: Booleans) -> CensoredLives:
    """Return the coats that teach something, ready for the fit.

    Parameters
    ----------
    coats : Coats
        The coats.
    found : LifeBounds
        What visits say about them.
    running : ndarray of bool, shape (n,)
        Which coats are still on.

    Returns
    -------
    CensoredLives
        Coats that were inspected, without those whose grades contradict each other.
    """
    rows = np.flatnonzero(
        found.seen & ~found.conflict & ((found.lower > 0) | np.isfinite(found.upper))
    )
    return CensoredLives(
        x=expected_design(coats.take(rows)).x,
        lower=found.lower[rows],
        upper=found.upper[rows],
        deck=coats.deck[rows],
        running=np.asarray(running, dtype=bool)[rows],
        lower_by_client=found.lower_by_client[rows],
        upper_by_client=found.upper_by_client[rows],
        lower_at_starts=found.lower_at_starts[rows],
        upper_at_starts=found.upper_at_starts[rows],
    )
