"""Work to come: how many hours and how much money come due in each month of two years, and how
sure that is. The chances are those of the forecasts; what is left out is said on the page."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from decimal import Decimal
from typing import Any

import numpy as np

from clients import display
from clients.models import Business
from reminders.figures.deck_worth import DeckWorth, WornDeck, deck_worth
from reminders.figures.due_sums import DueSums, sum_due_work
from reminders.figures.monthly_figure import (
    MONTHS_A_YEAR,
    MONTHS_LOOKED_AT,
    FigureColumn,
    MonthlyFigure,
    count_words,
    two_years_from,
    write_value,
)
from reminders.figures.surface_work import SharedWorth, worn_pieces, worth_of_pieces
from reminders.forecast import Floats
from reminders.models import Forecast
from reminders.months import shift_months
from reminders.pacing import LabourTimes, labour_times
from reminders.pictures import MonthColumn, month_columns

ALREADY_DUE = "due already"
DECKS_A_BATCH = 10_000
COLUMNS = [
    FigureColumn("decks", "Decks"),
    FigureColumn("hours", "Hours", "hours"),
    FigureColumn("hours_low", "Hours, at least", "hours"),
    FigureColumn("hours_high", "Hours, at most", "hours"),
    FigureColumn("money", "Money", "money"),
    FigureColumn("money_low", "Money, at least", "money"),
    FigureColumn("money_high", "Money, at most", "money"),
    FigureColumn("estimated", "Of it estimated", "money"),
]


def calculate_work_to_come(*, today: date, business: Business) -> MonthlyFigure:
    """From every deck of the book, in a fixed number of queries."""
    known = {row[0]: WornDeck._make(row) for row in Forecast.objects.current().worn_deck_rows()}
    months = two_years_from(today.replace(day=1))
    ends = [today, *(shift_months(month, 1) for month in months)]
    pieces = [
        piece for ids in batches_of(sorted(known)) for piece in worn_pieces(ids, ends, today=today)
    ]
    if not pieces:
        return work_figure(months, [], [], [])
    decks = [known[deck] for deck in dict.fromkeys(piece.deck_id for piece in pieces)]
    times = labour_times({deck.deck_id: deck.area_m2 for deck in decks}, today=today)
    worth = deck_worth(decks, times, today=today, currency=business.currency)
    rows = {deck.deck_id: row for row, deck in enumerate(decks)}
    shared = worth_of_pieces(pieces, worth, rows, today=today)
    chances = np.array([piece.chances for piece in pieces])
    found = work_rows([ALREADY_DUE, *months], month_chances(chances), shared)
    return work_figure(months, found, year_facts(chances, shared), notes_of(decks, worth, times))


def batches_of(deck_ids: Sequence[int]) -> Iterator[Sequence[int]]:
    """What a coat is made of is large while it is calculated: some thousands at a time."""
    for at in range(0, len(deck_ids), DECKS_A_BATCH):
        yield deck_ids[at : at + DECKS_A_BATCH]


def month_chances(chances: Floats) -> Floats:
    """That a deck is due already, and that it comes due in each month."""
    return np.maximum(np.diff(chances, axis=1, prepend=0.0), 0.0)


def amounts_by_month(of_kinds: Floats, worth: DeckWorth, columns: int) -> Floats:
    """Of each deck in each column of chances, for the work that its scope has."""
    of_work = np.where(worth.is_strip, of_kinds[:, 1], of_kinds[:, 0])
    return np.repeat(of_work[:, None], columns, axis=1)


def work_rows(
    labels: Sequence[date | str], chances: Floats, shared: SharedWorth
) -> list[dict[str, Any]]:
    columns = len(labels)
    worth = shared.worth
    hours = sum_due_work(chances, amounts_by_month(worth.hours, worth, columns))
    money = sum_due_work(chances, amounts_by_month(np.nan_to_num(worth.money), worth, columns))
    guessed = np.where(worth.is_estimate, np.nan_to_num(worth.money), 0.0)
    estimated = (chances * amounts_by_month(guessed, worth, columns)).sum(axis=0)
    decks = chances[shared.is_first].sum(axis=0)
    return [
        {
            "month": label,
            "decks": rounded_amount(decks[place], places=2),
            **sums_in_row("hours", hours, place),
            **sums_in_row("money", money, place),
            "estimated": rounded_amount(estimated[place], places=0),
        }
        for place, label in enumerate(labels)
    ]


def sums_in_row(name: str, sums: DueSums, place: int) -> dict[str, Decimal]:
    places = 0 if name == "money" else 1
    return {
        name: rounded_amount(sums.mean[place], places=places),
        f"{name}_low": rounded_amount(sums.low[place], places=places),
        f"{name}_high": rounded_amount(sums.high[place], places=places),
    }


def rounded_amount(value: float, *, places: int = 1) -> Decimal:
    """An expectation is not known to the cent."""
    return Decimal(str(round(float(value), places))).quantize(Decimal(1).scaleb(-places))


def year_facts(chances: Floats, shared: SharedWorth) -> list[tuple[str, str]]:
    """What is due already, and what comes due in each of the two years."""
    ends = chances[:, [0, MONTHS_A_YEAR, MONTHS_LOOKED_AT]]
    labels = ["Due already", "Next 12 months", "12 months after"]
    rows = work_rows(labels, month_chances(ends), shared)
    return [(str(row["month"]), sum_words(row)) for row in rows]


def sum_words(row: Mapping[str, Any]) -> str:
    decks = count_words(round(row["decks"]), "deck")
    words = f"about {decks}, {write_value(row['hours'], 'hours')}"
    if row["money"]:
        words += f", {write_value(row['money'], 'money')}"
        if row["money_high"] > row["money_low"]:
            low, high = (
                display.format_whole_money(row[key]) for key in ("money_low", "money_high")
            )
            words += f" ({low} to {high})"
    return words


def notes_of(decks: Sequence[WornDeck], worth: DeckWorth, times: LabourTimes) -> list[str]:
    notes = []
    next_kind = np.where(worth.is_strip, 1, 0)
    rows = np.arange(len(decks))
    if unknown := int(np.isnan(worth.money[rows, next_kind]).sum()):
        said = count_words(unknown, "deck has", "decks have")
        notes.append(f"{said} no price to go by: the hours are counted, the money is not.")
    is_guessed = worth.is_estimate & ~np.isnan(worth.money)
    if guessed := int(is_guessed[rows, next_kind].sum()):
        notes.append(
            f"The price of {count_words(guessed, 'deck')} is an estimate: what other decks cost"
            " per square metre, else the price list without materials, travel and tax. The rest"
            " is what was charged there last."
        )
    if unsized := sum(deck.area_m2 is None for deck in decks):
        said = count_words(unsized, "deck has", "decks have")
        notes.append(f"{said} no size: the hours are those of a usual deck.")
    if not times.is_from_prices:
        notes.append("Hours are a rule of thumb until a price list says the times.")
    return notes


def work_figure(
    months: Sequence[date],
    rows: Sequence[Mapping[str, Any]],
    facts: Sequence[tuple[str, str]],
    notes: Sequence[str],
) -> MonthlyFigure:
    ahead = rows[1:]
    pictures = [
        month_columns(
            [hours_column(row) for row in ahead],
            counted_in="hours",
            span_name="eight times in ten",
        ),
        month_columns(
            [money_column(row) for row in ahead],
            counted_in="money",
            span_name="eight times in ten",
        ),
    ]
    return MonthlyFigure(
        "work_to_come",
        "Work to come",
        COLUMNS,
        rows,
        pictures,
        facts,
        [
            "When each coat is worn by its forecast, whether the client comes back or not; decks"
            " already booked are among them. Rails, stairs and screens that are due by themselves"
            " count in their own month, the deck with its boards.",
            *notes,
            "Left out: what comes due a second time, strips that waiting would bring, price rises,"
            " and that one sunny or wet year moves all decks together, so the sum is a little less"
            " sure than the lines show.",
        ],
    )


def hours_column(row: Mapping[str, Any]) -> MonthColumn:
    return MonthColumn(
        row["month"],
        {"hours": float(row["hours"])},
        span=(float(row["hours_low"]), float(row["hours_high"])),
    )


def money_column(row: Mapping[str, Any]) -> MonthColumn:
    return MonthColumn(
        row["month"],
        {
            "by prices charged": float(row["money"] - row["estimated"]),
            "estimated": float(row["estimated"]),
        },
        span=(float(row["money_low"]), float(row["money_high"])),
    )
