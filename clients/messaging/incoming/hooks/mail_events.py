"""What a mail service reports: kept once, then followed like the bounce that a mail server sends
back.

django-anymail has proved and normalised it (its docs, "Tracking sent mail status"); only that form
is read here.
"""

import hashlib
import json
import logging
import re
from datetime import datetime
from typing import Any

from django.db import transaction

from clients.messaging.incoming.bounces import effects
from clients.messaging.incoming.bounces.returned_mail import (
    KEY_IN_MESSAGE_ID,
    MAX_DIAGNOSTIC_LENGTH,
    MESSAGE_KEY_PATTERN,
    STATUS_CODE_PATTERN,
    MailReport,
    ReturnedMail,
)
from clients.messaging.incoming.hooks.results import (
    EVENT_ALREADY_KNOWN,
    FINISH_EVENTS_AFTER,
    EventResult,
)
from clients.messaging.models import InboundEvent, Message
from clients.messaging.models.message import State

MAIL_SOURCE_PREFIX = "mail "  # and the name of the service
MAX_EVENT_CHARACTERS = 20_000  # characters of what the service itself said
IGNORED_EVENT_TYPES = {"opened", "clicked"}  # nobody here wants to know who reads what
MAIL_EVENT_NOT_OURS = "It is about no message of ours."
MESSAGE_NOT_YET_KNOWN = "It is about no message that is known yet; it is looked at again."
REPORT_BY_EVENT_TYPE = {
    "queued": MailReport.PASSED_ON,
    "sent": MailReport.PASSED_ON,
    "deferred": MailReport.DELAYED,
    "delivered": MailReport.DELIVERED,
    "bounced": MailReport.FAILED,
    "rejected": MailReport.NOT_SENT,
    "failed": MailReport.NOT_SENT,
    "autoresponded": MailReport.ANSWERED_BY_MACHINE,
    "complained": MailReport.COMPLAINED,
    "unsubscribed": MailReport.UNSUBSCRIBED,
}
OPT_OUT_REASONS = {
    "spam",
    "unsubscribed",
}  # why a service does not even try: the recipient told it so before
ADDRESS_GONE_REASONS = {"invalid", "bounced"}  # the address is at fault, unless it is for now only
# Services call a full mailbox and other passing troubles bounces too; these words of theirs are
# from django-anymail 15.
TEMPORARY_TROUBLES = (
    "softbounce",
    "softbounced",
    "transient",
    "mailboxfull",
    "toolarge",
    "quotaexceeded",
    "hardbouncefalse",
)
HANDED_OVER_STATES = {
    State.ACCEPTED,
    State.DELIVERED,
    State.BOUNCED,
}  # the service's number is of the latest sending
logger = logging.getLogger(__name__)


def handle_mail_event(*, service: str, event: Any, now: datetime) -> str:
    """One normalised event. What was made of it, in words; kept before anything is made of it."""
    if event.event_type in IGNORED_EVENT_TYPES:
        return "Nothing is kept of that."
    facts = event_facts(event)
    row = InboundEvent(
        source=f"{MAIL_SOURCE_PREFIX}{service.lower()}"[:20],
        event_id=mail_event_id(event, facts),
        raw=json.dumps(facts),
        received_at=now,
    )
    InboundEvent.objects.bulk_create([row], ignore_conflicts=True)
    return process_mail_event(
        InboundEvent.objects.get(source=row.source, event_id=row.event_id).pk, now
    )


def event_facts(event: Any) -> dict[str, str]:
    """What matters of it, in an order of our own, and the service's own words as they came."""
    said = event.esp_event
    said = dict(said.lists()) if hasattr(said, "lists") else said  # posted as form fields
    metadata = event.metadata if isinstance(event.metadata, dict) else {}
    facts = {
        "type": event.event_type,
        "key": metadata.get("key"),
        "number": event.message_id,
        "reason": event.reject_reason,
        "answer": event.mta_response,
        "description": event.description,
        "at": event.timestamp,
        "said": json.dumps(said, default=str, ensure_ascii=False)[:MAX_EVENT_CHARACTERS],
    }
    return {name: str(value or "").replace("\x00", "") for name, value in facts.items()}


def mail_event_id(event: Any, facts: dict[str, str]) -> str:
    """The service's own; of those that give none, the same words are the same event."""
    own = str(event.event_id or "").replace("\x00", "")[:255]
    return own or f"sha256:{hashlib.sha256(json.dumps(facts, sort_keys=True).encode()).hexdigest()}"


@transaction.atomic
def process_mail_event(event_pk: int, now: datetime) -> str:
    """All that follows, and the note that it was done, in one transaction;
    of two at once the second waits."""
    event = InboundEvent.objects.select_for_update(of=("self",)).get(pk=event_pk)
    if event.processed_at:
        logger.info("A report was posted again: %s %s", event.source, event.event_id)
        return EVENT_ALREADY_KNOWN
    facts = json.loads(event.raw)
    message, is_current = message_of_mail_event(facts)
    if message is None and not facts["key"] and event.received_at > now - FINISH_EVENTS_AFTER:
        # the number that the service gave it may not have been written down yet
        return MESSAGE_NOT_YET_KNOWN
    made = apply_mail_event(event, message, facts, is_current=is_current, now=now)
    event.processed_at = now
    event.outcome = made.words[:300]
    event.message = made.message
    event.client = made.client
    changed = ["processed_at", "outcome", "message", "client"]
    if message is None:  # the service may write to others in other matters
        event.raw = ""
        changed = [*changed, "raw"]
    event.save(update_fields=changed)
    return made.words


def apply_mail_event(
    event: InboundEvent,
    message: Message | None,
    facts: dict[str, str],
    *,
    is_current: bool,
    now: datetime,
) -> EventResult:
    if message is None:
        return EventResult(MAIL_EVENT_NOT_OURS)
    returned = mail_event_as_returned(facts)
    if returned.report is MailReport.NONE:
        return EventResult(
            f"The report “{facts['type'][:60]}” means nothing to us.", message, message.client
        )
    words = effects.apply_returned_mail(event, message, returned, is_current=is_current, now=now)
    return EventResult(words, message, message.client)


def message_of_mail_event(facts: dict[str, str]) -> tuple[Message | None, bool]:
    """By our key, which the service hands back, else by its own number;
    some use the Message-ID as that."""
    own = re.fullmatch(MESSAGE_KEY_PATTERN, facts["key"]) or KEY_IN_MESSAGE_ID.search(
        facts["number"]
    )
    if own or facts["key"] or not facts["number"]:
        return effects.email_message_by_key(own[1] if own else "")
    rows = effects.mailed_messages().filter(provider_id=facts["number"][:200])
    message = rows.order_by("-pk").first()
    return message, message is not None and (
        message.state in HANDED_OVER_STATES or effects.is_first_sending(message)
    )


def mail_event_as_returned(facts: dict[str, str]) -> ReturnedMail:
    report = REPORT_BY_EVENT_TYPE.get(facts["type"], MailReport.NONE)
    words = " ".join(
        filter(None, [facts["answer"].removeprefix("smtp;").strip(), facts["description"]])
    )
    found = (
        STATUS_CODE_PATTERN.search(words)
        if report in {MailReport.FAILED, MailReport.DELAYED}
        else None
    )
    opts_out = report in {MailReport.COMPLAINED, MailReport.UNSUBSCRIBED} or (
        report is MailReport.NOT_SENT and facts["reason"] in OPT_OUT_REASONS
    )
    return ReturnedMail(
        report,
        status=found[0] if found else "",
        words=" ".join(words.split())[:MAX_DIAGNOSTIC_LENGTH],
        opts_out=opts_out,
        is_address_gone=(
            None if found else facts["reason"] in ADDRESS_GONE_REASONS and not is_temporary(facts)
        ),
    )


def is_temporary(facts: dict[str, str]) -> bool:
    plain = "".join(
        each for each in f"{facts['said']}{facts['description']}".lower() if each.isalpha()
    )
    return any(word in plain for word in TEMPORARY_TROUBLES)


def finish_mail_events(*, now: datetime) -> int:
    """What was kept and not processed: stopped right then, or about a message that was not known
    yet. How many."""
    left = InboundEvent.objects.filter(
        source__startswith=MAIL_SOURCE_PREFIX,
        processed_at=None,
        received_at__lt=now - FINISH_EVENTS_AFTER,
    )
    rows = list(left.order_by("pk").values_list("pk", flat=True))
    for pk in rows:
        process_mail_event(pk, now)
    return len(rows)
