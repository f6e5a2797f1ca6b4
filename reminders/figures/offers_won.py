"""What became of the offers that were sent, by the month of the first sending. Revisions of one
number are one offer: the newest says how it stands and what it comes to."""

from collections.abc import Iterable, Sequence
from datetime import date, datetime
from decimal import Decimal
from itertools import groupby
from typing import Any, NamedTuple

from clients import display
from clients.models import Business
from jobs.models import Offer
from reminders.figures.monthly_figure import (
    MONTHS_A_YEAR,
    FigureColumn,
    MonthlyFigure,
    count_words,
    months_back,
    start_of_months,
    year_words,
)
from reminders.pictures import MonthColumn, month_columns

OUTCOMES = {
    "won": "Won",
    "waiting": "No answer yet",
    "expired": "Expired",
    "declined": "Declined",
    "withdrawn": "Withdrawn by us",
}


class OfferRevision(NamedTuple):
    """A row of an offer's number; revisions follow each other."""

    number: int
    state: str
    sent_at: datetime | None
    valid_until: date
    total: Decimal
    currency: str


class SentOffer(NamedTuple):
    month: date
    outcome: str
    total: Decimal
    currency: str


def read_offers_won(*, today: date, business: Business) -> MonthlyFigure:
    months = months_back(today)
    revisions = Offer.objects.revisions_of_sent(
        OfferRevision._fields, since=start_of_months(months)
    )
    sent = sent_offers(map(OfferRevision._make, revisions), today=today, business=business)
    found = [offer for offer in sent if offer.month >= months[0]]
    rows = offer_rows(months, found, business.currency)
    notes = [
        "Amounts are what the client pays, with tax. Each offer counts in the month it was first"
        " sent, with its newest revision."
    ]
    if foreign := sum(offer.currency != business.currency for offer in found):
        said = count_words(foreign, "offer is", "offers are")
        notes.append(f"{said} in another currency: counted, the amount not added.")
    return MonthlyFigure(
        "offers",
        "Offers sent and won",
        [
            FigureColumn("sent", "Sent"),
            *(FigureColumn(key, head) for key, head in OUTCOMES.items()),
            FigureColumn("amount_sent", "Amount sent", "money"),
            FigureColumn("amount_won", "Amount won", "money"),
        ],
        rows,
        [
            month_columns(
                [
                    MonthColumn(
                        row["month"],
                        {
                            "won": row["won"],
                            "no answer yet": row["waiting"],
                            "lost": row["expired"] + row["declined"] + row["withdrawn"],
                        },
                    )
                    for row in rows
                ]
            ),
        ],
        [won_fact(rows[MONTHS_A_YEAR:]), won_fact(rows[:MONTHS_A_YEAR])],
        notes,
    )


def sent_offers(
    revisions: Iterable[OfferRevision], *, today: date, business: Business
) -> list[SentOffer]:
    """One for each number of which a revision was sent; revisions come in order."""
    found = []
    for _, members in groupby(revisions, key=lambda row: row.number):
        rows = list(members)
        newest = rows[-1]
        first = min(row.sent_at for row in rows if row.sent_at)
        month = business.today(first).replace(day=1)
        found.append(SentOffer(month, offer_outcome(newest, today), newest.total, newest.currency))
    return found


def offer_outcome(newest: OfferRevision, today: date) -> str:
    """A newer revision that is not sent yet is still to be answered."""
    if newest.state == Offer.State.ACCEPTED:
        return "won"
    if newest.state in {Offer.State.DECLINED, Offer.State.WITHDRAWN}:
        return newest.state
    is_over = newest.state == Offer.State.OPEN and newest.valid_until < today
    return "expired" if is_over else "waiting"


def offer_rows(
    months: Sequence[date], found: Sequence[SentOffer], currency: str
) -> list[dict[str, Any]]:
    zero = {"sent": 0, **dict.fromkeys(OUTCOMES, 0)}
    money = {"amount_sent": Decimal(0), "amount_won": Decimal(0)}
    rows: dict[date, dict[str, Any]] = {
        month: {"month": month, **zero, **money} for month in months
    }
    for offer in found:
        row = rows[offer.month]
        amount = offer.total if offer.currency == currency else Decimal(0)
        row["sent"] += 1
        row[offer.outcome] += 1
        row["amount_sent"] += amount
        if offer.outcome == "won":
            row["amount_won"] += amount
    return list(rows.values())


def won_fact(rows: Sequence[dict[str, Any]]) -> tuple[str, str]:
    sent = sum(row["sent"] for row in rows)
    won = sum(row["won"] for row in rows)
    amount = display.format_whole_money(sum((row["amount_won"] for row in rows), Decimal(0)))
    return year_words([row["month"] for row in rows]), f"{won} of {sent} won, {amount}"
