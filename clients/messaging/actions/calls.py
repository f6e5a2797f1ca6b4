"""Deeds about calls: what came of one moves its message, and what was said takes effect at once."""

from datetime import datetime, timedelta
from typing import Any

from django.db import transaction

from clients.messaging.models import CallNote, Message, ToDo
from clients.messaging.models.message import State
from clients.messaging.outbox import decisions, transitions, unsubscribing
from clients.models import ContactPoint, User
from clients.models.channel import Channel

Result = CallNote.Result
PAUSES = [timedelta(hours=4), timedelta(days=1), timedelta(days=3)]  # after the first, second and third try in vain
STOPPED = "Asked by telephone not to be called."
WRONG = "Wrong number, as whoever answered said."


@transaction.atomic
def note_call(*, message: Message, result: str, note: str, by: User, now: datetime) -> bool:
    """Write down how it ended and move the message. False, and nothing changed, if it is no call to be made now."""
    rows = Message.objects.filter(pk=message.pk, channel=Channel.CALL, state=State.QUEUED, held_at=None)
    locked = rows.select_for_update(of=("self",)).select_related("client").first()
    if locked is None:
        return False
    CallNote.objects.create(message=locked, at=now, by=by, result=result, note=note)
    ENDED[Result(result)](locked, f"{Result(result).label}. {note}".strip()[:500], by, now)
    return True


def reached(message: Message, words: str, by: User, now: datetime) -> None:
    move(message, State.DELIVERED, words, by, now, accepted_at=now)


def left_word(message: Message, words: str, by: User, now: datetime) -> None:
    move(message, State.ACCEPTED, words, by, now, accepted_at=now)


def no_answer(message: Message, words: str, by: User, now: datetime) -> None:
    """Again later; after the fourth try somebody decides what to do instead."""
    tries = message.attempts + 1
    if tries > len(PAUSES):
        move(message, State.FAILED, f"Nobody answered in {tries} tries.", by, now, attempts=tries)
    else:
        later = now + PAUSES[tries - 1]
        move(message, State.QUEUED, words, by, now, attempts=tries, not_before=later)


def wrong(message: Message, words: str, by: User, now: datetime) -> None:
    """The number is not used any more, by any channel, until somebody puts it right."""
    move(message, State.FAILED, WRONG, by, now)
    points = ContactPoint.objects.filter(client=message.client, normalized=message.address, suspended_at=None)
    for point in points:
        point.suspended_at, point.suspended_why = now, WRONG
        point.save(update_fields=["suspended_at", "suspended_why"])
    decisions.cancel(messages=message.client.messages.filter(address=message.address), why=WRONG, now=now, by=by)
    to_do = ToDo(
        kind=ToDo.Kind.ADDRESS, key=f"number/{message.pk}", client=message.client, message=message,
        words=f"Find out the number of {message.client.name}: {message.address} is wrong.",
        url=f"/clients/{message.client_id}/edit/",
    )  # fmt: skip
    ToDo.objects.bulk_create([to_do], ignore_conflicts=True)


def stop(message: Message, words: str, by: User, now: datetime) -> None:
    """In the same transaction nobody calls this number any more."""
    people = unsubscribing.people_at(message.address) or [message.client]
    unsubscribing.stop(
        channel=Channel.CALL, address=message.address, people=people, why=STOPPED, now=now, by=by,
        evidence=f"Call of {now:%Y-%m-%d %H:%M} UTC: {words}",
    )  # fmt: skip


def move(message: Message, to: str, words: str, by: User, now: datetime, **changes: Any) -> None:
    transitions.move(Message.objects.filter(pk=message.pk), to, note=words, by=by, at=now, reply=words, **changes)


ENDED = {
    Result.REACHED: reached,
    Result.LEFT_WORD: left_word,
    Result.NO_ANSWER: no_answer,
    Result.WRONG: wrong,
    Result.STOP: stop,
}
