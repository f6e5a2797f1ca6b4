"""The way in: genuine or refused, kept raw, then processed exactly once however often it is posted."""

import logging
from collections.abc import Callable, Mapping
from datetime import datetime

from django.db import transaction

from clients.messaging.incoming.hooks import inbound, mail_events, reading, status
from clients.messaging.incoming.hooks.made import (
    FINISH_AFTER,
    KNOWN,
    BadReportError,
    ForgedError,
    Made,
    UnknownHookError,
)
from clients.messaging.incoming.hooks.reading import Report
from clients.messaging.incoming.hooks.words import Word, word_of
from clients.messaging.models import InboundEvent, TextGateway

STATUS, INBOUND = "text status", "text inbound"
PROCESS: dict[str, Callable[[TextGateway, InboundEvent, Report, datetime], Made]] = {
    STATUS: status.process,
    INBOUND: inbound.process,
}
logger = logging.getLogger(__name__)


def receive(*, source: str, secret: str, content: bytes, headers: Mapping[str, str], now: datetime) -> str:
    """What was made of it, in words. Raises one of the three errors, each logged; then nothing is kept or done."""
    gateway = TextGateway.objects.filter(id=1).first()  # one that is switched off still brings answers in
    if gateway is None or not reading.knows(gateway, secret):
        raise refused(UnknownHookError("There is no hook at this address."), source)
    if not reading.is_signed(gateway, content, headers):
        raise refused(ForgedError("The signature is missing or wrong."), source)
    report = (
        reading.read(gateway, content, headers.get("Content-Type", "")) if len(content) <= reading.LONGEST else None
    )
    if report is None:
        raise refused(BadReportError("Post JSON or form fields, at most 64 kB."), source)
    event = keep_raw(source, report, content, now)
    return process(gateway, event.pk, report, now)


def refused(error: Exception, source: str) -> Exception:
    logger.warning("Refused a %s: %s", source, error)
    return error


def keep_raw(source: str, report: Report, content: bytes, now: datetime) -> InboundEvent:
    """Committed before anything is made of it; a repetition finds the first."""
    raw = content.decode(errors="replace").replace("\x00", "")
    row = InboundEvent(source=source, event_id=report.event_id, raw=raw, received_at=now)
    InboundEvent.objects.bulk_create([row], ignore_conflicts=True)
    return InboundEvent.objects.get(source=source, event_id=report.event_id)


@transaction.atomic
def process(gateway: TextGateway, event_pk: int, report: Report, now: datetime) -> str:
    """All that follows, and the note that it was done, in one transaction; of two at once the second waits."""
    event = InboundEvent.objects.select_for_update(of=("self",)).get(pk=event_pk)
    if event.processed_at and not must_stop_again(event, report):
        logger.info("A %s was posted again: %s", event.source, event.event_id)
        return KNOWN
    made = PROCESS[event.source](gateway, event, report, now)
    event.processed_at, event.outcome = now, made.words[:300]
    event.message, event.client = made.message, made.client
    event.save(update_fields=["processed_at", "outcome", "message", "client"])
    return made.words


def must_stop_again(event: InboundEvent, report: Report) -> bool:
    """Where a gateway gives its events no ids, a second STOP looks like a repetition of the first; it counts."""
    return event.source == INBOUND and not report.has_own_id and word_of(report.text) is Word.STOP


def finish(*, now: datetime) -> int:
    """Process what was kept and, because the program was stopped right then, not processed. How many."""
    done = mail_events.finish(now=now)
    gateway = TextGateway.objects.filter(id=1).first()
    if gateway is None:
        return done
    left = InboundEvent.objects.filter(source__in=PROCESS, processed_at=None, received_at__lt=now - FINISH_AFTER)
    for event in left.order_by("pk"):
        if report := reading.read(gateway, event.raw.encode(), ""):
            process(gateway, event.pk, report, now)
            done += 1
    return done
