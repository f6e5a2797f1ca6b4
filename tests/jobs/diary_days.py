"""Days of a diary, bookings on them, and what a page says, for tests."""

from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

from jobs.actions import bookings
from jobs.models import Booking
from tests.factories import DeckFactory

NOW = datetime(2027, 6, 2, 15, tzinfo=UTC)  # a Wednesday at noon in Halifax
MONDAY = date(2027, 6, 7)
TUESDAY = date(2027, 6, 8)


def booked(
    day: date = MONDAY, hours: str = "6", *, offer: Any = None, decks: Any = None, **deck: Any
) -> Booking:
    decks = decks or [DeckFactory(**deck)]
    return bookings.book_work(
        property=decks[0].property,
        decks=decks,
        hours=Decimal(hours),
        first_day=day,
        week=None,
        crew=None,
        offer=offer,
        by=None,
        now=NOW,
    )


def text(answer: Any) -> str:
    return " ".join(answer.content.decode().split())


def said(answer: Any) -> list[str]:
    return [str(message) for message in answer.context["messages"]]
