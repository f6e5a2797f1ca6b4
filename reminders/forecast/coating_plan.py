"""The calendar of one deck: workable months, the best one, and the jobs of the coming years."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from reminders.forecast.clock import SeasonalClock
from reminders.forecast.exposure import MONTH_DAYS
from reminders.forecast.replacement import HORIZON_MONTHS, MAX_COATS_BEFORE_STRIP

THICK_BUILD_APPLICATIONS = 2  # full applications of stripper on such a build
# water-borne finishes (Wood Handbook FPL-GTR-190 ch. 16); the data sheet overrides it
MIN_CELSIUS = 10.0
MAX_WET_SHARE = 0.5  # of the days of a month (judgement)


def workable_months(
    temperature_c: ArrayLike,
    wet_days: ArrayLike,
    *,
    season: ArrayLike | None = None,
    min_celsius: float = MIN_CELSIUS,
    max_wet_share: float = MAX_WET_SHARE,
) -> NDArray[np.bool_]:
    """Return the months of the year in which decks can be coated.

    Parameters
    ----------
    temperature_c : array_like, shape (..., 12)
        Mean of each month.
    wet_days : array_like, shape (..., 12)
        Days with rain.
    season : array_like of bool, shape (12,), optional
        Months in which the business works.
    min_celsius : float
        Coldest mean at which the finish may be applied.
    max_wet_share : float
        Wettest share of days.

    Returns
    -------
    ndarray of bool, shape (..., 12)
        Whether each month is workable; if none is, the warmest month of the season.
    """
    warm = np.asarray(temperature_c, dtype=float)
    allowed = np.ones(12, dtype=bool) if season is None else np.asarray(season, dtype=bool)
    if allowed.shape != (12,) or not allowed.any():
        raise ValueError(
            f"season must have twelve months and at least one of them worked; got {season!r}"
        )
    dry = np.asarray(wet_days, dtype=float) / MONTH_DAYS <= max_wet_share
    good = (warm >= min_celsius) & dry & allowed
    warmest = np.argmax(np.where(allowed, warm, -np.inf), axis=-1)[..., None] == np.arange(12)
    return np.where(good.any(axis=-1, keepdims=True), good, warmest)


@dataclass(frozen=True)
class CalendarMonth:
    """A calendar month, counted from January 1970 as 0.

    Parameters
    ----------
    number : int
        Months since January 1970.
    """

    number: int

    @property
    def year(self) -> int:
        """The year."""
        return 1970 + self.number // 12

    @property
    def month_of_year(self) -> int:
        """1 for January to 12 for December."""
        return self.number % 12 + 1

    @property
    def middle(self) -> float:
        """Its middle, in days since 1970-01-01."""
        ends = (
            np.array([self.number, self.number + 1])
            .astype("datetime64[M]")
            .astype("datetime64[D]")
            .astype(float)
        )
        return float(ends.mean())


def _month_number(day: float) -> int:
    return int(
        np.array(np.floor(day))
        .astype("int64")
        .astype("datetime64[D]")
        .astype("datetime64[M]")
        .astype(int)
    )


def best_workable_month(
    clock: SeasonalClock,
    coated_on: float,
    age_months: float,
    workable: ArrayLike,
    *,
    not_before: float,
) -> CalendarMonth:
    """Return the workable calendar month whose middle comes closest to the best age.

    Parameters
    ----------
    clock : SeasonalClock
        The seasonal clock of the deck.
    coated_on : float
        Date of the coat.
    age_months : float
        Best age in clock months.
    workable : array_like of bool, shape (12,)
        Months of the year that can be worked.
    not_before : float
        Usually today; months that end before it are out.

    Returns
    -------
    CalendarMonth
        The month.
    """
    good = np.asarray(workable, dtype=bool)
    if good.shape != (12,) or not good.any():
        raise ValueError(
            f"workable must have twelve months and at least one of them true; got {workable!r}"
        )
    aim = float(clock.day_after([coated_on], [min(age_months, HORIZON_MONTHS)])[0])
    first = _month_number(not_before)
    around = max(_month_number(aim), first)
    months = [CalendarMonth(k) for k in range(max(first, around - 12), around + 13) if good[k % 12]]
    # Wear is what counts, so closeness is measured on the clock, not on the calendar.
    wanted = clock.reading([max(aim, not_before)])[0]
    return min(months, key=lambda month: abs(clock.reading([month.middle])[0] - wanted))


@dataclass(frozen=True)
class PlannedCoatingJob:
    """One job of the plan.

    Parameters
    ----------
    month : CalendarMonth
        When.
    work : {"recoat", "strip"}
        Clean and recoat, or strip and refinish.
    stripper_applications : int
        Full applications of stripper.
    build_before, build_after : int
        Coats since the last strip.
    cost : float
        At today's prices.
    """

    month: CalendarMonth
    work: str
    stripper_applications: int
    build_before: int
    build_after: int
    cost: float


@dataclass(frozen=True)
class UpkeepRule:
    """How a deck is kept up.

    Parameters
    ----------
    age_months : float
        Best age to recoat, in clock months.
    workable : array_like of bool, shape (12,)
        Months of the year that can be worked.
    coats_a_job : int
        Coats that a job puts on.
    recoat_cost, strip_cost : float
        Prices of the two jobs on this deck.
    """

    age_months: float
    workable: ArrayLike
    coats_a_job: int
    recoat_cost: float
    strip_cost: float


def plan_coating_jobs(
    clock: SeasonalClock,
    rule: UpkeepRule,
    *,
    first_on: float,
    until: float,
    build: int,
    is_strip_first: bool = False,
) -> list[PlannedCoatingJob]:
    """Return the jobs of the coming years, with a strip wherever the coats have grown too thick.

    Parameters
    ----------
    clock : SeasonalClock
        The seasonal clock of the deck.
    rule : UpkeepRule
        How the deck is kept up.
    first_on : float
        The first job comes in the month of this day, or in the next one that can be worked; in days
        since 1970-01-01.
    until : float
        How far to plan, in days since 1970-01-01.
    build : int
        Coats since the last strip.
    is_strip_first : bool
        Whether the first job is a strip whatever the build.

    Returns
    -------
    list of PlannedCoatingJob
        In order of time.
    """
    jobs: list[PlannedCoatingJob] = []
    month = best_workable_month(clock, first_on, 0.0, rule.workable, not_before=first_on)
    while month.middle <= until:
        jobs.append(_coating_job(month, build, rule, is_strip=is_strip_first and not jobs))
        build = jobs[-1].build_after
        month = best_workable_month(
            clock,
            month.middle,
            rule.age_months,
            rule.workable,
            not_before=CalendarMonth(month.number + 1).middle,
        )
    return jobs


def _coating_job(
    month: CalendarMonth, build: int, rule: UpkeepRule, *, is_strip: bool
) -> PlannedCoatingJob:
    coats = rule.coats_a_job
    if build > MAX_COATS_BEFORE_STRIP or is_strip:
        times = THICK_BUILD_APPLICATIONS if build > MAX_COATS_BEFORE_STRIP else 1
        return PlannedCoatingJob(month, "strip", times, build, coats, rule.strip_cost)
    return PlannedCoatingJob(month, "recoat", 0, build, build + coats, rule.recoat_cost)
