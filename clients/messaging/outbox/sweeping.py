"""Tidying up after senders that died, and after messages whose time has passed."""

from dataclasses import dataclass

from django.db.models import Exists, OuterRef, Q
from django.db.models.functions import Now

from clients.messaging.models import Message
from clients.messaging.models.message import MessageQuerySet, State
from clients.messaging.outbox.leases import ATTEMPTS_WITHOUT_LAST
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
    first, behind = abandoned_messages()
    late = Message.objects.filter(expires_at__lte=Now())
    return SweepCounts(
        requeued=apply_transition(claimed, Transition.RECOVER, note=DIED_BEFORE)
        + apply_transition(
            behind, Transition.RECOVER, note=DIED_BEFORE, attempts=ATTEMPTS_WITHOUT_LAST
        ),
        unconfirmed=apply_transition(first, Transition.ABANDON, note=DIED_AFTER, reply=DIED_AFTER),
        expired=apply_transition(late, Transition.EXPIRE, note=EXPIRED_NOTE, reply=EXPIRED_NOTE),
    )


def abandoned_messages() -> tuple[MessageQuerySet, MessageQuerySet]:
    """Of each dead sender the message it may have handed over, and those behind it, which it cannot
    have.

    A sender keeps to the order of its batch, and hands nothing over before the one in front is
    written down.
    """
    batch = Message.objects.filter(state=State.TRANSMITTING, lease_token=OuterRef("lease_token"))
    is_in_front = Q(not_before__lt=OuterRef("not_before")) | Q(
        not_before=OuterRef("not_before"), pk__lt=OuterRef("pk")
    )
    dead = Message.objects.filter(state=State.TRANSMITTING, lease_until__lt=Now())
    dead = dead.exclude(Exists(batch.filter(lease_until__gte=Now())))
    has_one_in_front = Exists(batch.filter(is_in_front))
    return dead.exclude(has_one_in_front), dead.filter(has_one_in_front)
