"""What a person sent with one press, and taking it back before it has left.

Nothing of a sending is due before its time is over, so no sender can have it; taking it back is one
guarded change of those of its messages that have not been handed over. A message that was taken
back gives its key up, so that the same may be sent again (docs/decisions/0034).
"""

from collections.abc import Callable, Collection
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import cast

from django.db import transaction
from django.db.models import CharField, F, Value
from django.db.models.functions import Cast, Concat, Substr

from clients.events import messages_taken_back
from clients.messaging.models import Message, Sending, SendingRules
from clients.messaging.outbox.transitions import Transition, apply_transition
from clients.models import User

TAKEN_BACK_NOTE = "Taken back before it left."


@dataclass(frozen=True)
class TakenBack:
    """How many messages were stopped, and how many had left already."""

    stopped: int
    gone: int


def open_sending(
    *, by: User | None, now: datetime, at_most_minutes: int | None = None
) -> Sending | None:
    """What this person sends at this moment; None for what no person sends. What hurries waits no
    longer than `at_most_minutes`."""
    if by is None:
        return None
    minutes = SendingRules.current().take_back_minutes
    if at_most_minutes is not None:
        minutes = min(minutes, at_most_minutes)
    held_until = now + timedelta(minutes=minutes)
    made, _ = Sending.objects.get_or_create(by=by, at=now, defaults={"held_until": held_until})
    return made


@transaction.atomic
def take_back_sending(*, sending: Sending, by: User, now: datetime) -> TakenBack:
    """Cancel what of it has not been handed over, and undo what was noted with it.

    A second time changes nothing. Receivers of the event lock their rows first, as everybody does
    who cancels messages, and afterwards undo what belongs to those that were stopped.
    """
    messages = Message.objects.filter(sending=sending)
    answers = messages_taken_back.send(Sending, messages=list(messages), by=by, now=now)
    waiting = messages.filter(state__in=Transition.TAKE_BACK.starts).order_by("pk")
    ids = list(waiting.select_for_update(of=("self",)).values_list("pk", flat=True))
    number = Cast("pk", CharField())
    stopped = apply_transition(
        messages.filter(pk__in=ids),
        Transition.TAKE_BACK,
        note=TAKEN_BACK_NOTE,
        by=by,
        at=now,
        reply=TAKEN_BACK_NOTE,
        idempotency_key=Concat(F("idempotency_key"), Value("/taken back/"), number),
        message_id=Concat(Value("<taken-back-"), number, Value("."), Substr("message_id", 2)),
        unsubscribe_hash=None,
    )
    undoings = cast(list[tuple[object, Callable[[Collection[int]], object]]], answers)
    for _, undo in undoings:
        undo(ids)
    Sending.objects.filter(pk=sending.pk, taken_back_at=None).update(
        taken_back_at=now, taken_back_by=by
    )
    left = messages.exclude(reply=TAKEN_BACK_NOTE).exclude(state="cancelled").count()
    return TakenBack(stopped, left)
