"""Everything that waits for a person, under one name and with one count: answers and questions of
clients, messages that did not arrive, bookings held or not logged, accepted work without a day."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import QuerySet

from clients.messaging.models import Message, ToDo
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
OFFER_KEY = "offer/"  # of a to-do about an offer


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
    """What waits, and how much of each kind."""

    items: Sequence[InboxItem]
    count: int

    @property
    def first_items(self) -> Sequence[InboxItem]:
        """What the page shows of it as long as nobody asks for more."""
        return self.items[:INBOX_ROWS_AT_FIRST]

    @property
    def summary(self) -> str:
        """“2 questions, 1 answer, 3 not logged”."""
        counted = Counter(item.label for item in self.items)
        words = {label: COUNTED_WORDS.get(label, (label.lower(),) * 2) for label in counted}
        return ", ".join(
            f"{number} {words[label][number > 1]}" for label, number in counted.items()
        )


def open_matters() -> QuerySet[ToDo]:
    """To-dos but those that a list below says better: an accepted offer without a day."""
    return ToDo.objects.open().exclude(kind=ToDo.Kind.BOOK, key__startswith=OFFER_KEY)


def offer_asked_about(row: ToDo) -> int | None:
    """The number of the row of the offer that a question is about."""
    number = row.key.removeprefix(OFFER_KEY).partition("/")[0]
    return int(number) if row.key.startswith(OFFER_KEY) and number.isdecimal() else None


def held_bookings() -> QuerySet[Booking]:
    return Booking.objects.filter(state=Booking.State.HELD)


def unlogged_bookings(*, today: date) -> QuerySet[Booking]:
    """Booked for a day that has gone by, and nothing was logged."""
    return Booking.objects.filter(state=Booking.State.BOOKED, last_on__lt=today)


def offers_without_day() -> QuerySet[Offer]:
    return Offer.objects.needing_a_day()


def count_inbox(*, today: date) -> int:
    """How much waits, in one query, for the navigation of every page."""
    parts = [
        open_matters(),
        Message.objects.needing_a_person(),
        held_bookings(),
        unlogged_bookings(today=today),
        offers_without_day(),
    ]
    (first, *others) = [part.order_by().values("pk") for part in parts]
    return first.union(*others, all=True).count()


def read_inbox(*, today: date) -> Inbox:
    """The matters of each kind, clients' words first, newest first."""
    parts = [to_do_items(), offer_items(), message_items(), *booking_items(today)]
    items = [item for part in parts for item in part]
    is_all = all(len(part) < MAX_INBOX_ROWS for part in parts)
    return Inbox(items[:MAX_INBOX_ROWS], len(items) if is_all else count_inbox(today=today))


def to_do_items() -> list[InboxItem]:
    labels = {
        ToDo.Kind.QUESTION: ("Question", "is-due"),
        ToDo.Kind.ANSWER: ("Answer", "is-due"),
        ToDo.Kind.ADDRESS: ("Address", "is-late"),
        ToDo.Kind.BOOK: ("Needs a day", "is-due"),
        ToDo.Kind.TELL: ("Not told", "is-caution"),
        ToDo.Kind.DEFECT: ("Dangerous deck", "is-late"),
        ToDo.Kind.UNREAD: ("Not readable", "is-caution"),
    }
    rows = open_matters().select_related("client")[:MAX_INBOX_ROWS]
    found = []
    for row in rows:
        label, chip = labels[ToDo.Kind(row.kind)]
        offer = offer_asked_about(row) if row.kind == ToDo.Kind.QUESTION else None
        kind = "question" if offer else "to_do"
        found.append(
            InboxItem(kind, label, chip, row.words, row.made_at, row, row.client_id, offer)
        )
    order = ["Dangerous deck", "Question", "Answer"]
    return sorted(
        found, key=lambda item: order.index(item.label) if item.label in order else len(order)
    )


def offer_items() -> list[InboxItem]:
    rows = offers_without_day().select_related("client", "site").order_by("accepted_week")
    return [
        InboxItem(
            "offer",
            "Needs a day",
            "is-due",
            f"Offer {offer.reference} was accepted; {offer.site.town}.",
            offer.accepted_week or offer.drafted_on,
            offer,
            offer.client_id,
        )
        for offer in rows[:MAX_INBOX_ROWS]
    ]


def message_items() -> list[InboxItem]:
    rows = Message.objects.needing_a_person().for_list()[:MAX_INBOX_ROWS]
    return [
        InboxItem(
            "message",
            str(message.get_state_display()),
            f"is-{message.state}",
            message.subject or f"{message.get_kind_display()}, {message.get_channel_display()}",
            message.queued_at,
            message,
            message.client_id,
        )
        for message in rows
    ]


def booking_items(today: date) -> list[list[InboxItem]]:
    """Those that are held, and those not logged."""
    kinds = [
        ("held", "Weather hold", "is-caution", held_bookings()),
        ("unlogged", "Not logged", "is-open", unlogged_bookings(today=today)),
    ]
    return [
        [
            InboxItem(
                kind,
                label,
                chip,
                f"{booking.site.street}, {booking.site.town}, {booking.crew.name}",
                booking.first_on,
                booking,
                booking.client_id,
            )
            for booking in rows.select_related("client", "site", "crew")[:MAX_INBOX_ROWS]
        ]
        for kind, label, chip, rows in kinds
    ]
