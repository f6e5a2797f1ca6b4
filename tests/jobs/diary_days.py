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


def book_visit(
    *, by: Any = None, now: datetime = NOW, notify_client: bool = True, **work: Any
) -> Booking:
    """Book this work, given as the fields of `NewBooking`."""
    return bookings.book_work(
        work=bookings.NewBooking(**work), by=by, now=now, notify_client=notify_client
    )


def move_visit(booking: Booking, *, by: Any = None, now: datetime = NOW, **move: Any) -> Booking:
    """Move a booking, given the fields of `BookingMove`."""
    return bookings.move_booking(booking=booking, move=bookings.BookingMove(**move), by=by, now=now)


def booked(
    day: date = MONDAY, hours: str = "6", *, offer: Any = None, decks: Any = None, **deck: Any
) -> Booking:
    decks = decks or [DeckFactory(**deck)]
    return book_visit(
        site=decks[0].site,
        decks=decks,
        hours=Decimal(hours),
        first_day=day,
        offer=offer,
    )


def text(answer: Any) -> str:
    return " ".join(answer.content.decode().split())


def said(answer: Any) -> list[str]:
    return [str(message) for message in answer.context["messages"]]
