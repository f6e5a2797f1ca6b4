"""What clients write back: STOP takes effect in this transaction, START undoes it, HELP is answered, the rest read."""

from datetime import datetime

from django.db.models import F
from django.urls import reverse

from clients import phones
from clients.messaging import suppression
from clients.messaging.incoming.hooks import replies
from clients.messaging.incoming.hooks.made import Made
from clients.messaging.incoming.hooks.reading import Report
from clients.messaging.incoming.hooks.words import Word, says_more, word_of
from clients.messaging.models import Consent, InboundEvent, Message, TextGateway, ToDo
from clients.messaging.outbox import unsubscribing
from clients.models import Business, Client
from clients.models.channel import Channel

STOPPED = "Sent a word back to hear no more."
TEXT = str(Channel.TEXT)


def process(gateway: TextGateway, event: InboundEvent, report: Report, now: datetime) -> Made:
    business = Business.objects.get()
    try:
        number = phones.normalize(report.sender, business.country).e164
    except phones.PhoneError as error:
        return Made(f"From no number: {error}")
    people = unsubscribing.people_at(number)
    word = word_of(report.text)
    words = ANSWERS[word](business, event, report, number, people, now)
    if word is Word.NONE or (word is Word.STOP and says_more(report.text)):
        to_be_read(event, report, number, people)
    return Made(words, last_message(number), people[0] if people else None)


def stop(
    business: Business, event: InboundEvent, report: Report, number: str, people: list[Client], now: datetime
) -> str:
    """Suppression, withdrawal and what is queued, in one go; confirmed once, if it was not so before."""
    was_stopped = bool(suppression.suppressed(business=business, channel=TEXT, addresses=[number]))
    cancelled = unsubscribing.stop(
        channel=TEXT, address=number, people=people, why=STOPPED, evidence=quoted(event, report), now=now
    )
    if not was_stopped:
        replies.queue(Word.STOP, business, event, number, people, now)
    return f"{STOPPED} {cancelled} waiting messages were cancelled."


def start(
    business: Business, event: InboundEvent, report: Report, number: str, people: list[Client], now: datetime
) -> str:
    """Only what was stopped is started: a word back is no consent of somebody who never gave one."""
    was_stopped = suppression.lift(business=business, channel=TEXT, address=number)
    again = [client for client in people if has_withdrawn(client)]
    for client in again:
        Consent.objects.create(
            client=client, channel=TEXT, is_given=True, wording=report.text[:2000], evidence=quoted(event, report),
            recorded_at=now,
        )  # fmt: skip
    if not (was_stopped or again):
        return "Asked to hear from us again; nothing had been stopped."
    replies.queue(Word.START, business, event, number, people, now)
    return "Wants to hear from us again."


def has_withdrawn(client: Client) -> bool:
    newest = client.consents.filter(channel=TEXT).first()
    return newest is not None and not newest.is_given


def say_who(
    business: Business, event: InboundEvent, report: Report, number: str, people: list[Client], now: datetime
) -> str:
    replies.queue(Word.HELP, business, event, number, people, now)
    return "Asked who writes."


def leave_to_a_person(
    business: Business, event: InboundEvent, report: Report, number: str, people: list[Client], now: datetime
) -> str:
    return "To be read by a person."


ANSWERS = {Word.STOP: stop, Word.START: start, Word.HELP: say_who, Word.NONE: leave_to_a_person}


def to_be_read(event: InboundEvent, report: Report, number: str, people: list[Client]) -> None:
    who = people[0].name if people else number
    url = reverse("clients:detail", args=[people[0].pk]) if people else ""
    row = ToDo(
        kind=ToDo.Kind.ANSWER, key=f"answer/{event.pk}", client=people[0] if people else None,
        message=last_message(number), words=f"{who} answered by text message: “{report.text[:300]}”"[:500], url=url,
    )  # fmt: skip
    ToDo.objects.bulk_create([row], ignore_conflicts=True)


def last_message(number: str) -> Message | None:
    """The one that was most likely answered."""
    rows = Message.objects.filter(channel=TEXT, address=number, accepted_at__isnull=False)
    return rows.order_by(F("accepted_at").desc(), "-pk").first()


def quoted(event: InboundEvent, report: Report) -> str:
    return f"Text message {event.event_id[:100]}: “{report.text[:150]}”"
