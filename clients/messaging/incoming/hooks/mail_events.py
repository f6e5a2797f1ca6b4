"""What a mail service reports: kept once, then followed like the bounce that a mail server sends back.

django-anymail has proved and normalised it (its docs, "Tracking sent mail status"); only that form is read here.
"""

import hashlib
import json
import logging
import re
from datetime import datetime
from typing import Any

from django.db import transaction

from clients.messaging.incoming.bounces import effects
from clients.messaging.incoming.bounces.reading import (
    IN_ID,
    KEY,
    LONGEST_WORDS,
    STATUS,
    Report,
    Returned,
)
from clients.messaging.incoming.hooks.made import FINISH_AFTER, KNOWN, Made
from clients.messaging.models import InboundEvent, Message
from clients.messaging.models.message import State
from clients.models.channel import Channel

SOURCE = "mail "  # and the name of the service
KEPT = 20_000  # characters of what the service itself said
IGNORED = {"opened", "clicked"}  # nobody here wants to know who reads what
NOT_OURS = "It is about no message of ours."
NOT_YET = "It is about no message that is known yet; it is looked at again."
REPORTS = {
    "queued": Report.PASSED_ON, "sent": Report.PASSED_ON, "deferred": Report.DELAYED, "delivered": Report.DELIVERED,
    "bounced": Report.FAILED, "rejected": Report.NOT_SENT, "failed": Report.NOT_SENT,
    "autoresponded": Report.ANSWERED_BY_MACHINE, "complained": Report.COMPLAINED, "unsubscribed": Report.UNSUBSCRIBED,
}  # fmt: skip
OPTED_OUT = {"spam", "unsubscribed"}  # why a service does not even try: the recipient told it so before
GONE = {"invalid", "bounced"}  # the address is at fault, unless it is for now only
# Services call a full mailbox and other passing troubles bounces too; these words of theirs are from django-anymail 15.
PASSING = ("softbounce", "softbounced", "transient", "mailboxfull", "toolarge", "quotaexceeded", "hardbouncefalse")
TAKEN = {State.ACCEPTED, State.DELIVERED, State.BOUNCED}  # the service's number is of the latest sending
logger = logging.getLogger(__name__)


def receive(*, service: str, event: Any, now: datetime) -> str:
    """One normalised event. What was made of it, in words; kept before anything is made of it."""
    if event.event_type in IGNORED:
        return "Nothing is kept of that."
    told = told_by(event)
    row = InboundEvent(
        source=f"{SOURCE}{service.lower()}"[:20], event_id=id_of(event, told), raw=json.dumps(told), received_at=now
    )
    InboundEvent.objects.bulk_create([row], ignore_conflicts=True)
    return process(InboundEvent.objects.get(source=row.source, event_id=row.event_id).pk, now)


def told_by(event: Any) -> dict[str, str]:
    """What matters of it, in an order of our own, and the service's own words as they came."""
    said = event.esp_event
    said = dict(said.lists()) if hasattr(said, "lists") else said  # posted as form fields
    metadata = event.metadata if isinstance(event.metadata, dict) else {}
    told = {
        "type": event.event_type, "key": metadata.get("key"), "number": event.message_id, "reason": event.reject_reason,
        "answer": event.mta_response, "description": event.description, "at": event.timestamp,
        "said": json.dumps(said, default=str, ensure_ascii=False)[:KEPT],
    }  # fmt: skip
    return {name: str(value or "").replace("\x00", "") for name, value in told.items()}


def id_of(event: Any, told: dict[str, str]) -> str:
    """The service's own; of those that give none, the same words are the same event."""
    own = str(event.event_id or "").replace("\x00", "")[:255]
    return own or f"sha256:{hashlib.sha256(json.dumps(told, sort_keys=True).encode()).hexdigest()}"


@transaction.atomic
def process(event_pk: int, now: datetime) -> str:
    """All that follows, and the note that it was done, in one transaction; of two at once the second waits."""
    event = InboundEvent.objects.select_for_update(of=("self",)).get(pk=event_pk)
    if event.processed_at:
        logger.info("A report was posted again: %s %s", event.source, event.event_id)
        return KNOWN
    told = json.loads(event.raw)
    message, is_current = message_of(told)
    if message is None and not told["key"] and event.received_at > now - FINISH_AFTER:
        return NOT_YET  # the number that the service gave it may not have been written down yet
    made = follow(event, message, told, is_current=is_current, now=now)
    event.processed_at, event.outcome = now, made.words[:300]
    event.message, event.client = made.message, made.client
    changed = ["processed_at", "outcome", "message", "client"]
    if message is None:  # the service may write to others in other matters
        event.raw, changed = "", [*changed, "raw"]
    event.save(update_fields=changed)
    return made.words


def follow(event: InboundEvent, message: Message | None, told: dict[str, str], *, is_current: bool,
           now: datetime) -> Made:  # fmt: skip
    if message is None:
        return Made(NOT_OURS)
    returned = returned_by(told)
    if returned.report is Report.NONE:
        return Made(f"The report “{told['type'][:60]}” means nothing to us.", message, message.client)
    words = effects.follow(event, message, returned, is_current=is_current, now=now)
    return Made(words, message, message.client)


def message_of(told: dict[str, str]) -> tuple[Message | None, bool]:
    """By our key, which the service hands back, else by its own number; some use the Message-ID as that."""
    own = re.fullmatch(KEY, told["key"]) or IN_ID.search(told["number"])
    if own or told["key"] or not told["number"]:
        return effects.message_of(own[1] if own else "")
    rows = Message.objects.filter(channel=Channel.EMAIL, provider_id=told["number"][:200]).select_related("client")
    message = rows.order_by("-pk").first()
    return message, message is not None and (message.state in TAKEN or effects.is_first_sending(message))


def returned_by(told: dict[str, str]) -> Returned:
    report = REPORTS.get(told["type"], Report.NONE)
    words = " ".join(filter(None, [told["answer"].removeprefix("smtp;").strip(), told["description"]]))
    found = STATUS.search(words) if report in {Report.FAILED, Report.DELAYED} else None
    opts_out = report in {Report.COMPLAINED, Report.UNSUBSCRIBED} or (
        report is Report.NOT_SENT and told["reason"] in OPTED_OUT
    )
    return Returned(
        report, status=found[0] if found else "", words=" ".join(words.split())[:LONGEST_WORDS], opts_out=opts_out,
        is_gone=None if found else told["reason"] in GONE and not is_passing(told),
    )  # fmt: skip


def is_passing(told: dict[str, str]) -> bool:
    plain = "".join(each for each in f"{told['said']}{told['description']}".lower() if each.isalpha())
    return any(word in plain for word in PASSING)


def finish(*, now: datetime) -> int:
    """What was kept and not processed: stopped right then, or about a message that was not known yet. How many."""
    left = InboundEvent.objects.filter(source__startswith=SOURCE, processed_at=None, received_at__lt=now - FINISH_AFTER)
    rows = list(left.order_by("pk").values_list("pk", flat=True))
    for pk in rows:
        process(pk, now)
    return len(rows)
