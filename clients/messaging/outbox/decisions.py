"""What people decide about messages. Each deed is guarded by the state it starts from: a second click does nothing."""

from collections.abc import Iterable
from datetime import datetime

from django.db import transaction

from clients.messaging import message_keys
from clients.messaging.models import Message, TextGateway
from clients.messaging.models.message import MessageQuerySet, State
from clients.messaging.outbox import transitions
from clients.models import Business, User
from clients.models.channel import Channel

NOT_GONE = [State.QUEUED, State.CLAIMED]
AFTER_A_FAILURE = [State.UNCONFIRMED, State.FAILED, State.BOUNCED]
CONFIRMED = "Somebody made sure that it went out."
RETURNED = "The post brought the letter back."


def of(messages: Iterable[Message]) -> MessageQuerySet:
    return Message.objects.filter(pk__in=[message.pk for message in messages])


def cancel(*, messages: Iterable[Message], why: str, now: datetime, by: User | None) -> int:
    """Stop what has not gone out; what is being handed over cannot be called back. How many were stopped."""
    rows = of(messages).filter(state__in=NOT_GONE)
    return transitions.move(rows, State.CANCELLED, note=why, by=by, at=now, reply=why[:500])


def set_aside(*, message: Message, now: datetime, by: User) -> bool:
    """Leave a failed, bounced or unconfirmed message at that: nobody sends it again."""
    rows = of([message]).filter(state__in=AFTER_A_FAILURE)
    return bool(transitions.move(rows, State.CANCELLED, note="Left at that.", by=by, at=now))


def confirm(*, message: Message, now: datetime, by: User) -> bool:
    """An unconfirmed message did go out, as somebody found out."""
    rows = of([message]).filter(state=State.UNCONFIRMED)
    return bool(transitions.move(rows, State.ACCEPTED, note=CONFIRMED, by=by, at=now, accepted_at=now))


def send_again(*, message: Message, now: datetime, by: User) -> bool:
    """Queue it once more, on a person's word only, under a new Message-ID so that no mailbox drops it as known."""
    new_id = next_id(message)
    rows = of([message]).filter(state__in=AFTER_A_FAILURE, message_id=message.message_id)
    note = "To be sent again."
    return bool(
        transitions.move(
            rows, State.QUEUED, note=note, by=by, at=now, message_id=new_id, attempts=0, reply="", not_before=now
        )
    )


def next_id(message: Message) -> str:
    """An unconfirmed text message keeps its id where the gateway sends a repeated reference only once."""
    gateway = TextGateway.current() if message.channel == Channel.TEXT else None
    if gateway and gateway.honours_reference and message.state == State.UNCONFIRMED:
        return message.message_id
    number = message_keys.sending_number(message.message_id) + 1
    return message_keys.message_id(Business.objects.get(), message.idempotency_key, sending=number)


def came_back(*, message: Message, now: datetime, by: User) -> bool:
    """A letter that the post returned."""
    rows = of([message]).filter(channel=Channel.LETTER, state=State.ACCEPTED)
    return bool(transitions.move(rows, State.BOUNCED, note=RETURNED, by=by, at=now, reply=RETURNED))


def hold(*, message: Message, now: datetime, by: User) -> bool:
    """Keep it back until it is released; a sender that has just claimed it looks once more before handing over."""
    return set_held(of([message]).filter(state__in=NOT_GONE, held_at=None), now, note="Held back.", by=by, at=now)


def release(*, message: Message, now: datetime, by: User) -> bool:
    return set_held(of([message]).filter(held_at__isnull=False), None, note="Released.", by=by, at=now)


@transaction.atomic
def set_held(rows: MessageQuerySet, held_at: datetime | None, *, note: str, by: User, at: datetime) -> bool:
    changed = rows.select_for_update(of=("self",)).values_list("id", "state").first()
    if changed is None:
        return False
    Message.objects.filter(pk=changed[0]).update(held_at=held_at)
    transitions.write_down([changed[0]], changed[1], note=note, by=by, at=at)
    return True
