"""Tidying up after senders that died, and after messages whose time has passed."""

from dataclasses import dataclass

from django.db.models.functions import Now

from clients.models import Message
from clients.models.message import State
from clients.outbox import steps

DIED_BEFORE = "The sender stopped before it handed anything over."
DIED_AFTER = "The sender stopped while handing it over, so nobody knows whether it went out."


@dataclass(frozen=True)
class Swept:
    """How many rows a sweep moved."""

    requeued: int
    unconfirmed: int
    expired: int


def sweep() -> Swept:
    """Leases that ran out: claimed goes back to the queue, transmitting before a person. Expired: cancelled."""
    ran_out = Message.objects.filter(lease_until__lt=Now())
    return Swept(
        requeued=steps.move(ran_out.filter(state=State.CLAIMED), State.QUEUED, note=DIED_BEFORE),
        unconfirmed=steps.move(
            ran_out.filter(state=State.TRANSMITTING), State.UNCONFIRMED, note=DIED_AFTER, reply=DIED_AFTER
        ),
        expired=steps.move(
            Message.objects.filter(state=State.QUEUED, expires_at__lte=Now()),
            State.CANCELLED,
            note="It was not sent in time.",
            reply="It was not sent in time.",
        ),
    )
