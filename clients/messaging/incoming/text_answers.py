"""What clients write back: STOP takes effect in this transaction, START undoes it, HELP is
answered, the rest read."""

from collections.abc import Callable
from datetime import datetime

from django.db.models import F
from django.urls import reverse

from clients.messaging import suppression
from clients.messaging.actions.to_dos import add_to_do
from clients.messaging.incoming.gateway_reports import GatewayReport
from clients.messaging.incoming.keywords import (
    Keyword,
    has_more_than_keyword,
    keyword_of,
)
from clients.messaging.incoming.replies import TextAnswer, queue_reply
from clients.messaging.incoming.results import EventResult
from clients.messaging.models import Consent, InboundEvent, Message, ToDo
from clients.messaging.outbox import opt_out
from clients.models import Business, Channel, Client
from clients.notation import phones

STOPPED_BY_TEXT = "Sent a word back to hear no more."


def process_answer(event: InboundEvent, report: GatewayReport, now: datetime) -> EventResult:
    business = Business.objects.get()
    try:
        number = phones.parse_phone(report.sender, business.country).e164
    except phones.PhoneError as error:
        return EventResult(f"From no number: {error}")
    people = opt_out.clients_at_number(number)
    answer = TextAnswer(business, event, report.text, number, people, now)
    keyword = keyword_of(report.text)
    words = KEYWORD_HANDLERS[keyword](answer)
    if keyword is Keyword.NONE or (keyword is Keyword.STOP and has_more_than_keyword(report.text)):
        add_text_answer_to_do(answer)
    return EventResult(words, last_message_to(number), people[0] if people else None)


def handle_stop(answer: TextAnswer) -> str:
    """Suppression, withdrawal and what is queued, in one go;
    confirmed once, if it was not so before."""
    was_stopped = suppression.suppressed_addresses(
        business=answer.business, channel=Channel.TEXT, addresses=[answer.number]
    )
    asked = opt_out.OptOut(
        channel=Channel.TEXT,
        address=answer.number,
        people=answer.people,
        why=STOPPED_BY_TEXT,
        evidence=answer.evidence,
    )
    cancelled = opt_out.opt_out_address(asked=asked, now=answer.now)
    if not was_stopped:
        queue_reply(Keyword.STOP, answer)
    return f"{STOPPED_BY_TEXT} {cancelled} waiting messages were cancelled."


def handle_start(answer: TextAnswer) -> str:
    """Only what was stopped is started: a word back is no consent of somebody who never gave
    one."""
    was_stopped = suppression.unsuppress_address(
        business=answer.business, channel=Channel.TEXT, address=answer.number
    )
    again = [client for client in answer.people if has_withdrawn(client)]
    for client in again:
        Consent.objects.create(
            client=client,
            channel=Channel.TEXT,
            is_given=True,
            wording=answer.text[:2000],
            evidence=answer.evidence,
            asked_where=Consent.AskedWhere.MESSAGE,
            recorded_at=answer.now,
        )
    if not (was_stopped or again):
        return "Asked to hear from us again; nothing had been stopped."
    queue_reply(Keyword.START, answer)
    return "Wants to hear from us again."


def has_withdrawn(client: Client) -> bool:
    newest = client.consents.filter(channel=Channel.TEXT).first()
    return newest is not None and not newest.is_given


def handle_help(answer: TextAnswer) -> str:
    queue_reply(Keyword.HELP, answer)
    return "Asked who writes."


KEYWORD_HANDLERS: dict[Keyword, Callable[[TextAnswer], str]] = {
    Keyword.STOP: handle_stop,
    Keyword.START: handle_start,
    Keyword.HELP: handle_help,
    Keyword.NONE: lambda answer: "To be read by a person.",
}


def must_stop_again(report: GatewayReport) -> bool:
    """Where a gateway gives its events no ids, a second STOP looks like a repetition of the first;
    it counts."""
    return not report.has_own_id and keyword_of(report.text) is Keyword.STOP


def add_text_answer_to_do(answer: TextAnswer) -> None:
    client = answer.people[0] if answer.people else None
    matter = ToDo(
        kind=ToDo.Kind.ANSWER,
        key=f"answer/{answer.event.pk}",
        client=client,
        message=last_message_to(answer.number),
        words=(
            f"{client.name if client else answer.number} answered by text message:"
            f" “{answer.text[:300]}”"
        ),
        url=reverse("clients:detail", args=[client.pk]) if client else "",
    )
    add_to_do(matter=matter, now=answer.now)


def last_message_to(number: str) -> Message | None:
    """The one that was most likely answered."""
    rows = Message.objects.through_gateway().filter(address=number, accepted_at__isnull=False)
    return rows.order_by(F("accepted_at").desc(), "-pk").first()
