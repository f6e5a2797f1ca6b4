"""What clients write back: STOP takes effect in this transaction, START undoes it, HELP is
answered, the rest read."""

from datetime import datetime

from django.db.models import F
from django.urls import reverse

from clients import phones
from clients.messaging import suppression
from clients.messaging.actions.to_dos import add_to_do
from clients.messaging.incoming import replies
from clients.messaging.incoming.gateway_reports import GatewayReport
from clients.messaging.incoming.keywords import (
    Keyword,
    has_more_than_keyword,
    keyword_of,
)
from clients.messaging.incoming.results import EventResult
from clients.messaging.models import Consent, InboundEvent, Message, ToDo
from clients.messaging.outbox import opt_out
from clients.models import Business, Channel, Client

STOPPED_BY_TEXT = "Sent a word back to hear no more."


def process_answer(event: InboundEvent, report: GatewayReport, now: datetime) -> EventResult:
    business = Business.objects.get()
    try:
        number = phones.parse_phone(report.sender, business.country).e164
    except phones.PhoneError as error:
        return EventResult(f"From no number: {error}")
    people = opt_out.clients_at_number(number)
    keyword = keyword_of(report.text)
    words = KEYWORD_HANDLERS[keyword](business, event, report, number, people, now)
    if keyword is Keyword.NONE or (keyword is Keyword.STOP and has_more_than_keyword(report.text)):
        add_text_answer_to_do(event, report, number, people, now)
    return EventResult(words, last_message_to(number), people[0] if people else None)


def handle_stop(
    business: Business,
    event: InboundEvent,
    report: GatewayReport,
    number: str,
    people: list[Client],
    now: datetime,
) -> str:
    """Suppression, withdrawal and what is queued, in one go;
    confirmed once, if it was not so before."""
    was_stopped = bool(
        suppression.suppressed_addresses(
            business=business, channel=Channel.TEXT, addresses=[number]
        )
    )
    asked = opt_out.OptOut(
        channel=Channel.TEXT,
        address=number,
        people=people,
        why=STOPPED_BY_TEXT,
        evidence=answer_evidence(event, report),
    )
    cancelled = opt_out.opt_out_address(asked=asked, now=now)
    if not was_stopped:
        replies.queue_reply(Keyword.STOP, business, event, number, people, now)
    return f"{STOPPED_BY_TEXT} {cancelled} waiting messages were cancelled."


def handle_start(
    business: Business,
    event: InboundEvent,
    report: GatewayReport,
    number: str,
    people: list[Client],
    now: datetime,
) -> str:
    """Only what was stopped is started: a word back is no consent of somebody who never gave
    one."""
    was_stopped = suppression.unsuppress_address(
        business=business, channel=Channel.TEXT, address=number
    )
    again = [client for client in people if has_withdrawn(client)]
    for client in again:
        Consent.objects.create(
            client=client,
            channel=Channel.TEXT,
            is_given=True,
            wording=report.text[:2000],
            evidence=answer_evidence(event, report),
            recorded_at=now,
        )
    if not (was_stopped or again):
        return "Asked to hear from us again; nothing had been stopped."
    replies.queue_reply(Keyword.START, business, event, number, people, now)
    return "Wants to hear from us again."


def has_withdrawn(client: Client) -> bool:
    newest = client.consents.filter(channel=Channel.TEXT).first()
    return newest is not None and not newest.is_given


def handle_help(
    business: Business,
    event: InboundEvent,
    report: GatewayReport,
    number: str,
    people: list[Client],
    now: datetime,
) -> str:
    replies.queue_reply(Keyword.HELP, business, event, number, people, now)
    return "Asked who writes."


def handle_other(
    business: Business,
    event: InboundEvent,
    report: GatewayReport,
    number: str,
    people: list[Client],
    now: datetime,
) -> str:
    return "To be read by a person."


KEYWORD_HANDLERS = {
    Keyword.STOP: handle_stop,
    Keyword.START: handle_start,
    Keyword.HELP: handle_help,
    Keyword.NONE: handle_other,
}


def must_stop_again(report: GatewayReport) -> bool:
    """Where a gateway gives its events no ids, a second STOP looks like a repetition of the first;
    it counts."""
    return not report.has_own_id and keyword_of(report.text) is Keyword.STOP


def add_text_answer_to_do(
    event: InboundEvent, report: GatewayReport, number: str, people: list[Client], now: datetime
) -> None:
    who = people[0].name if people else number
    url = reverse("clients:detail", args=[people[0].pk]) if people else ""
    matter = ToDo(
        kind=ToDo.Kind.ANSWER,
        key=f"answer/{event.pk}",
        client=people[0] if people else None,
        message=last_message_to(number),
        words=f"{who} answered by text message: “{report.text[:300]}”",
        url=url,
    )
    add_to_do(matter=matter, now=now)


def last_message_to(number: str) -> Message | None:
    """The one that was most likely answered."""
    rows = Message.objects.through_gateway().filter(address=number, accepted_at__isnull=False)
    return rows.order_by(F("accepted_at").desc(), "-pk").first()


def answer_evidence(event: InboundEvent, report: GatewayReport) -> str:
    return f"Text message {event.event_id[:100]}: “{report.text[:150]}”"
