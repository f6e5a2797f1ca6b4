"""Tidying up after senders that died, and after messages whose time has passed."""

from dataclasses import dataclass

from django.db.models.functions import Now

from clients.messaging.models import Message
from clients.messaging.models.message import State
from clients.messaging.outbox.transitions import Transition, apply_transition

EXPIRED_NOTE = "It was not sent in time."
DIED_BEFORE = "The sender stopped before it handed anything over."
DIED_AFTER = "The sender stopped while handing it over, so nobody knows whether it went out."


@dataclass(frozen=True)
class SweepCounts:
    """How many rows a sweep moved."""

    requeued: int
    unconfirmed: int
    expired: int


def sweep() -> SweepCounts:
    """Leases that ran out: claimed goes back to the queue, transmitting before a person. Expired:
    cancelled."""
    claimed = Message.objects.filter(state=State.CLAIMED, lease_until__lt=Now())
    abandoned = Message.objects.filter(state=State.TRANSMITTING, lease_until__lt=Now())
    late = Message.objects.filter(expires_at__lte=Now())
    return SweepCounts(
        requeued=apply_transition(claimed, Transition.RECOVER, note=DIED_BEFORE),
        unconfirmed=apply_transition(
            abandoned, Transition.ABANDON, note=DIED_AFTER, reply=DIED_AFTER
        ),
        expired=apply_transition(late, Transition.EXPIRE, note=EXPIRED_NOTE, reply=EXPIRED_NOTE),
    )
