"""What people decide about messages. Each is guarded by the states it starts from:
a second click does nothing."""

from collections.abc import Iterable
from datetime import datetime

from django.db import transaction

from clients.messaging import message_keys
from clients.messaging.models import Message, TextGateway
from clients.messaging.models.message import MessageQuerySet, State
from clients.messaging.outbox.transitions import (
    Transition,
    apply_transition,
    write_message_events,
)
from clients.models import Business, User, channels_with

CONFIRMED_NOTE = "Somebody made sure that it went out."
RETURNED_LETTER_NOTE = "The post brought the letter back."


def message_rows(messages: Iterable[Message]) -> MessageQuerySet:
    return Message.objects.filter(pk__in=[message.pk for message in messages])


def cancel_unsent(*, messages: Iterable[Message], why: str, now: datetime, by: User | None) -> int:
    """Stop what has not gone out; what is being handed over cannot be called back.
    How many were stopped."""
    rows = message_rows(messages)
    return apply_transition(rows, Transition.CANCEL, note=why, by=by, at=now, reply=why[:500])


def dismiss_message(*, message: Message, now: datetime, by: User) -> bool:
    """Leave a failed, bounced or unconfirmed message at that: nobody sends it again."""
    row = message_rows([message])
    return bool(apply_transition(row, Transition.DISMISS, note="Left at that.", by=by, at=now))


def confirm_sent(*, message: Message, now: datetime, by: User) -> bool:
    """An unconfirmed message did go out, as somebody found out."""
    row = message_rows([message])
    return bool(
        apply_transition(
            row, Transition.CONFIRM, note=CONFIRMED_NOTE, by=by, at=now, accepted_at=now
        )
    )


def resend_message(*, message: Message, now: datetime, by: User) -> bool:
    """Queue it once more, on a person's word only, under a new Message-ID so that no mailbox drops
    it as known."""
    new_id = next_message_id(message)
    row = message_rows([message]).filter(message_id=message.message_id)
    return bool(
        apply_transition(
            row,
            Transition.RESEND,
            note="To be sent again.",
            by=by,
            at=now,
            message_id=new_id,
            attempts=0,
            reply="",
            not_before=now,
        )
    )


def next_message_id(message: Message) -> str:
    """An unconfirmed text message keeps its id where the gateway sends a repeated reference only
    once."""
    gateway = TextGateway.current() if message.traits.through_gateway else None
    if gateway and gateway.honours_reference and message.state == State.UNCONFIRMED:
        return message.message_id
    number = message_keys.sending_number(message.message_id) + 1
    return message_keys.make_message_id(
        Business.objects.get(), message.idempotency_key, sending=number
    )


def mark_letter_returned(*, message: Message, now: datetime, by: User) -> bool:
    """A letter that the post returned."""
    row = message_rows([message]).filter(channel__in=channels_with("is_by_post"))
    return bool(
        apply_transition(
            row,
            Transition.RETURN_LETTER,
            note=RETURNED_LETTER_NOTE,
            by=by,
            at=now,
            reply=RETURNED_LETTER_NOTE,
        )
    )


def hold_message(*, message: Message, now: datetime, by: User) -> bool:
    """Keep it back until it is released; a sender that has just claimed it looks once more before
    handing over."""
    return set_held(
        message_rows([message]).filter(state__in=Transition.CANCEL.starts, held_at=None),
        now,
        note="Held back.",
        by=by,
        at=now,
    )


def release_message(*, message: Message, now: datetime, by: User) -> bool:
    return set_held(
        message_rows([message]).filter(held_at__isnull=False), None, note="Released.", by=by, at=now
    )


@transaction.atomic
def set_held(
    rows: MessageQuerySet, held_at: datetime | None, *, note: str, by: User, at: datetime
) -> bool:
    changed = rows.select_for_update(of=("self",)).values_list("id", "state").first()
    if changed is None:
        return False
    Message.objects.filter(pk=changed[0]).update(held_at=held_at)
    write_message_events([changed[0]], changed[1], note=note, by=by, at=at)
    return True
