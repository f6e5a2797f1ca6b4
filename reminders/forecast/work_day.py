"""The day that suits the work on a deck best: the age at which upkeep costs least, moved to the
workable week that costs least more, before or after it."""

import numpy as np
from numpy.typing import NDArray

from reminders.forecast.arrays import Booleans, Floats, Integers
from reminders.forecast.clock import CLOCK_WEIGHTS, ClockWeights
from reminders.forecast.coats import Coats
from reminders.forecast.exposure import deck_clock
from reminders.forecast.prediction import CACHED_ROWS, Prediction
from reminders.forecast.replacement import upkeep_table
from reminders.forecast.wear_limits import film_shares


def best_work_days(
    coats: Coats,
    found: Prediction,
    today: float,
    workable: Booleans,
    *,
    price_ratio: float,
    weights: ClockWeights = CLOCK_WEIGHTS,
) -> Floats:
    """Return the day that suits the next work on each deck.

    Parameters
    ----------
    coats : Coats
        The running coats.
    found : Prediction
        What is forecast of them.
    today : float
        In days since 1970-01-01.
    workable : ndarray of bool, shape (n, 12)
        Months of the year that can be worked at each place.
    price_ratio : float
        Price of a strip in prices of a recoat.
    weights : ClockWeights
        What the seasonal clock follows.

    Returns
    -------
    ndarray, shape (n,)
        Days since 1970-01-01, each in a workable month; in the past where that day was missed.

    Notes
    -----
    Findings move the best age as they move the median: exact where nobody looked, and never before
    the last sound finding nor after the first worn one. A week before the best age is taken only
    while it is still ahead.
    """
    days = np.empty(len(coats))
    for first in range(0, len(coats), CACHED_ROWS):
        rows = slice(first, first + CACHED_ROWS)
        part = coats.take(rows)
        clock = deck_clock(part, weights)
        start = clock.reading(part.coated_on)
        median = found.due_months[rows]
        table = upkeep_table(found.log_sd[rows], film_shares(part), part.coats, price_ratio)
        best = clock.day_of(start + table.best * median)
        best = np.fmin(np.fmax(best, part.sound_on), part.worn_on)
        before, after = _workable_days_around(best, workable[rows])
        cost_before, cost_after = (
            table.log_cost(np.maximum(clock.reading(day) - start, 0.0) / median)
            for day in (before, after)
        )
        still_ahead = before >= np.fmax(np.fmax(part.sound_on, part.asked_on), today)
        days[rows] = np.where(still_ahead & (cost_before < cost_after), before, after)
    return days


def _workable_days_around(day: Floats, workable: Booleans) -> tuple[Floats, Floats]:
    # The day itself twice where its month can be worked; else the last day of the workable month
    # before it and the first day of the one after.
    whole = np.floor(day)
    month = whole.astype("int64").astype("datetime64[D]").astype("datetime64[M]").astype(np.int64)
    row = np.arange(len(day))
    back: Integers = np.zeros(len(day), dtype=np.int64)
    ahead: Integers = np.zeros(len(day), dtype=np.int64)
    for months in range(11, 0, -1):
        back = np.where(workable[row, (month - months) % 12], months, back)
        ahead = np.where(workable[row, (month + months) % 12], months, ahead)
    is_workable = workable[row, month % 12]
    last = _first_day(month - back + 1) - 1
    first = _first_day(month + ahead)
    return np.where(is_workable, whole, last), np.where(is_workable, whole, first)


def _first_day(month: NDArray[np.int64]) -> Floats:
    return month.astype("datetime64[M]").astype("datetime64[D]").astype(float)
