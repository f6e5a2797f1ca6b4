"""Telling clients of a change in the diary: first a page that says who is told how, word for word;
then the change itself, and what it told whom."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse

from clients.messaging.confirming import ConfirmPage, RowToSend, sent_in_words
from clients.messaging.models import Message
from clients.messaging.views.confirm import (
    is_confirmed,
    posted_hidden,
    remember_sending,
    render_confirm_page,
    unticked_boxes,
)
from clients.models import primary_keys
from jobs.actions.booking_messages import (
    newest_booking_message,
    who_cannot_be_told,
    why_no_mail,
)
from jobs.models import Booking

NO_MAIL_LEAVES = "E-mail: it cannot leave now. Settings, Ready to send? says why."
NEW_BOX = 0  # of a booking that is not there yet


@dataclass(frozen=True)
class DiaryChange:
    """A change that clients are told of.

    `act` makes it, given the numbers of the bookings whose clients are not to be told (None: tell
    nobody), and gives back the bookings. `title` and `button` stand on the page that asks, `back`
    is where its way out leads; `can_change` is for a page that shows its form again.
    """

    act: Callable[[frozenset[int] | None], Sequence[Booking]]
    title: str
    button: str
    back: tuple[str, str]
    notifies: bool
    is_new: bool = False
    can_change: bool = False

    def box(self, booking: Booking) -> int:
        return NEW_BOX if self.is_new else booking.pk


@dataclass(frozen=True)
class Told:
    """A booking, and the message about it, if any went."""

    booking: Booking
    message: Message | None


def ask_who_is_told(request: HttpRequest, change: DiaryChange) -> HttpResponse | None:
    """The page that asks, if anybody is to be told and nobody has looked yet; else None.
    The change is made, looked at and undone. Raises what `act` raises."""
    if is_confirmed(request) or not change.notifies:
        return None
    with transaction.atomic():
        told = told_of(change.act(frozenset()))
        rows = [row_to_tell(change, each, each.message) for each in told if each.message]
        notes = [who_cannot_be_told(each.booking) for each in told if not each.message]
        transaction.set_rollback(True)
    notes = [note for note in notes if note]
    if not rows and not notes:
        return None
    page = ConfirmPage(
        title=change.title,
        action=request.get_full_path(),
        hidden=posted_hidden(request),
        rows=rows,
        button=change.button,
        back=change.back,
        notes=notes,
        can_change=change.can_change,
    )
    return render_confirm_page(request, page)


def row_to_tell(change: DiaryChange, told: Told, message: Message) -> RowToSend:
    why_phoned = why_no_mail(told.booking, message.queued_at) or NO_MAIL_LEAVES
    return RowToSend(
        box=str(change.box(told.booking)),
        client=told.booking.client.name,
        channel=message.channel,
        address=message.address,
        subject=message.subject,
        text=message.text,
        passed_over=why_phoned if message.traits.is_spoken else "",
    )


def make_change(request: HttpRequest, change: DiaryChange, now: datetime) -> list[Told]:
    """Make it, telling those whose box was ticked."""
    if not change.notifies:
        return told_of(change.act(None))
    told = told_of(change.act(frozenset(primary_keys(unticked_boxes(request)))))
    remember_sending(request, now=now)
    return told


def told_of(bookings: Sequence[Booking]) -> list[Told]:
    return [Told(booking, newest_booking_message(booking)) for booking in bookings]


def report_told(request: HttpRequest, done: str, told: Sequence[Told]) -> None:
    """What happened, and who learns of it by what; whom nobody told is named."""
    sent = [each.message for each in told if each.message]
    silent = [str(each.booking.client) for each in told if not each.message]
    words = f" {sent_in_words(sent)}." if sent else ""
    if silent:
        names = ", ".join(dict.fromkeys(silent))
        messages.warning(request, f"{done}{words} No message goes to {names}: tell them yourself.")
    else:
        messages.success(request, f"{done}{words}")
