"""Writing down how a try ended.

Every change of a message is guarded by the lease, so that writing it twice changes nothing.
"""

from datetime import datetime, timedelta
from typing import Any

from django.db import transaction
from django.db.models.functions import Now
from django.utils import timezone

from clients.messaging.channels import SendOutcome, SendResult
from clients.messaging.models import Message
from clients.messaging.outbox import leases, opt_out
from clients.messaging.outbox.permission import reasons_not_to_send
from clients.messaging.outbox.transitions import Transition, apply_transition
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
        return transition_leased(message, Transition.LOSE_ANSWER, reply)
    return handle_withheld(business, message)


def transition_leased(message: Message, transition: Transition, reply: str) -> str:
    """The state it ended in, which is a word of the tally."""
    row = leases.leased_row(message)
    return (
        transition.end.value if apply_transition(row, transition, note=reply, reply=reply) else ""
    )


@transaction.atomic
def record_refusal(message: Message, reply: str, *, has_opted_out: bool) -> str:
    """For good. If the gateway knows that this address wants to hear no more, then so do we from
    now on."""
    if has_opted_out:
        asked = opt_out.OptOut.of_recipient(
            message, OPTED_OUT_AT_SENDING, evidence=f"Message {message.message_id}: {reply}"
        )
        opt_out.opt_out_address(asked=asked, now=timezone.now())
    return transition_leased(message, Transition.REFUSE, reply)


def record_acceptance(message: Message, outcome: SendOutcome) -> str:
    """The slow way, for when the fast one was cut off."""
    changes: dict[str, Any] = {
        "reply": outcome.reply,
        "provider_id": outcome.provider_id,
        "accepted_at": Now(),
    }
    row = leases.leased_row(message)
    if not apply_transition(row, Transition.ACCEPT, note=outcome.reply, **changes):
        leases.accept_late(message)
    return "accepted"


def retry_pause(attempts: int) -> timedelta:
    """How long to wait after so many tries in vain."""
    pause: timedelta = MIN_RETRY_PAUSE * 4 ** (attempts - 1)
    return min(pause, MAX_RETRY_PAUSE)


def reschedule_attempt(message: Message, reply: str) -> str:
    """Refused for now: again later, ever more rarely, and not for ever."""
    attempts = message.attempts + 1
    if attempts >= MAX_ATTEMPTS:
        return transition_leased(
            message, Transition.REFUSE, f"Given up after {attempts} tries. {reply}"[:500]
        )
    pause = retry_pause(attempts)
    row = leases.leased_row(message)
    is_moved = apply_transition(
        row, Transition.POSTPONE, note=reply, reply=reply, not_before=Now() + pause
    )
    return "put_off" if is_moved else ""


def defer_until(message: Message, moment: datetime | str) -> None:
    """It is quiet time at the client's place: later, and that was no try.
    With no hour left it is the owner's turn."""
    if isinstance(moment, str):
        transition_leased(message, Transition.REFUSE, moment)
    else:
        note = f"Quiet hours there until {moment:%Y-%m-%d %H:%M} UTC."
        row = leases.leased_row(message)
        apply_transition(row, Transition.POSTPONE, note=note, not_before=moment)


def handle_withheld(business: Business, message: Message) -> str:
    """The last look said no: withdrawn, expired, held, or the lease is no longer ours."""
    today = business.today(timezone.now())
    why = reasons_not_to_send(business, [message], today=today).get(message.pk)
    if why:
        return transition_leased(message, Transition.FORBID, why)
    leases.requeue_leased([message])
    return ""
