"""Letters: gather them into a batch, print it, say that it was posted, or take it apart
again."""

from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.db.models import F

from clients.messaging.channels.letters import batches, sheet_for_country
from clients.messaging.models import BatchedLetter, LetterBatch, Message
from clients.messaging.models.message import State
from clients.messaging.outbox import (
    Transition,
    apply_transition,
    reasons_not_to_send,
    write_message_events,
)
from clients.models import Business, User

MAX_BATCH_LETTERS = 200  # letters a batch


class LetterError(Exception):
    """Why it cannot be done, in words."""


@dataclass(frozen=True)
class PostedBatch:
    """How many letters are in the post now, and who was left out since the print."""

    count: int
    left_out: list[str]


@transaction.atomic
def create_letter_batch(*, by: User, now: datetime) -> LetterBatch | None:
    """All letters that may go now, at most 200, or None;
    those that may not are cancelled with the reason."""
    business = Business.objects.get()
    rows = (
        batches.waiting_letters()
        .order_by("not_before", "pk")
        .select_for_update(of=("self",), skip_locked=True)[:MAX_BATCH_LETTERS]
    )
    chosen = [message for message in rows if permit_or_cancel(business, message, now)]
    if not chosen:
        return None
    batch = LetterBatch.objects.create(made_at=now, made_by=by)
    BatchedLetter.objects.filter(
        message__in=chosen
    ).delete()  # of an earlier batch, before it was sent again
    BatchedLetter.objects.bulk_create(
        [
            BatchedLetter(batch=batch, message=message, position=place)
            for place, message in enumerate(chosen, 1)
        ]
    )
    return batch


def permit_or_cancel(business: Business, message: Message, now: datetime) -> bool:
    reasons = reasons_not_to_send(business, [message], today=business.today(now))
    reason = reasons.get(message.pk)
    if reason:
        row = Message.objects.filter(pk=message.pk)
        apply_transition(row, Transition.CANCEL, note=reason, at=now, reply=reason)
    return not reason


@dataclass(frozen=True)
class PrintedBatch:
    """A print, and the enclosures that are not in it: whose, which and why."""

    pdf: bytes
    apart: list[str]


@transaction.atomic
def print_letter_batch(
    *, batch: LetterBatch, by: User, now: datetime, both_sides: bool = True
) -> PrintedBatch:
    """What is still in the pile as one PDF with its enclosures; its fingerprint and the number of
    prints are kept, a reprint says so. For `both_sides` of the paper each letter and each enclosure
    begin on a sheet of their own.
    """
    batch = LetterBatch.objects.select_for_update(of=("self",)).get(pk=batch.pk)
    business = Business.objects.get()
    refuse_while_held(business)
    letters = [letter for letter in batches.letters_in_batch(batch, business) if not letter.why_not]
    if not letters:
        raise LetterError("No letter of this batch is left to print.")
    check_address_fit(letters, business)
    from clients.messaging.channels.letters import printing  # loads WeasyPrint

    copy = batch.prints + 1
    pdf = printing.batch_pdf(
        batch,
        letters,
        business=business,
        today=business.today(now),
        copy=copy,
        both_sides=both_sides,
    )
    batch.prints = copy
    batch.pdf_sha256 = printing.pdf_fingerprint(pdf)
    batch.save(update_fields=["prints", "pdf_sha256"])
    for letter in letters:
        note = (
            f"Printed as letter {letter.position} of batch"
            f" {batch.pk}{f', print {copy}' if copy > 1 else ''}."
        )
        write_message_events([letter.message.pk], letter.message.state, note=note, by=by, at=now)
    return PrintedBatch(pdf, record_unprinted(batch, letters))


def refuse_while_held(business: Business) -> None:
    """A restored book prints and posts nothing until somebody says that it is the only one."""
    if business.sends_nothing:
        raise LetterError("This book was restored and sends nothing yet. The owner can release it.")


def record_unprinted(batch: LetterBatch, letters: list[batches.Letter]) -> list[str]:
    """What could not be printed is kept with its letter, for the page of the batch."""
    rows = {row.position: row for row in batch.letters.all()}
    told = []
    for letter in letters:
        apart = [each for each in letter.enclosures if not each.is_printed]
        rows[letter.position].apart = {str(each.row.pk): each.why_apart for each in apart}
        told += [f"{letter.lines[0]}: {each.name}, {each.why_apart}" for each in apart]
    BatchedLetter.objects.bulk_update(rows.values(), ["apart"])
    return told


def check_address_fit(letters: list[batches.Letter], business: Business) -> None:
    """An address that does not fit into the window is named before paper is used."""
    sheet = sheet_for_country(business.country)
    for letter in letters:
        if (needed := sheet.lines_needed(letter.lines)) > sheet.max_lines:
            raise LetterError(
                f"The address of {letter.lines[0]} has {needed} lines; the window has room for"
                f" {sheet.max_lines}. Shorten it on the client's page, or hold the letter back."
            )


@transaction.atomic
def mark_batch_posted(*, batch: LetterBatch, by: User, now: datetime) -> PostedBatch:
    """Somebody put them into the post. A second click changes nothing and says so."""
    batch = LetterBatch.objects.select_for_update(of=("self",)).get(pk=batch.pk)
    refuse_while_held(Business.objects.get())
    if batch.posted_at or not batch.prints:
        raise LetterError(
            "It was mailed before." if batch.posted_at else "Print the letter run first."
        )
    left_out = [
        letter
        for letter in batches.letters_in_batch(batch, Business.objects.get())
        if letter.why_not
    ]
    note = f"Mailed with letter run {batch.pk}."
    count = apply_transition(
        batches.messages_to_post(batch),
        Transition.POST_LETTER,
        note=note,
        by=by,
        at=now,
        reply=note,
        accepted_at=now,
        attempts=F("attempts") + 1,
    )
    batch.letters.filter(message__in=[letter.message for letter in left_out]).delete()
    batch.posted_at = now
    batch.posted_by = by
    batch.save(update_fields=["posted_at", "posted_by"])
    return PostedBatch(count, [letter.lines[0] for letter in left_out])


@transaction.atomic
def dissolve_letter_batch(*, batch: LetterBatch, by: User, now: datetime) -> int:
    """An open batch is given up; its letters wait again. How many."""
    batch = LetterBatch.objects.select_for_update(of=("self",)).get(pk=batch.pk)
    if batch.posted_at:
        raise LetterError("It was mailed before; nothing can call it back.")
    ids = list(batches.messages_to_post(batch).values_list("pk", flat=True))
    write_message_events(
        ids, State.QUEUED, note=f"Letter run {batch.pk} was undone.", by=by, at=now
    )
    batch.delete()
    return len(ids)
