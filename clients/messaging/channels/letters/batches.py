"""Which letters wait, and which of a batch still belong to the pile."""

from dataclasses import dataclass, field

from django.db.models import Prefetch, QuerySet

from clients.messaging.channels.letters.addresses import lines_of
from clients.messaging.channels.letters.enclosures import Enclosure, listed
from clients.messaging.models import Attachment, BatchedLetter, LetterBatch, Message
from clients.messaging.models.message import MessageQuerySet, State
from clients.models import Business
from clients.models.channel import Channel


@dataclass(frozen=True)
class Letter:
    """One letter of a batch."""

    position: int
    message: Message
    lines: list[str]  # in the window
    enclosures: list[Enclosure] = field(default_factory=list)
    why_not: str = ""  # it is to be taken out of the pile

    @property
    def first_lines(self) -> str:
        return ", ".join(self.lines[1:])


def waiting() -> MessageQuerySet:
    """May be printed now and are in no open batch."""
    in_open_batch = BatchedLetter.objects.filter(batch__posted_at=None).values("message_id")
    return Message.objects.due(Channel.LETTER).exclude(pk__in=in_open_batch)


def letters_of(batch: LetterBatch, business: Business) -> list[Letter]:
    """All of them by position, each with why it no longer belongs, if so."""
    rows = batch.letters.select_related("message__client").prefetch_related(
        "message__client__properties", Prefetch("message__attachments", Attachment.objects.defer("content"))
    )
    return [letter_of(row, batch, business) for row in rows]


def letter_of(row: BatchedLetter, batch: LetterBatch, business: Business) -> Letter:
    message = row.message
    enclosed = [listed(each, row.apart) for each in message.attachments.all()]
    return Letter(row.position, message, lines_of(business, message), enclosed, why_not(message, batch))


def why_not(message: Message, batch: LetterBatch) -> str:
    if batch.posted_at is None and message.state == State.QUEUED:
        return "It is held back." if message.held_at else ""
    if batch.posted_at and message.state in {State.ACCEPTED, State.DELIVERED, State.BOUNCED}:
        return ""
    return f"{message.get_state_display()}: {message.reply}" if message.reply else str(message.get_state_display())


def in_the_pile(batch: LetterBatch) -> MessageQuerySet:
    """What is posted when somebody says that the batch is."""
    return Message.objects.filter(batched__batch=batch, state=State.QUEUED, held_at=None)


def with_counts() -> "QuerySet[LetterBatch]":
    return LetterBatch.objects.select_related("made_by", "posted_by").prefetch_related("letters")
