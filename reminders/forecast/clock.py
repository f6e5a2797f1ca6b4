"""The seasonal clock: months of wear between two dates, and the date after so many months of wear.

Dates are days since 1970-01-01. Twelve clock months pass in every calendar year, more of them in
sunny and wet months.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from reminders.forecast.arrays import Floats, Integers


@dataclass(frozen=True)
class ClockWeights:
    """How much of the wear follows the sun, how much the wet days, and how much runs evenly.

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

    @property
    def even(self) -> float:
        """The share that runs evenly; above zero, so that the clock never stops and has an
        inverse."""
        return 1 - self.sun - self.wet


CLOCK_WEIGHTS = ClockWeights()


# Where it rains on fewer days a month, rain has less of a say, down to none in a desert: else the
# one wet day of a year would make its month count for three (judgement).
LEAST_WET_DAYS = 3.0


def _relative_to_mean(monthly: Floats, least: float = 0.0) -> Floats:
    mean = monthly.mean(axis=1, keepdims=True)
    scale = np.maximum(mean, least)
    return np.divide(monthly + (scale - mean), scale, out=np.ones_like(monthly), where=scale > 0)


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
    return (
        weights.sun * _relative_to_mean(sun_rows)
        + weights.wet * _relative_to_mean(wet_rows, LEAST_WET_DAYS)
        + weights.even
    )


def _cumulative_clock(rate: Floats) -> Floats:
    # The clock at the start of each month of a year, and 12 at the end to the last digit.
    total = np.zeros((len(rate), 13))
    np.cumsum(rate, axis=1, out=total[:, 1:])
    return total * (12 / total[:, 12:])


def _first_day_of_months(month: Integers) -> Integers:
    return month.astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)


def _clock_rows(array: Floats, count: int) -> Integers:
    return np.zeros(count, dtype=np.int64) if len(array) == 1 else np.arange(count)


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
        known = np.isfinite(days)
        whole = np.floor(np.where(known, days, 0)).astype(np.int64)
        month = whole.astype("datetime64[D]").astype("datetime64[M]").astype(np.int64)
        start = _first_day_of_months(month)
        share = (days - start) / (_first_day_of_months(month + 1) - start)
        row = _clock_rows(self._edges, days.shape[-1])
        of_year = month % 12
        before = self._edges[row, of_year]
        return 12.0 * (month // 12) + before + share * (self._edges[row, of_year + 1] - before)

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
        reading : array_like, shape (n,)
            Clock months since 1970-01-01; NaN gives NaN.

        Returns
        -------
        ndarray, shape (n,)
            Days since 1970-01-01.
        """
        shown = np.atleast_1d(np.asarray(reading, dtype=float))
        year = np.floor(np.where(np.isfinite(shown), shown, 0) / 12).astype(np.int64)
        rest = shown - 12.0 * year
        row = _clock_rows(self._edges, len(shown))
        inner = self._edges[:, 1:12]
        of_year = (inner <= rest[:, None]).sum(axis=1)
        before = self._edges[row, of_year]
        after = self._edges[row, of_year + 1]
        start = _first_day_of_months(12 * year + of_year)
        length = _first_day_of_months(12 * year + of_year + 1) - start
        return start + length * (rest - before) / (after - before)

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
