"""The seasonal clock: months of wear between two dates, and the date after so many months of wear.

Dates are days since 1970-01-01. Twelve clock months pass in every calendar year, more of them in
sunny and wet months.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from reminders.forecast.arrays import Floats, Integers


@dataclass(frozen=True)
class ClockWeights:
    """How much of the wear follows the sun and how much the wet days; the rest runs evenly, so that
    the clock never stops and has an inverse.

    Parameters
    ----------
    sun : float
        Share that follows the monthly sun.
    wet : float
        Share that follows the monthly wet days.
    """

    sun: float = 0.5
    wet: float = 0.2

    def __post_init__(self) -> None:
        if not (self.sun >= 0 and self.wet >= 0 and self.sun + self.wet < 1):
            raise ValueError(
                f"sun and wet must not be negative and must sum to less than 1; got {self.sun},"
                f" {self.wet}"
            )


CLOCK_WEIGHTS = ClockWeights()


# Where it rains on fewer days a month, rain has less of a say, down to none in a desert: else the
# one wet day of a year would make its month count for three (judgement).
LEAST_WET_DAYS = 3.0


def yearly_means(monthly: Floats) -> Floats:
    """Return the means over the months.

    Parameters
    ----------
    monthly : ndarray, shape (n, 12)
        A value a month.

    Returns
    -------
    ndarray, shape (n,)
        The means.
    """
    return np.einsum("nm->n", monthly) / 12  # a dozen in a row: twice as fast as `mean`


def _pull(monthly: Floats, weight: float, least: float = 0.0) -> Floats:
    # By how much each month goes faster than the mean for what a share of the wear follows.
    mean = yearly_means(monthly)[:, None]
    scale = np.maximum(mean, least)
    scale[scale == 0] = 1.0  # nothing in any month: none stands out
    return (monthly - mean) * (weight / scale)


def seasonal_rate(
    sun: ArrayLike, wet_days: ArrayLike, weights: ClockWeights = CLOCK_WEIGHTS
) -> Floats:
    """Return the speed of the clock in each month of the year.

    Parameters
    ----------
    sun : array_like, shape (n, 12)
        Sun on the deck, MJ/m² a day.
    wet_days : array_like, shape (n, 12)
        Days with rain.
    weights : ClockWeights
        What the wear follows.

    Returns
    -------
    ndarray, shape (n, 12)
        Clock months a calendar month; the mean over the year is 1.
    """
    sun_rows = np.atleast_2d(np.asarray(sun, dtype=float))
    wet_rows = np.atleast_2d(np.asarray(wet_days, dtype=float))
    rate = _pull(sun_rows, weights.sun) + _pull(wet_rows, weights.wet, LEAST_WET_DAYS)
    return rate + 1.0


# The calendar begins again after 400 years: its months in days from 1970 on.
CYCLE_MONTHS, CYCLE_DAYS = 4_800, 146_097
_FIRST_DAYS = np.arange(CYCLE_MONTHS).astype("datetime64[M]").astype("datetime64[D]").astype(float)
_LENGTHS = np.diff(_FIRST_DAYS, append=CYCLE_DAYS)
_MONTHS = np.repeat(np.arange(CYCLE_MONTHS, dtype=np.int16), _LENGTHS.astype(np.int64))


def _cumulative_clock(rate: Floats) -> Floats:
    # The clock at the start of each month of a year, and 12 at the end to the last digit, a column
    # a deck.
    total = np.zeros((13, len(rate)))
    for month in range(12):
        np.add(total[month], rate[:, month], out=total[month + 1])
    return total * (12 / total[12])


class SeasonalClock:
    """The seasonal clocks of n decks (or one clock shared by all).

    Parameters
    ----------
    rate : array_like, shape (n, 12) or (1, 12)
        Speed in each month, as `seasonal_rate` gives it.
    """

    def __init__(self, rate: ArrayLike) -> None:
        rows = np.atleast_2d(np.asarray(rate, dtype=float))
        if rows.shape[1] != 12 or not (np.isfinite(rows).all() and (rows > 0).all()):
            raise ValueError(
                f"rate must hold twelve positive numbers a row; got shape {rows.shape}"
            )
        self._edges = _cumulative_clock(rows)
        self._flat_edges = self._edges.ravel()

    def reading(self, day: ArrayLike) -> Floats:
        """Return what the clocks show on a date.

        Parameters
        ----------
        day : array_like, shape (n,) or (k, n)
            Days since 1970-01-01; NaN gives NaN.

        Returns
        -------
        ndarray, of the same shape
            Clock months since 1970-01-01.
        """
        days = np.atleast_1d(np.asarray(day, dtype=float))
        shown = days.copy()
        known = np.flatnonzero(np.isfinite(days))
        shown.ravel()[known] = self._reading(days.ravel()[known], known % days.shape[-1])
        return shown

    def _reading(self, day: Floats, deck: Integers) -> Floats:
        whole = np.floor(day)
        cycle = np.floor(whole / CYCLE_DAYS)
        month = _MONTHS[(whole - CYCLE_DAYS * cycle).astype(np.int64)]
        share = (day - CYCLE_DAYS * cycle - _FIRST_DAYS[month]) / _LENGTHS[month]
        year, of_year = np.divmod(month, np.int16(12))
        before, after = self._edges_of(of_year, deck)
        return CYCLE_MONTHS * cycle + 12.0 * year + before + share * (after - before)

    def _edges_of(self, of_year: NDArray[Any], deck: Integers) -> tuple[Floats, Floats]:
        # Of a month of the year, of each deck or of the clock that all share.
        decks = self._edges.shape[1]
        place = of_year * np.int64(decks) + (deck if decks > 1 else 0)
        return self._flat_edges[place], self._flat_edges[place + decks]

    def months_between(self, start: ArrayLike, end: ArrayLike) -> Floats:
        """Return the clock months from one date to another.

        Parameters
        ----------
        start : array_like, shape (n,)
            Days since 1970-01-01.
        end : array_like, shape (n,)
            Days since 1970-01-01.

        Returns
        -------
        ndarray, shape (n,)
            Clock months, negative if the end lies before the start.
        """
        return self.reading(end) - self.reading(start)

    def day_of(self, reading: ArrayLike) -> Floats:
        """Return the date on which the clocks show a reading: the exact inverse of `reading`.

        Parameters
        ----------
        reading : array_like, shape (n,) or (k, n)
            Clock months since 1970-01-01; NaN gives NaN.

        Returns
        -------
        ndarray, of the same shape
            Days since 1970-01-01.
        """
        shown = np.atleast_1d(np.asarray(reading, dtype=float))
        year = np.floor(np.where(np.isfinite(shown), shown, 0) / 12)
        rest = shown - 12.0 * year
        of_year = np.zeros(shown.shape, dtype=np.int8)
        for edge in self._edges[1:12]:
            of_year += edge <= rest
        before, after = self._edges_of(of_year, np.arange(shown.shape[-1]))
        cycle = np.floor(12 * year / CYCLE_MONTHS)
        month = (12 * year - CYCLE_MONTHS * cycle).astype(np.int64) + of_year
        start = CYCLE_DAYS * cycle + _FIRST_DAYS[month]
        return start + _LENGTHS[month] * (rest - before) / (after - before)

    def day_after(self, start: ArrayLike, months: ArrayLike) -> Floats:
        """Return the date so many clock months after a date.

        Parameters
        ----------
        start : array_like, shape (n,)
            Days since 1970-01-01.
        months : array_like, shape (n,)
            Clock months.

        Returns
        -------
        ndarray, shape (n,)
            Days since 1970-01-01.
        """
        return self.day_of(self.reading(start) + np.asarray(months, dtype=float))
