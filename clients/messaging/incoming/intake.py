"""The way in for all that others tell us about messages: kept raw once, read once, and finished
later if the program was stopped right then.

Each source has a way to be read again from what was kept, and a way to be made something of. An
event is a unit of its own: what is wrong with one keeps no other from being processed, and one that
fails again and again is set aside, before a person.
"""

import hashlib
import json
import logging
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import Any

from django.db import OperationalError, transaction

from clients.messaging.actions.to_dos import add_to_do
from clients.messaging.incoming import (
    gateway_reports,
    mail_events,
    mail_reports,
    returned_mail,
    status_reports,
    text_answers,
)
from clients.messaging.incoming.results import (
    FINISH_EVENTS_AFTER,
    BadReportError,
    EventResult,
    ForgedError,
    UnknownHookError,
    log_refused_post,
)
from clients.messaging.models import InboundEvent, TextGateway, ToDo
from clients.notation import make_storable, storable_text

STATUS_SOURCE = "text status"
ANSWER_SOURCE = "text inbound"
BOUNCE_SOURCE = "bounce"
MAIL_SERVICE_SOURCE = "mail"  # followed by a space and the name of the service
MAX_RAW_CHARACTERS = 200_000  # characters of a mail
MAX_TRIES = 5
KEPT_FOR_LATER = "It was kept and is looked at again."
EVENT_ALREADY_KNOWN = "Known already: nothing was done."
logger = logging.getLogger(__name__)


@dataclass(frozen=True)
class EventReader:
    """What is made of the events of a source.

    `read` takes the raw text as it was kept, and gives None where it cannot be read now. `process`
    runs in the transaction that notes the event as processed. `takes_again` says whether an event
    that was processed counts once more when it is received again.
    """

    read: Callable[[str], Any]
    process: Callable[[InboundEvent, Any, datetime], EventResult]
    takes_again: Callable[[Any], bool] = lambda content: False


READERS = {
    STATUS_SOURCE: EventReader(
        gateway_reports.read_kept_report, status_reports.process_status_report
    ),
    ANSWER_SOURCE: EventReader(
        gateway_reports.read_kept_report, text_answers.process_answer, text_answers.must_stop_again
    ),
    BOUNCE_SOURCE: EventReader(returned_mail.read_kept_mail, mail_reports.process_returned_mail),
    MAIL_SERVICE_SOURCE: EventReader(json.loads, mail_events.process_mail_event),
}


def reader_of(event: InboundEvent) -> EventReader:
    is_of_service = event.source.startswith(f"{MAIL_SERVICE_SOURCE} ")
    return READERS[MAIL_SERVICE_SOURCE if is_of_service else event.source]


def receive_gateway_post(
    *, source: str, secret: str, content: bytes, headers: Mapping[str, str], now: datetime
) -> str:
    """What was made of it, in words. Raises one of the three errors, each logged;
    then nothing is kept or done."""
    # a gateway that is switched off still brings answers in
    gateway = TextGateway.objects.filter(id=1).first()
    if gateway is None or not gateway.knows_hook_secret(secret):
        raise log_refused_post(UnknownHookError("There is no hook at this address."), source)
    if not gateway_reports.is_signed(gateway, content, headers):
        raise log_refused_post(ForgedError("The signature is missing or wrong."), source)
    is_too_long = len(content) > gateway_reports.MAX_POST_BYTES
    media_type = headers.get("Content-Type", "")
    report = (
        None if is_too_long else gateway_reports.read_gateway_report(gateway, content, media_type)
    )
    if report is None:
        raise log_refused_post(BadReportError("Post JSON or form fields, at most 64 kB."), source)
    raw = content.decode(errors="replace")
    return receive_event(source, report.event_id, raw, report, now)


def receive_returned_mail(*, content: bytes, now: datetime) -> dict[str, str]:
    """One mail as it came: what it reports, about which message, and what was made of it, in
    words. Of a mail that is none of ours only the hash is kept."""
    content = returned_mail.normalize_mail(content)
    returned = returned_mail.read_returned_mail(content)
    event_id = f"sha256:{hashlib.sha256(content).hexdigest()}"
    raw = content.decode(errors="replace")[:MAX_RAW_CHARACTERS] if returned.may_be_ours else ""
    return {
        "report": returned.report.name.lower(),
        "status": returned.status,
        "key": returned.key,
        "words": receive_event(BOUNCE_SOURCE, event_id, raw, returned, now),
    }


def receive_service_event(*, service: str, event: Any, now: datetime) -> str:
    """One event of a mail service, as django-anymail normalised it.
    What was made of it, in words."""
    if event.event_type in mail_events.IGNORED_EVENT_TYPES:
        return "Nothing is kept of that."
    facts = mail_events.event_facts(event)
    source = f"{MAIL_SERVICE_SOURCE} {service.lower()}"[:20]
    event_id = mail_events.mail_event_id(event, facts)
    return receive_event(source, event_id, json.dumps(facts), facts, now)


def receive_event(source: str, event_id: str, raw: str, content: Any, now: datetime) -> str:
    """Keep it before anything is made of it; a repetition finds the first."""
    event_id = storable_text(event_id)
    row = InboundEvent(source=source, event_id=event_id, raw=storable_text(raw), received_at=now)
    InboundEvent.objects.bulk_create([row], ignore_conflicts=True)
    event = InboundEvent.objects.get(source=source, event_id=event_id)
    return try_to_process(event, lambda: content, now) or KEPT_FOR_LATER


def try_to_process(event: InboundEvent, read: Callable[[], Any], now: datetime) -> str | None:
    """What was made of it, in words; None if it cannot be processed now. Of the database only what
    says that it is away comes through: then nothing can be noted either."""
    try:
        content = read()
        return None if content is None else process_event(event.pk, make_storable(content), now)
    except OperationalError:
        raise
    except Exception as error:
        logger.exception("Cannot finish a %s: %s", event.source, event.event_id)
        note_failed_try(event_pk=event.pk, error=error, now=now)
        return None


@transaction.atomic
def note_failed_try(*, event_pk: int, error: Exception, now: datetime) -> None:
    """Count it; after the last try it is set aside with its reason, before a person."""
    event = InboundEvent.objects.select_for_update(of=("self",)).get(pk=event_pk)
    event.tries += 1
    if event.tries >= MAX_TRIES and event.processed_at is None:
        why = storable_text(f"{type(error).__name__}: {error}")
        event.processed_at = now
        event.outcome = f"Set aside after {event.tries} tries. {why}"[:300]
        matter = ToDo(
            kind=ToDo.Kind.UNREAD,
            key=f"unread/{event.pk}",
            words=f"A {event.source} of {event.received_at:%Y-%m-%d} could not be read,"
            " so nothing was done about it.",
        )
        add_to_do(matter=matter, now=now)
    event.save(update_fields=["tries", "processed_at", "outcome"])


@transaction.atomic
def process_event(event_pk: int, content: Any, now: datetime) -> str:
    """All that follows, and the note that it was done, in one transaction;
    of two at once the second waits."""
    event = InboundEvent.objects.select_for_update(of=("self",)).get(pk=event_pk)
    reader = reader_of(event)
    if event.processed_at and not reader.takes_again(content):
        logger.info("A %s was received again: %s", event.source, event.event_id)
        return EVENT_ALREADY_KNOWN
    result = reader.process(event, content, now)
    if result.is_final:
        event.processed_at = now
        event.outcome = result.words[:300]
        event.message = result.message
        event.client = result.client
        changed = ["processed_at", "outcome", "message", "client"]
        if not result.keeps_raw:
            event.raw = ""
            changed.append("raw")
        event.save(update_fields=changed)
    return result.words


def finish_events(*, now: datetime) -> int:
    """Process what was kept and not processed: the program was stopped right then, or it was about
    a message that was not known yet. How many.

    One that fails is logged, and tried again the next time, `MAX_TRIES` times in all.
    """
    left = InboundEvent.objects.filter(processed_at=None, received_at__lt=now - FINISH_EVENTS_AFTER)
    return sum(
        try_to_process(event, partial(reader_of(event).read, event.raw), now) is not None
        for event in left.order_by("pk")
    )
