"""Writing down how a try ended. Every change is guarded by the lease, so that writing it twice
changes nothing."""

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction
from django.db.models.functions import Now
from django.utils import timezone

from clients.messaging.channels.transport import SendOutcome, SendResult
from clients.messaging.models import Message
from clients.messaging.models.message import State
from clients.messaging.outbox import opt_out, transitions
from clients.messaging.outbox.permission import reasons_not_to_send
from clients.models import Business

MIN_RETRY_PAUSE = timedelta(minutes=1)
MAX_RETRY_PAUSE = timedelta(hours=4)
MAX_ATTEMPTS = 12  # spread over more than a day
OPTED_OUT_AT_SENDING = "The gateway says that this number asked to hear no more."


def record_outcome(business: Business, message: Message, outcome: SendOutcome) -> str:
    """The word of the tally under which it counts;
    empty if the row was no longer ours or went back untouched."""
    reply = outcome.reply[:500]
    if outcome.result is SendResult.ACCEPTED:
        return record_acceptance(message, outcome)
    if outcome.result is SendResult.NOT_NOW:
        return reschedule_attempt(message, reply)
    if outcome.result is SendResult.REFUSED:
        return record_refusal(message, reply, has_opted_out=outcome.has_opted_out)
    if outcome.result is SendResult.UNKNOWN:
        return transition_leased(message, State.UNCONFIRMED, "unconfirmed", reply)
    return handle_withheld(business, message)


def transition_leased(message: Message, to: str, tally_key: str, reply: str) -> str:
    return (
        tally_key
        if transitions.apply_transition(
            transitions.leased_row(message), to, note=reply, reply=reply
        )
        else ""
    )


@transaction.atomic
def record_refusal(message: Message, reply: str, *, has_opted_out: bool) -> str:
    """For good. If the far side knows that this address wants to hear no more, then so do we from
    now on."""
    if has_opted_out:
        opt_out.opt_out_address(
            channel=message.channel,
            address=message.address,
            people=[message.client],
            why=OPTED_OUT_AT_SENDING,
            evidence=f"Message {message.message_id}: {reply}",
            now=timezone.now(),
        )
    return transition_leased(message, State.FAILED, "failed", reply)


def record_acceptance(message: Message, outcome: SendOutcome) -> str:
    """The slow way, for when the fast one was cut off."""
    changes: dict[str, Any] = {
        "reply": outcome.reply,
        "provider_id": outcome.provider_id,
        "accepted_at": Now(),
    }
    if not transitions.apply_transition(
        transitions.leased_row(message), State.ACCEPTED, note=outcome.reply, **changes
    ):
        transitions.accept_late(message)
    return "accepted"


def reschedule_attempt(message: Message, reply: str) -> str:
    """Refused for now: again later, ever more rarely, and not for ever."""
    attempts = message.attempts + 1
    if attempts >= MAX_ATTEMPTS:
        return transition_leased(
            message, State.FAILED, "failed", f"Given up after {attempts} tries. {reply}"[:500]
        )
    pause = min(MIN_RETRY_PAUSE * 4 ** (attempts - 1), MAX_RETRY_PAUSE)
    rows = transitions.leased_row(message)
    return (
        "put_off"
        if transitions.apply_transition(
            rows, State.QUEUED, note=reply, reply=reply, not_before=Now() + pause
        )
        else ""
    )


def defer_until(message: Message, moment: datetime | str) -> None:
    """It is quiet time at the client's place: later, and that was no try.
    With no hour left it is the owner's turn."""
    if isinstance(moment, str):
        transition_leased(message, State.FAILED, "failed", moment)
    else:
        note = f"Quiet hours there until {moment:%Y-%m-%d %H:%M} UTC."
        transitions.apply_transition(
            transitions.leased_row(message), State.QUEUED, note=note, not_before=moment
        )


def handle_withheld(business: Business, message: Message) -> str:
    """The last look said no: withdrawn, expired, held, or the lease is no longer ours."""
    today = business.today(timezone.now())
    why = reasons_not_to_send(business, [message], today=today).get(message.pk)
    if why:
        return transition_leased(message, State.CANCELLED, "cancelled", why)
    requeue_leased([message])
    return ""


def requeue_leased(batch: Iterable[Message]) -> None:
    """Nothing was handed over: any sender may take them."""
    tokens = {message.pk: message.lease_token for message in batch}
    if tokens:
        moving = [State.CLAIMED, State.TRANSMITTING]
        rows = Message.objects.filter(
            pk__in=tokens, lease_token__in=tokens.values(), state__in=moving
        )
        transitions.apply_transition(rows, State.QUEUED, attempts=transitions.ATTEMPTS_WITHOUT_LAST)
