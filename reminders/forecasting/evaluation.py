"""How good the forecast is on the business's own book:
back-test, reliability, windows, and how many decks return."""

from dataclasses import asdict, dataclass
from datetime import date
from math import isfinite
from typing import Any

import numpy as np

from clients.models import Deck
from reminders import forecast
from reminders.forecasting import bridge
from reminders.forecasting.learning import TrainingData
from reminders.forecasting.price_ratio import middle_prices

MAX_BACKTEST_YEARS = 10  # a back-test looks back no further
# Beyond that ten fits along the path of wear would outlast the nightly task.
MAX_COATS_JUDGED_ALONG_PATH = 5_000
MIN_CALIBRATION_COATS = 60  # below that the error is a quarter and more
WORN_BY_COLUMNS = ("worn_by_opens", "worn_by_half", "worn_by_late")  # as WORN_CHANCES
SCORE_COLUMNS = [
    "forecast",
    "visits",
    "log_score",
    "brier",
    "window_score",
    "observed",
    "expected",
    "observed_over_expected",
    "window_coverage",
    "coverage_at_least",
    "coverage_at_most",
    "coverage_coats",
    "coverage_is_enough",
    *WORN_BY_COLUMNS,
    "worn_by_error",
    "called",
    "origins",
]
BIN_COLUMNS = ["low", "high", "visits", "forecast", "found"]


def finite_or_none(value: float) -> float | None:
    """Nothing instead of NaN, which JSON does not know; six digits are plenty."""
    return round(float(value), 6) if isfinite(value) else None


@dataclass(frozen=True)
class BacktestRows:
    """A back-test as plain rows."""

    scores: list[dict[str, Any]]
    bins: list[dict[str, Any]]


def backtest_by_year(
    book: forecast.InspectionData,
    *,
    today: date,
    years: int = MAX_BACKTEST_YEARS,
    along_path: bool = False,
) -> BacktestRows:
    """Go through the last years as they came:
    learn, forecast a year, look what was found, move on."""
    until = bridge.epoch_days(today) + 1
    since = first_backtest_origin(book, until, years)
    is_quick = len(book.coats) <= MAX_COATS_JUDGED_ALONG_PATH
    found = forecast.backtest(book, since, until, along_path=along_path and is_quick)
    bins = [
        {name: finite_or_none(value) for name, value in asdict(step).items()}
        for step in found.reliability
    ]
    return BacktestRows(
        [backtest_score_row(name, found) for name in forecast.FORECAST_NAMES],
        [row | integer_visits(row) for row in bins],
    )


def integer_visits(row: dict[str, Any]) -> dict[str, int]:
    return {"visits": int(row["visits"])}


def first_backtest_origin(book: forecast.InspectionData, until: float, years: int) -> float:
    """Whole years before the end, so that the first year of the book is learned from before
    anything is judged."""
    days = book.visits.visited_on
    if not len(days):
        return until - 1
    span = until - float(days.min())
    whole_years = min(int(span / 365.25), years)
    return until - 365.25 * whole_years if whole_years else float(days.min())


def backtest_score_row(name: str, found: forecast.Backtest) -> dict[str, Any]:
    """One row of SCORE_COLUMNS; windows are those of the learned forecast, the others have none to
    judge."""
    score = found.scores[name]
    row: dict[str, Any] = dict.fromkeys(SCORE_COLUMNS)
    row |= {"forecast": name, "visits": score.visits, "origins": found.origins}
    for column in (
        "log_score",
        "brier",
        "window_score",
        "observed",
        "expected",
        "observed_over_expected",
    ):
        row[column] = finite_or_none(getattr(score, column))
    if name == "learned":
        inside = found.coverage
        row |= {
            "window_coverage": finite_or_none(inside.share) if inside.is_enough else None,
            "coverage_at_least": finite_or_none(inside.at_least),
            "coverage_at_most": finite_or_none(inside.at_most),
            "coverage_coats": inside.coats,
            "coverage_is_enough": inside.is_enough,
            "called": found.called,
        }
        if inside.coats >= MIN_CALIBRATION_COATS:
            found_by = map(finite_or_none, inside.worn_by)
            row |= dict(zip(WORN_BY_COLUMNS, found_by, strict=True))
            row["worn_by_error"] = finite_or_none(inside.worn_by_error)
    return row


def upkeep_money(
    history: TrainingData, belief: forecast.Posterior, *, today: date, currency: str
) -> dict[str, float]:
    """What the decks cost a year in which they are protected, as is believed now: each coated at
    its own best age, and each coated every twelve months; at the middle prices of the book.

    Nothing while these are not known, or no deck with a known size has a coat.
    """
    prices = middle_prices(today=today, currency=currency)
    rows = np.flatnonzero(~history.is_archived & np.isnan(history.book.ended_on))
    coats = history.book.coats.take(rows)
    known = Deck.objects.filter(pk__in=coats.deck.tolist()).exclude(area_m2=None)
    sizes = {deck: float(area or 0) for deck, area in known.values_list("pk", "area_m2")}
    sized = coats.take([row for row, deck in enumerate(coats.deck) if int(deck) in sizes])
    if len(prices) < 2 or not len(sized):
        return {}
    found = forecast.predict(sized, belief, np.maximum(bridge.epoch_days(today), sized.coated_on))
    table = forecast.upkeep_table(
        found.log_sd,
        forecast.film_shares(sized),
        sized.coats,
        prices["strip"] / prices["recoat"],
    )
    area = np.array([sizes[int(deck)] for deck in sized.deck])
    a_year = 12 * prices["recoat"] * area / found.median_months
    own = a_year * np.exp(table.log_cost(table.best))
    flat = a_year * np.exp(table.log_cost(12 / found.median_months))
    return {"decks": len(sized), "own": round(own.sum()), "flat": round(flat.sum())}


def count_returns(
    history: TrainingData, belief: forecast.Posterior, *, today: date
) -> dict[str, int]:
    """Of coats whose window has closed: how many decks came back before that, how many after, and
    how many never.

    The window is the one a forecast would state on the day of the coat with what is believed now.
    Decks that are archived today are left out: nobody can say whether they would have come back.
    """
    rows = np.flatnonzero(~history.is_archived)
    coats = history.book.coats.take(rows)
    ended = history.book.ended_on[rows]
    day = bridge.epoch_days(today)
    late = forecast.predict(coats, belief, day).late if len(rows) else np.zeros(0)
    closed = late < day
    in_time = closed & (ended <= late)
    back = closed & ~np.isnan(ended)
    return {
        "coats": int(closed.sum()),
        "in_time": int(in_time.sum()),
        "later": int((back & ~in_time).sum()),
        "not_back": int((closed & ~back).sum()),
    }


def informative_visit_days(book: forecast.InspectionData, since: float, until: float) -> np.ndarray:
    """Days of the visits that tell something a forecast can be judged by, in order."""
    tried = forecast.scored_visits(book, since, until)
    return np.sort(book.coats.coated_on[tried.coat] + tried.days)
