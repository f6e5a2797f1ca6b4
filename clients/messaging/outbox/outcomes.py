"""Writing down how a try ended. Every change is guarded by the lease, so that writing it twice changes nothing."""

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction
from django.db.models.functions import Now
from django.utils import timezone

from clients.messaging.channels.contract import Outcome, Result
from clients.messaging.models import Message
from clients.messaging.models.message import State
from clients.messaging.outbox import transitions, unsubscribing
from clients.messaging.outbox.permission import why_not
from clients.models import Business

FIRST_PAUSE = timedelta(minutes=1)
LONGEST_PAUSE = timedelta(hours=4)
MOST_ATTEMPTS = 12  # spread over more than a day
OPTED_OUT = "The gateway says that this number asked to hear no more."


def write(business: Business, message: Message, outcome: Outcome) -> str:
    """The word of the tally under which it counts; empty if the row was no longer ours or went back untouched."""
    reply = outcome.reply[:500]
    if outcome.result is Result.ACCEPTED:
        return accept(message, outcome)
    if outcome.result is Result.NOT_NOW:
        return put_off(message, reply)
    if outcome.result is Result.REFUSED:
        return refuse(message, reply, has_opted_out=outcome.has_opted_out)
    if outcome.result is Result.UNKNOWN:
        return move(message, State.UNCONFIRMED, "unconfirmed", reply)
    return withhold(business, message)


def move(message: Message, to: str, word: str, reply: str) -> str:
    return word if transitions.move(transitions.leased(message), to, note=reply, reply=reply) else ""


@transaction.atomic
def refuse(message: Message, reply: str, *, has_opted_out: bool) -> str:
    """For good. If the far side knows that this address wants to hear no more, then so do we from now on."""
    if has_opted_out:
        unsubscribing.stop(
            channel=message.channel, address=message.address, people=[message.client], why=OPTED_OUT,
            evidence=f"Message {message.message_id}: {reply}", now=timezone.now(),
        )  # fmt: skip
    return move(message, State.FAILED, "failed", reply)


def accept(message: Message, outcome: Outcome) -> str:
    """The slow way, for when the fast one was cut off."""
    changes: dict[str, Any] = {"reply": outcome.reply, "provider_id": outcome.provider_id, "accepted_at": Now()}
    if not transitions.move(transitions.leased(message), State.ACCEPTED, note=outcome.reply, **changes):
        transitions.accept_late(message)
    return "accepted"


def put_off(message: Message, reply: str) -> str:
    """Refused for now: again later, ever more rarely, and not for ever."""
    attempts = message.attempts + 1
    if attempts >= MOST_ATTEMPTS:
        return move(message, State.FAILED, "failed", f"Given up after {attempts} tries. {reply}"[:500])
    pause = min(FIRST_PAUSE * 4 ** (attempts - 1), LONGEST_PAUSE)
    rows = transitions.leased(message)
    return "put_off" if transitions.move(rows, State.QUEUED, note=reply, reply=reply, not_before=Now() + pause) else ""


def wait_for(message: Message, moment: datetime | str) -> None:
    """It is quiet time at the client's place: later, and that was no try. With no hour left it is the owner's turn."""
    if isinstance(moment, str):
        move(message, State.FAILED, "failed", moment)
    else:
        note = f"Quiet hours there until {moment:%Y-%m-%d %H:%M} UTC."
        transitions.move(transitions.leased(message), State.QUEUED, note=note, not_before=moment)


def withhold(business: Business, message: Message) -> str:
    """The last look said no: withdrawn, expired, held, or the lease is no longer ours."""
    why = why_not(business, [message]).get(message.pk)
    if why:
        return move(message, State.CANCELLED, "cancelled", why)
    give_back([message])
    return ""


def give_back(batch: Iterable[Message]) -> None:
    """Nothing was handed over: any sender may take them."""
    tokens = {message.pk: message.lease_token for message in batch}
    if tokens:
        moving = [State.CLAIMED, State.TRANSMITTING]
        rows = Message.objects.filter(pk__in=tokens, lease_token__in=tokens.values(), state__in=moving)
        transitions.move(rows, State.QUEUED, attempts=transitions.UNTRIED)
