"""Messages in the hands of a sender: the lease they are claimed under, and the fast path.

Each statement is one guarded change and one row of its history, by the table of transitions. Times
of leases are the database's, so that several hosts need not agree on a clock
(docs/decisions/0029). What a dead sender leaves behind, and messages whose time has passed, are
swept up.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import timedelta

from django.db.models import Case, F, IntegerField, When, prefetch_related_objects
from django.db.models.functions import Now

from clients.messaging.models import Message
from clients.messaging.models.message import MessageQuerySet, State
from clients.messaging.outbox.permission import REFUSAL_SQL
from clients.messaging.outbox.transitions import (
    Transition,
    apply_transition,
    write_message_events,
)

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


LATE_ACCEPTANCE_NOTE = "It was taken, after the sender's time was up."
CLAIM_LEASE = timedelta(minutes=2)
ATTEMPTS_WITHOUT_LAST = (
    Case(  # the tries of what was on the point of being handed over, and was not
        When(state=State.TRANSMITTING, attempts__gt=0, then=F("attempts") - 1),
        default="attempts",
        output_field=IntegerField(),
    )
)

BOOK_IS_HELD_SQL = "EXISTS (SELECT FROM clients_business WHERE sending_held_at IS NOT NULL)"
CLAIM_SQL = f"""
WITH due AS (
    SELECT id FROM clients_message
    WHERE channel = %(channel)s AND state IN {Transition.CLAIM.starts_sql}
        AND held_at IS NULL AND not_before <= now() AND NOT {BOOK_IS_HELD_SQL}
    ORDER BY not_before, id LIMIT %(size)s FOR UPDATE SKIP LOCKED
), moved AS (
    UPDATE clients_message m
    SET state = '{Transition.CLAIM.end}', lease_token = (SELECT gen_random_uuid()),
        lease_until = clock_timestamp() + %(lease)s
    FROM due WHERE m.id = due.id RETURNING m.*
), noted AS (
    INSERT INTO clients_messageevent (message_id, at, state, note) SELECT id, clock_timestamp(),
        state, '' FROM moved
)
SELECT *, EXISTS (SELECT FROM clients_attachment a WHERE a.message_id = moved.id) AS has_files
FROM moved ORDER BY not_before, id
"""  # noqa: S608 - made of constants
# The two steps of each message that goes out, sent ahead of their answer (see ledger.py) and
# guarded by the lease. `state || ''` keeps the planner on the primary key: with old statistics it
# would walk through all that there is.
TRANSMIT_SQL = f"""
WITH moved AS (
    UPDATE clients_message m
    SET state = '{Transition.TRANSMIT.end}', attempts = attempts + 1,
        lease_until = clock_timestamp() + $3::interval
    WHERE m.id = $1::bigint AND m.lease_token = $2::uuid
        AND m.state || '' IN {Transition.TRANSMIT.starts_sql}
        AND m.lease_until > clock_timestamp() AND m.held_at IS NULL
        AND ({REFUSAL_SQL.format(hash="$4", normalized="$5", today="$6::date")}) IS NULL
    RETURNING m.id
)
INSERT INTO clients_messageevent (message_id, at, state, note)
SELECT id, clock_timestamp(), '{Transition.TRANSMIT.end}', '' FROM moved RETURNING message_id
"""  # noqa: S608 - made of constants
ACCEPT_SQL = f"""
WITH moved AS (
    UPDATE clients_message m
    SET state = '{Transition.ACCEPT.end}', accepted_at = clock_timestamp(), reply = $3,
        provider_id = $4, lease_token = NULL, lease_until = NULL
    WHERE id = $1::bigint AND lease_token = $2::uuid
        AND state || '' IN {Transition.ACCEPT.starts_sql} RETURNING id
)
INSERT INTO clients_messageevent (message_id, at, state, note)
SELECT id, clock_timestamp(), '{Transition.ACCEPT.end}', $3 FROM moved RETURNING message_id
"""  # noqa: S608 - made of constants
PIPELINE_STATEMENTS = {"transmit": TRANSMIT_SQL, "accept": ACCEPT_SQL}


def claim_messages(channel: str, size: int) -> list[Message]:
    """Take messages that are due, with what is attached;
    no other sender gets them while the lease lasts.

    The files come now, in one query for those that have any: once the first message is on its way
    no query may run (see ledger.py).
    """
    taken = list(
        Message.objects.raw(CLAIM_SQL, {"channel": channel, "size": size, "lease": CLAIM_LEASE})
    )
    # `has_files` is a column of CLAIM_SQL
    with_files = [message for message in taken if message.has_files]  # type: ignore[attr-defined]
    if with_files:
        prefetch_related_objects(with_files, "attachments")
    return taken


def leased_row(message: Message) -> MessageQuerySet:
    """The row, as long as it is still ours."""
    return Message.objects.filter(pk=message.pk, lease_token=message.lease_token)


def requeue_leased(batch: Iterable[Message]) -> None:
    """Nothing was handed over: any sender may take them."""
    tokens = {message.pk: message.lease_token for message in batch}
    if tokens:
        rows = Message.objects.filter(pk__in=tokens, lease_token__in=tokens.values())
        apply_transition(rows, Transition.GIVE_BACK, attempts=ATTEMPTS_WITHOUT_LAST)


def accept_late(message: Message) -> None:
    """The server has it, but our lease had run out: evidence that closes the unconfirmed row."""
    rows = Message.objects.filter(pk=message.pk, message_id=message.message_id)
    if not apply_transition(
        rows,
        Transition.ACCEPT_LATE,
        note=LATE_ACCEPTANCE_NOTE,
        reply=LATE_ACCEPTANCE_NOTE,
        accepted_at=Now(),
    ):
        now = Message.objects.values_list("state", flat=True).get(pk=message.pk)
        if now not in {
            State.ACCEPTED,
            State.DELIVERED,
        }:  # else it was written down after all, or reported since
            write_message_events([message.pk], now, note=LATE_ACCEPTANCE_NOTE)
