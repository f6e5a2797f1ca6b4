"""Noting calls: what came of one moves its message, and what was said takes effect at once."""

from datetime import datetime, timedelta
from typing import Any

from django.db import transaction

from clients.messaging.actions.to_dos import add_to_do
from clients.messaging.channels.calls import waiting_calls
from clients.messaging.models import CallNote, Message, ToDo
from clients.messaging.outbox import Transition, apply_transition, decisions, opt_out
from clients.models import ContactPoint, User

CallResult = CallNote.Result
RETRY_PAUSES = [
    timedelta(hours=4),
    timedelta(days=1),
    timedelta(days=3),
]  # after the first, second and third try in vain
CALL_STOP_REASON = "Asked by telephone not to be called."
WRONG_NUMBER_REASON = "Wrong number, as whoever answered said."


@transaction.atomic
def record_call_result(
    *, message: Message, result: str, note: str, by: User, now: datetime
) -> bool:
    """Write down how it ended and move the message.
    False, and nothing changed, if it is no call to be made now."""
    rows = waiting_calls().filter(pk=message.pk, held_at=None)
    locked = rows.select_for_update(of=("self",)).select_related("client").first()
    if locked is None:
        return False
    CallNote.objects.create(message=locked, at=now, by=by, result=result, note=note)
    RESULT_HANDLERS[CallResult(result)](
        locked, f"{CallResult(result).label}. {note}".strip()[:500], by, now
    )
    return True


def mark_reached(message: Message, words: str, by: User, now: datetime) -> None:
    apply_call_result(message, Transition.REACH_BY_CALL, words, by, now, accepted_at=now)


def mark_left_message(message: Message, words: str, by: User, now: datetime) -> None:
    apply_call_result(message, Transition.LEAVE_WORD, words, by, now, accepted_at=now)


def retry_unanswered(message: Message, words: str, by: User, now: datetime) -> None:
    """Again later; after the fourth try somebody decides what to do instead."""
    tries = message.attempts + 1
    if tries > len(RETRY_PAUSES):
        apply_call_result(
            message,
            Transition.FAIL_TO_REACH,
            f"Nobody answered in {tries} tries.",
            by,
            now,
            attempts=tries,
        )
    else:
        later = now + RETRY_PAUSES[tries - 1]
        apply_call_result(
            message, Transition.CALL_AGAIN, words, by, now, attempts=tries, not_before=later
        )


def suspend_wrong_number(message: Message, words: str, by: User, now: datetime) -> None:
    """The number is not used any more, by any channel, until somebody puts it right."""
    apply_call_result(message, Transition.FAIL_TO_REACH, WRONG_NUMBER_REASON, by, now)
    points = ContactPoint.objects.filter(
        client=message.client, normalized=message.address, suspended_at=None
    )
    for point in points:
        point.suspended_at = now
        point.suspended_why = WRONG_NUMBER_REASON
        point.save(update_fields=["suspended_at", "suspended_why"])
    decisions.cancel_unsent(
        messages=message.client.messages.filter(address=message.address),
        why=WRONG_NUMBER_REASON,
        now=now,
        by=by,
    )
    matter = ToDo(
        kind=ToDo.Kind.ADDRESS,
        key=f"number/{message.pk}",
        client=message.client,
        message=message,
        words=f"Find out the number of {message.client.name}: {message.address} is wrong.",
        url=f"/clients/{message.client_id}/edit/",
    )
    add_to_do(matter=matter, now=now)


def stop_calls(message: Message, words: str, by: User, now: datetime) -> None:
    """In the same transaction nobody calls this number any more."""
    people = opt_out.clients_at_number(message.address) or [message.client]
    asked = opt_out.OptOut(
        channel=message.channel,
        address=message.address,
        people=people,
        why=CALL_STOP_REASON,
        evidence=f"Call of {now:%Y-%m-%d %H:%M} UTC: {words}",
    )
    opt_out.opt_out_address(asked=asked, now=now, by=by)


def apply_call_result(
    message: Message, transition: Transition, words: str, by: User, now: datetime, **changes: Any
) -> None:
    row = Message.objects.filter(pk=message.pk)
    apply_transition(row, transition, note=words, by=by, at=now, reply=words, **changes)


RESULT_HANDLERS = {
    CallResult.REACHED: mark_reached,
    CallResult.LEFT_WORD: mark_left_message,
    CallResult.NO_ANSWER: retry_unanswered,
    CallResult.WRONG: suspend_wrong_number,
    CallResult.STOP: stop_calls,
}
