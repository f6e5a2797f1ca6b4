"""Everything that waits for a person, under one name and with one count: answers and questions of
clients, messages that did not arrive, bookings held or not logged, accepted work without a day."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache, partial
from itertools import chain, islice
from typing import Any

from django.db.models import CharField, Count, Q, QuerySet, Value

from clients.kept_plans import fetch_by_kept_plan, written_out
from clients.messaging.models import Message, ToDo
from clients.messaging.models.message import UNRESOLVED_STATES
from jobs.models import Booking, Offer

MAX_INBOX_ROWS = 100
INBOX_ROWS_AT_FIRST = 20  # until somebody asks for all of them
COUNTED_WORDS = {
    "Question": ("question", "questions"),
    "Answer": ("answer", "answers"),
    "Address": ("address", "addresses"),
    "Needs a day": ("needs a day", "need a day"),
    "Weather hold": ("weather hold", "weather holds"),
    "Dangerous deck": ("dangerous deck", "dangerous decks"),
}
# Label and chip of what waits, by where it stands and its kind or state there; in this order.
WAITING: dict[tuple[str, str], tuple[str, str]] = {
    ("to_do", ToDo.Kind.DEFECT): ("Dangerous deck", "is-late"),
    ("to_do", ToDo.Kind.QUESTION): ("Question", "is-due"),
    ("to_do", ToDo.Kind.ANSWER): ("Answer", "is-due"),
    ("to_do", ToDo.Kind.ADDRESS): ("Address", "is-late"),
    ("to_do", ToDo.Kind.BOOK): ("Needs a day", "is-due"),
    ("to_do", ToDo.Kind.TELL): ("Not told", "is-caution"),
    ("to_do", ToDo.Kind.UNREAD): ("Not readable", "is-caution"),
    ("offer", Offer.State.ACCEPTED): ("Needs a day", "is-due"),
    **{("message", state): (str(state.label), f"is-{state}") for state in UNRESOLVED_STATES},
    ("booking", Booking.State.HELD): ("Weather hold", "is-caution"),
    ("booking", Booking.State.BOOKED): ("Not logged", "is-open"),
}
FIRST_OF_ALL = {"Dangerous deck": 0, "Question": 1, "Answer": 2}
OFFER_KEY = "offer/"  # of a to-do about an offer
OFFER_COLUMNS = [
    "number",
    "revision",
    "state",
    "accepted_week",
    "drafted_on",
    "client__name",
    "site__town",
]


@dataclass(frozen=True)
class InboxItem:
    """One matter: its `kind` decides how it is answered on the spot, `row` is what it is about."""

    kind: str
    label: str
    chip: str
    words: str
    at: datetime | date
    row: ToDo | Message | Booking | Offer
    client_id: int | None = None
    offer_id: int | None = None


@dataclass(frozen=True)
class Inbox:
    """The matters that are shown, and how much waits in all, by label."""

    items: Sequence[InboxItem]
    counts: Mapping[str, int]

    @property
    def count(self) -> int:
        return sum(self.counts.values())

    @property
    def summary(self) -> str:
        """“2 questions, 1 answer, 3 not logged”."""
        words = {label: COUNTED_WORDS.get(label, (label.lower(),) * 2) for label in self.counts}
        return ", ".join(
            f"{number} {words[label][number > 1]}" for label, number in self.counts.items()
        )


def open_matters() -> QuerySet[ToDo]:
    """To-dos but those that a list below says better: an accepted offer without a day."""
    return ToDo.objects.open().exclude(kind=ToDo.Kind.BOOK, key__startswith=OFFER_KEY)


def offer_asked_about(row: ToDo) -> int | None:
    """The number of the row of the offer that a question is about."""
    number = row.key.removeprefix(OFFER_KEY).partition("/")[0]
    return int(number) if row.key.startswith(OFFER_KEY) and number.isdecimal() else None


def waiting_bookings(*, today: date) -> QuerySet[Booking]:
    """Held, or booked for a day that has gone by, and nothing was logged."""
    unlogged = Q(state=Booking.State.BOOKED, last_on__lt=today)
    return Booking.objects.filter(Q(state=Booking.State.HELD) | unlogged)


def count_inbox(*, today: date) -> int:
    """How much waits, in one query, for the navigation of every page."""
    return sum(counts_by_label(today=today).values())


def counts_by_label(*, today: date) -> dict[str, int]:
    """How much waits of each kind, in the order of the list."""
    found = {
        (table, word): number for table, word, number in fetch_by_kept_plan(counting_sql(today))
    }
    counts: dict[str, int] = {}
    for place, (label, _) in WAITING.items():
        if place in found:
            counts[label] = counts.get(label, 0) + found[place]
    return counts


@lru_cache(maxsize=4)
def counting_sql(today: date) -> str:
    """Written out once a day and process: every page asks it."""
    parts: list[tuple[str, str, QuerySet[Any]]] = [
        ("to_do", "kind", open_matters()),
        ("offer", "state", Offer.objects.needing_a_day()),
        ("message", "state", Message.objects.needing_a_person()),
        ("booking", "state", waiting_bookings(today=today)),
    ]
    (first, *others) = [
        rows.order_by().values_list(Value(table, CharField()), word).annotate(number=Count("*"))
        for table, word, rows in parts
    ]
    return written_out(first.union(*others, all=True))


def read_inbox(*, today: date, is_open: bool) -> Inbox:
    """The matters of each kind, clients' words first, newest first: the first of them, or as many
    as a page holds."""
    counts = counts_by_label(today=today)
    shown = min(sum(counts.values()), MAX_INBOX_ROWS if is_open else INBOX_ROWS_AT_FIRST)
    bookings = partial(booking_items, today=today)
    readers: Sequence[Callable[..., list[InboxItem]]] = (
        to_do_items,
        offer_items,
        message_items,
        bookings,
    )
    items = chain.from_iterable(read(limit=shown) for read in readers)
    return Inbox(list(islice(items, shown)), counts)  # no further than is shown


def to_do_items(*, limit: int) -> list[InboxItem]:
    found = [to_do_item(row) for row in open_matters().select_related("client")[:MAX_INBOX_ROWS]]
    return sorted(found, key=lambda item: FIRST_OF_ALL.get(item.label, len(FIRST_OF_ALL)))[:limit]


def to_do_item(row: ToDo) -> InboxItem:
    label, chip = WAITING["to_do", row.kind]
    offer = offer_asked_about(row) if row.kind == ToDo.Kind.QUESTION else None
    kind = "question" if offer else "to_do"
    return InboxItem(kind, label, chip, row.words, row.made_at, row, row.client_id, offer)


def offer_items(*, limit: int) -> list[InboxItem]:
    rows = Offer.objects.needing_a_day().select_related("client", "site").only(*OFFER_COLUMNS)
    return [
        InboxItem(
            "offer",
            *WAITING["offer", offer.state],
            f"Offer {offer.reference} was accepted; {offer.site.town}.",
            offer.accepted_week or offer.drafted_on,
            offer,
            offer.client_id,
        )
        for offer in rows.order_by("accepted_week")[:limit]
    ]


def message_items(*, limit: int) -> list[InboxItem]:
    rows = Message.objects.needing_a_person().for_list()[:limit]
    return [
        InboxItem(
            "message",
            *WAITING["message", message.state],
            message.subject or f"{message.get_kind_display()}, {message.get_channel_display()}",
            message.queued_at,
            message,
            message.client_id,
        )
        for message in rows
    ]


def booking_items(*, today: date, limit: int) -> list[InboxItem]:
    """Those that are held, then those not logged."""
    rows = waiting_bookings(today=today).order_by("-state", "first_on", "crew_id", "id")
    return [
        InboxItem(
            "held" if booking.state == Booking.State.HELD else "unlogged",
            *WAITING["booking", booking.state],
            f"{booking.site.street}, {booking.site.town}, {booking.crew.name}",
            booking.first_on,
            booking,
            booking.client_id,
        )
        for booking in rows.select_related("client", "site", "crew")[:limit]
    ]
