"""The way in: kept raw first, then something is made of it exactly once, however often the same mail is handed in."""

import hashlib
import logging
from datetime import datetime, timedelta

from django.db import transaction

from clients.messaging.incoming.bounces import effects, reading
from clients.messaging.incoming.bounces.reading import Report, Returned
from clients.messaging.models import InboundEvent

BOUNCE = "bounce"
LONGEST = 1_000_000  # bytes that are read; what is longer has its report in the first part
KEPT = 200_000  # characters
KNOWN = "Known already: nothing was done."
NOT_OURS = "It is about no message of ours."
FINISH_AFTER = timedelta(minutes=2)
logger = logging.getLogger(__name__)


def receive(*, content: bytes, now: datetime) -> dict[str, str]:
    """One mail as it came: what it reports, about which message, and what was made of it, in words."""
    content = plain_ends(content[:LONGEST])
    returned = reading.read(content)
    event = keep_raw(returned, content, now)
    words = process(event.pk, returned, now)
    return {"report": returned.report.name.lower(), "status": returned.status, "key": returned.key, "words": words}


def plain_ends(content: bytes) -> bytes:
    """A mailbox and a file end their lines differently; it is the same mail all the same."""
    return content.replace(b"\r\n", b"\n").strip() + b"\n"


def keep_raw(returned: Returned, content: bytes, now: datetime) -> InboundEvent:
    """Committed before anything is made of it. Of a mail that is none of ours only the hash is kept."""
    event_id = f"sha256:{hashlib.sha256(content).hexdigest()}"
    is_ours = bool(returned.key) or returned.report in {Report.FAILED, Report.DELAYED}
    raw = content.decode(errors="replace").replace("\x00", "")[:KEPT] if is_ours else ""
    row = InboundEvent(source=BOUNCE, event_id=event_id, raw=raw, received_at=now)
    InboundEvent.objects.bulk_create([row], ignore_conflicts=True)
    return InboundEvent.objects.get(source=BOUNCE, event_id=event_id)


@transaction.atomic
def process(event_pk: int, returned: Returned, now: datetime) -> str:
    """All that follows, and the note that it was done, in one transaction; of two at once the second waits."""
    event = InboundEvent.objects.select_for_update(of=("self",)).get(pk=event_pk)
    if event.processed_at:
        return KNOWN
    message, is_current = effects.message_of(returned.key)
    words = effects.follow(event, message, returned, is_current=is_current, now=now) if message else NOT_OURS
    event.processed_at, event.outcome = now, words[:300]
    event.message, event.client = message, message.client if message else None
    event.save(update_fields=["processed_at", "outcome", "message", "client"])
    return words


def finish(*, now: datetime) -> int:
    """What was kept and, because the program was stopped right then, not processed. How many."""
    left = InboundEvent.objects.filter(source=BOUNCE, processed_at=None, received_at__lt=now - FINISH_AFTER)
    rows = list(left.order_by("pk"))
    for event in rows:
        process(event.pk, reading.read(event.raw.encode()), now)
    return len(rows)
