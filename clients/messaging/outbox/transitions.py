"""The steps a message takes. Each is one guarded change and one row of its history, in one
transaction.

Times of leases are the database's, so that several hosts need not agree on a clock
(docs/decisions/0007).
"""

from datetime import datetime, timedelta
from typing import Any

from django.db import transaction
from django.db.models import Case, F, IntegerField, When, prefetch_related_objects
from django.db.models.functions import Now

from clients.messaging.models import Message, MessageEvent
from clients.messaging.models.message import MessageQuerySet, State
from clients.messaging.outbox.permission import REFUSAL_SQL
from clients.models import User

LATE_ACCEPTANCE_NOTE = "It was taken, after the sender's time was up."
CLAIM_LEASE = timedelta(minutes=2)
ATTEMPTS_WITHOUT_LAST = (
    Case(  # the tries of what was on the point of being handed over, and was not
        When(state=State.TRANSMITTING, attempts__gt=0, then=F("attempts") - 1),
        default="attempts",
        output_field=IntegerField(),
    )
)

CLAIM_SQL = """
WITH due AS (
    SELECT id FROM clients_message
    WHERE channel = %(channel)s AND state = 'queued' AND held_at IS NULL AND not_before <= now()
    ORDER BY not_before, id LIMIT %(size)s FOR UPDATE SKIP LOCKED
), moved AS (
    UPDATE clients_message m
    SET state = 'claimed', lease_token = (SELECT gen_random_uuid()),
        lease_until = clock_timestamp() + %(lease)s
    FROM due WHERE m.id = due.id RETURNING m.*
), noted AS (
    INSERT INTO clients_messageevent (message_id, at, state, note) SELECT id, clock_timestamp(),
        state, '' FROM moved
)
SELECT *, EXISTS (SELECT FROM clients_attachment a WHERE a.message_id = moved.id) AS has_files
FROM moved ORDER BY not_before, id
"""
# The steps of the fast path are sent ahead of their answer (see ahead.py), each guarded by the
# lease. LATERAL and `state || ''` keep the planner on the primary key: with old statistics it would
# walk through all that there is.
PERMIT_SQL = """
WITH fit AS (
    SELECT m.id
    FROM json_to_recordset($3::json) AS given (id bigint, hash text, spelling text)
    CROSS JOIN LATERAL (
        SELECT m.id FROM clients_message m
        WHERE m.id = given.id AND m.lease_token = $1::uuid AND m.state || '' = '{state}'
            AND m.lease_until > clock_timestamp() AND m.held_at IS NULL AND ({why_not}) IS NULL
        LIMIT 1 FOR UPDATE OF m
    ) m
), moved AS (
    UPDATE clients_message m SET {changes}lease_until = clock_timestamp() + $2::interval
    FROM fit WHERE m.id = fit.id RETURNING m.id
)
"""
GIVEN_REFUSAL_SQL = REFUSAL_SQL.format(
    hash="given.hash", normalized="given.spelling", today="$4::date"
)
BEGIN_TRANSMIT_SQL = PERMIT_SQL.format(
    changes="state = 'transmitting', attempts = attempts + 1, ",
    state="claimed",
    why_not=GIVEN_REFUSAL_SQL,
)
TRANSMIT_SQL = f"""{BEGIN_TRANSMIT_SQL}
INSERT INTO clients_messageevent (message_id, at, state, note)
SELECT id, clock_timestamp(), 'transmitting', '' FROM moved RETURNING message_id
"""  # noqa: S608 - made of constants
RECHECK_SQL = f"""{PERMIT_SQL.format(changes="", state="transmitting", why_not=GIVEN_REFUSAL_SQL)}
SELECT id FROM moved
"""  # noqa: S608 - made of constants
ACCEPT_SQL = """
WITH moved AS (
    UPDATE clients_message m
    SET state = 'accepted', accepted_at = clock_timestamp(), reply = $3, provider_id = $4,
        lease_token = NULL, lease_until = NULL
    WHERE id = $1::bigint AND lease_token = $2::uuid AND state || '' = 'transmitting' RETURNING id
)
INSERT INTO clients_messageevent (message_id, at, state, note)
SELECT id, clock_timestamp(), 'accepted', $3 FROM moved RETURNING message_id
"""
PIPELINE_STATEMENTS = {"transmit": TRANSMIT_SQL, "again": RECHECK_SQL, "accept": ACCEPT_SQL}


def claim_messages(channel: str, size: int) -> list[Message]:
    """Take messages that are due, with what is attached;
    no other sender gets them while the lease lasts.

    The files come now, in one query for those that have any: once the first message is on its way
    no query may run (see ahead.py).
    """
    taken = list(
        Message.objects.raw(CLAIM_SQL, {"channel": channel, "size": size, "lease": CLAIM_LEASE})
    )
    if with_files := [message for message in taken if message.has_files]:  # type: ignore[attr-defined] # of CLAIM
        prefetch_related_objects(with_files, "attachments")
    return taken


@transaction.atomic
def apply_transition(
    rows: MessageQuerySet,
    to: str,
    *,
    note: str = "",
    by: User | None = None,
    at: datetime | None = None,
    **changes: Any,
) -> int:
    """Bring the rows to a state, as far as the conditions of the query still hold once each row is
    locked."""
    ids = list(rows.order_by("id").select_for_update(of=("self",)).values_list("id", flat=True))
    Message.objects.filter(id__in=ids).update(
        state=to, lease_token=None, lease_until=None, **changes
    )
    write_message_events(ids, to, note=note, by=by, at=at)
    return len(ids)


def write_message_events(
    ids: list[int], state: str, *, note: str, by: User | None = None, at: datetime | None = None
) -> None:
    """A line in the history of each."""
    when = {"at": at} if at else {}
    MessageEvent.objects.bulk_create(
        [MessageEvent(message_id=pk, state=state, note=note[:500], by=by, **when) for pk in ids]
    )


def leased_row(message: Message) -> MessageQuerySet:
    """The row, as long as it is still ours."""
    moving = [State.CLAIMED, State.TRANSMITTING]
    return Message.objects.filter(pk=message.pk, lease_token=message.lease_token, state__in=moving)


def accept_late(message: Message) -> None:
    """The far side has it, but our lease had run out: evidence that closes the unconfirmed row."""
    rows = Message.objects.filter(
        pk=message.pk, state=State.UNCONFIRMED, message_id=message.message_id
    )
    if not apply_transition(
        rows,
        State.ACCEPTED,
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
