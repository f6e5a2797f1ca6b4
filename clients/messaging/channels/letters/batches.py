"""Which letters wait, and which of a batch still belong to the pile."""

from dataclasses import dataclass, field

from django.db.models import Prefetch, QuerySet

from clients.messaging.channels.letters.addresses import window_lines
from clients.messaging.channels.letters.enclosures import Enclosure, unopened_enclosure
from clients.messaging.models import Attachment, BatchedLetter, LetterBatch, Message
from clients.messaging.models.message import MessageQuerySet, State
from clients.models import Business, Channel


@dataclass(frozen=True)
class Letter:
    """One letter of a batch."""

    position: int
    message: Message
    lines: list[str]  # in the window
    enclosures: list[Enclosure] = field(default_factory=list)
    why_not: str = ""  # it is to be taken out of the pile

    @property
    def address_text(self) -> str:
        return ", ".join(self.lines[1:])


def waiting_letters() -> MessageQuerySet:
    """May be printed now and are in no open batch."""
    in_open_batch = BatchedLetter.objects.filter(batch__posted_at=None).values("message_id")
    return Message.objects.due(Channel.LETTER).exclude(pk__in=in_open_batch)


def letters_in_batch(batch: LetterBatch, business: Business) -> list[Letter]:
    """All of them by position, each with why it no longer belongs, if so."""
    rows = batch.letters.select_related("message__client").prefetch_related(
        "message__client__properties",
        Prefetch("message__attachments", Attachment.objects.defer("content")),
    )
    return [build_letter(row, batch, business) for row in rows]


def build_letter(row: BatchedLetter, batch: LetterBatch, business: Business) -> Letter:
    message = row.message
    enclosed = [unopened_enclosure(each, row.apart) for each in message.attachments.all()]
    return Letter(
        row.position,
        message,
        window_lines(business, message),
        enclosed,
        why_not_in_batch(message, batch),
    )


def why_not_in_batch(message: Message, batch: LetterBatch) -> str:
    if batch.posted_at is None and message.state == State.QUEUED:
        return "It is held back." if message.held_at else ""
    if batch.posted_at and message.state in {State.ACCEPTED, State.DELIVERED, State.BOUNCED}:
        return ""
    return (
        f"{message.get_state_display()}: {message.reply}"
        if message.reply
        else str(message.get_state_display())
    )


def messages_to_post(batch: LetterBatch) -> MessageQuerySet:
    """What is posted when somebody says that the batch is."""
    return Message.objects.filter(batched__batch=batch, state=State.QUEUED, held_at=None)


def batches_for_list() -> "QuerySet[LetterBatch]":
    return LetterBatch.objects.select_related("made_by", "posted_by").prefetch_related("letters")
