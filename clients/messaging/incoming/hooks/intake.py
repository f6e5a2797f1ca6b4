"""The way in: genuine or refused, kept raw, then processed exactly once however often it is
posted."""

import logging
from collections.abc import Callable, Mapping
from datetime import datetime

from django.db import transaction

from clients.messaging.incoming.hooks import (
    gateway_reports,
    inbound,
    mail_events,
    status_reports,
)
from clients.messaging.incoming.hooks.gateway_reports import GatewayReport
from clients.messaging.incoming.hooks.keywords import Keyword, keyword_of
from clients.messaging.incoming.hooks.results import (
    EVENT_ALREADY_KNOWN,
    FINISH_EVENTS_AFTER,
    BadReportError,
    EventResult,
    ForgedError,
    UnknownHookError,
)
from clients.messaging.models import InboundEvent, TextGateway

STATUS_SOURCE = "text status"
INBOUND_SOURCE = "text inbound"
PROCESSORS: dict[
    str, Callable[[TextGateway, InboundEvent, GatewayReport, datetime], EventResult]
] = {
    STATUS_SOURCE: status_reports.process_status_report,
    INBOUND_SOURCE: inbound.process_answer,
}
logger = logging.getLogger(__name__)


def receive_gateway_post(
    *, source: str, secret: str, content: bytes, headers: Mapping[str, str], now: datetime
) -> str:
    """What was made of it, in words. Raises one of the three errors, each logged;
    then nothing is kept or done."""
    gateway = TextGateway.objects.filter(
        id=1
    ).first()  # one that is switched off still brings answers in
    if gateway is None or not gateway_reports.is_known_secret(gateway, secret):
        raise log_refused_post(UnknownHookError("There is no hook at this address."), source)
    if not gateway_reports.is_signed(gateway, content, headers):
        raise log_refused_post(ForgedError("The signature is missing or wrong."), source)
    report = (
        gateway_reports.read_gateway_report(gateway, content, headers.get("Content-Type", ""))
        if len(content) <= gateway_reports.MAX_POST_BYTES
        else None
    )
    if report is None:
        raise log_refused_post(BadReportError("Post JSON or form fields, at most 64 kB."), source)
    event = store_raw_event(source, report, content, now)
    return process_gateway_event(gateway, event.pk, report, now)


def log_refused_post(error: Exception, source: str) -> Exception:
    logger.warning("Refused a %s: %s", source, error)
    return error


def store_raw_event(
    source: str, report: GatewayReport, content: bytes, now: datetime
) -> InboundEvent:
    """Committed before anything is made of it; a repetition finds the first."""
    raw = content.decode(errors="replace").replace("\x00", "")
    row = InboundEvent(source=source, event_id=report.event_id, raw=raw, received_at=now)
    InboundEvent.objects.bulk_create([row], ignore_conflicts=True)
    return InboundEvent.objects.get(source=source, event_id=report.event_id)


@transaction.atomic
def process_gateway_event(
    gateway: TextGateway, event_pk: int, report: GatewayReport, now: datetime
) -> str:
    """All that follows, and the note that it was done, in one transaction;
    of two at once the second waits."""
    event = InboundEvent.objects.select_for_update(of=("self",)).get(pk=event_pk)
    if event.processed_at and not must_stop_again(event, report):
        logger.info("A %s was posted again: %s", event.source, event.event_id)
        return EVENT_ALREADY_KNOWN
    made = PROCESSORS[event.source](gateway, event, report, now)
    event.processed_at = now
    event.outcome = made.words[:300]
    event.message = made.message
    event.client = made.client
    event.save(update_fields=["processed_at", "outcome", "message", "client"])
    return made.words


def must_stop_again(event: InboundEvent, report: GatewayReport) -> bool:
    """Where a gateway gives its events no ids, a second STOP looks like a repetition of the first;
    it counts."""
    return (
        event.source == INBOUND_SOURCE
        and not report.has_own_id
        and keyword_of(report.text) is Keyword.STOP
    )


def finish_events(*, now: datetime) -> int:
    """Process what was kept and, because the program was stopped right then, not processed.
    How many."""
    done = mail_events.finish_mail_events(now=now)
    gateway = TextGateway.objects.filter(id=1).first()
    if gateway is None:
        return done
    left = InboundEvent.objects.filter(
        source__in=PROCESSORS, processed_at=None, received_at__lt=now - FINISH_EVENTS_AFTER
    )
    for event in left.order_by("pk"):
        if report := gateway_reports.read_gateway_report(gateway, event.raw.encode(), ""):
            process_gateway_event(gateway, event.pk, report, now)
            done += 1
    return done
