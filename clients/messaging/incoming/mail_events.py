"""What a mail service reports: kept once, then followed like the bounce that a mail server sends
back.

django-anymail has proved and normalised it (its docs, "Tracking sent mail status"); only that form
is read here.
"""

import hashlib
import json
import re
from datetime import datetime
from typing import Any

from clients.messaging import message_keys
from clients.messaging.incoming import mail_reports
from clients.messaging.incoming.matching import message_by_key, message_by_provider_id
from clients.messaging.incoming.results import (
    FINISH_EVENTS_AFTER,
    EventResult,
)
from clients.messaging.incoming.returned_mail import (
    KEY_IN_MESSAGE_ID,
    MAX_DIAGNOSTIC_LENGTH,
    MESSAGE_KEY_PATTERN,
    STATUS_CODE_PATTERN,
    MailReport,
    ReturnedMail,
)
from clients.messaging.models import InboundEvent, Message
from clients.messaging.models.message import State
from clients.notation import storable_text

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
    return {name: storable_text(str(value or "")) for name, value in facts.items()}


def mail_event_id(event: Any, facts: dict[str, str]) -> str:
    """The service's own; of those that give none, the same words are the same event."""
    own = storable_text(str(event.event_id or ""))[:255]
    return own or f"sha256:{hashlib.sha256(json.dumps(facts, sort_keys=True).encode()).hexdigest()}"


def process_mail_event(event: InboundEvent, facts: dict[str, str], now: datetime) -> EventResult:
    message, is_current = message_of_mail_event(facts)
    if message is None:
        is_fresh = event.received_at > now - FINISH_EVENTS_AFTER
        if is_fresh and not facts["key"]:
            # the number that the service gave it may not have been written down yet
            return EventResult(MESSAGE_NOT_YET_KNOWN, is_final=False)
        # the service may write to others in other matters
        return EventResult(MAIL_EVENT_NOT_OURS, keeps_raw=False)
    returned = mail_event_as_returned(facts)
    if returned.report is MailReport.NONE:
        words = f"The report “{facts['type'][:60]}” means nothing to us."
    else:
        words = mail_reports.apply_returned_mail(
            event, message, returned, is_current=is_current, now=now
        )
    return EventResult(words, message, message.client)


def message_of_mail_event(facts: dict[str, str]) -> tuple[Message | None, bool]:
    """By our key, which the service hands back, else by its own number;
    some use the Message-ID as that."""
    own = re.fullmatch(MESSAGE_KEY_PATTERN, facts["key"]) or KEY_IN_MESSAGE_ID.search(
        facts["number"]
    )
    if own or facts["key"] or not facts["number"]:
        return message_by_key("is_by_mailbox", own[1] if own else "")
    message = message_by_provider_id("is_by_mailbox", facts["number"])
    return message, message is not None and (
        message.state in HANDED_OVER_STATES or message_keys.sending_number(message.message_id) == 1
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
