"""The way in: kept raw first, then something is made of it exactly once, however often the same
mail is handed in."""

import hashlib
import logging
from datetime import datetime, timedelta

from django.db import transaction

from clients.messaging.incoming.bounces import effects, returned_mail
from clients.messaging.incoming.bounces.returned_mail import MailReport, ReturnedMail
from clients.messaging.models import InboundEvent

BOUNCE_SOURCE = "bounce"
MAX_MAIL_BYTES = 1_000_000  # bytes that are read; what is longer has its report in the first part
MAX_RAW_CHARACTERS = 200_000  # characters
BOUNCE_ALREADY_KNOWN = "Known already: nothing was done."
BOUNCE_NOT_OURS = "It is about no message of ours."
FINISH_BOUNCES_AFTER = timedelta(minutes=2)
logger = logging.getLogger(__name__)


def receive_bounce(*, content: bytes, now: datetime) -> dict[str, str]:
    """One mail as it came: what it reports, about which message, and what was made of it, in
    words."""
    content = normalize_line_ends(content[:MAX_MAIL_BYTES])
    returned = returned_mail.read_returned_mail(content)
    event = store_raw_bounce(returned, content, now)
    words = process_bounce(event.pk, returned, now)
    return {
        "report": returned.report.name.lower(),
        "status": returned.status,
        "key": returned.key,
        "words": words,
    }


def normalize_line_ends(content: bytes) -> bytes:
    """A mailbox and a file end their lines differently; it is the same mail all the same."""
    return content.replace(b"\r\n", b"\n").strip() + b"\n"


def store_raw_bounce(returned: ReturnedMail, content: bytes, now: datetime) -> InboundEvent:
    """Committed before anything is made of it.
    Of a mail that is none of ours only the hash is kept."""
    event_id = f"sha256:{hashlib.sha256(content).hexdigest()}"
    is_ours = bool(returned.key) or returned.report in {MailReport.FAILED, MailReport.DELAYED}
    raw = (
        content.decode(errors="replace").replace("\x00", "")[:MAX_RAW_CHARACTERS] if is_ours else ""
    )
    row = InboundEvent(source=BOUNCE_SOURCE, event_id=event_id, raw=raw, received_at=now)
    InboundEvent.objects.bulk_create([row], ignore_conflicts=True)
    return InboundEvent.objects.get(source=BOUNCE_SOURCE, event_id=event_id)


@transaction.atomic
def process_bounce(event_pk: int, returned: ReturnedMail, now: datetime) -> str:
    """All that follows, and the note that it was done, in one transaction;
    of two at once the second waits."""
    event = InboundEvent.objects.select_for_update(of=("self",)).get(pk=event_pk)
    if event.processed_at:
        return BOUNCE_ALREADY_KNOWN
    message, is_current = effects.email_message_by_key(returned.key)
    words = (
        effects.apply_returned_mail(event, message, returned, is_current=is_current, now=now)
        if message
        else BOUNCE_NOT_OURS
    )
    event.processed_at = now
    event.outcome = words[:300]
    event.message = message
    event.client = message.client if message else None
    event.save(update_fields=["processed_at", "outcome", "message", "client"])
    return words


def finish_bounces(*, now: datetime) -> int:
    """What was kept and, because the program was stopped right then, not processed. How many."""
    left = InboundEvent.objects.filter(
        source=BOUNCE_SOURCE, processed_at=None, received_at__lt=now - FINISH_BOUNCES_AFTER
    )
    rows = list(left.order_by("pk"))
    for event in rows:
        process_bounce(event.pk, returned_mail.read_returned_mail(event.raw.encode()), now)
    return len(rows)
