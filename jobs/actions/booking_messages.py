"""What a client is told about a booking: one message a change, and no second one about what nobody has read yet."""

import logging
from datetime import date, datetime, time, timedelta

from babel.core import Locale, UnknownLocaleError
from babel.dates import format_date
from django.db import transaction

from clients.languages import primary
from clients.messaging import outbox, texts
from clients.messaging.models import Message, MessageText
from clients.messaging.models.message import MessageQuerySet, State
from clients.messaging.outbox.permission import address_for
from clients.messaging.suppression import suppressed
from clients.messaging.unsendable import Unsendable
from clients.models import Business, Client, User
from clients.models.channel import Channel
from jobs.diary import calendar
from jobs.models import Booking

Purpose = MessageText.Purpose
logger = logging.getLogger(__name__)


def tell(*, booking: Booking, purpose: str, now: datetime, by: User | None) -> Message | None:
    """Queue the e-mail about this change, with the day as a calendar file; without an address, a call to make.

    None if there is no number either, or if the client was never told of what is now held or off. An earlier message
    that has not gone out is stopped first. Never an exception: the diary is right even if the message cannot be
    written.
    """
    was_told = stop_older(booking, now, by)
    if purpose in {Purpose.HELD, Purpose.CALLED_OFF} and not was_told:
        return None
    purpose = purpose if was_told else Purpose.BOOKED
    way = way_to(booking.client, Business.objects.get())
    if way is None or ends_at(booking) <= now:
        return None
    try:
        with transaction.atomic():
            return queue(booking, purpose, way, now, by)
    except Unsendable as problem:
        logger.warning("The client of booking %s was not told: %s", booking.pk, problem)
        return None


def messages_of(booking: Booking) -> MessageQuerySet:
    return Message.objects.filter(client=booking.client_id, idempotency_key__startswith=f"booking/{booking.uid}/")


def way_to(client: Client, business: Business) -> tuple[str, str] | None:
    """Channel and address by which this client is told: e-mail, else the telephone."""
    for channel in (Channel.EMAIL, Channel.CALL):
        address = address_for(client, channel)
        if address and not suppressed(business=business, channel=channel, addresses=[address]):
            return channel, address
    return None


def newest(booking: Booking) -> Message | None:
    """The message about its newest change, if one is on its way."""
    rows = messages_of(booking).filter(idempotency_key=key_of(booking))
    return rows.exclude(state__in=[State.CANCELLED, State.FAILED]).first()


def key_of(booking: Booking) -> str:
    return f"booking/{booking.uid}/{booking.sequence}"


def stop_older(booking: Booking, now: datetime, by: User | None) -> bool:
    """Whether any message about this booking has left, or may have."""
    earlier = messages_of(booking)
    outbox.cancel(messages=earlier.open(), why="The booking was changed before this went out.", now=now, by=by)
    return earlier.exclude(state__in=[State.CANCELLED, State.FAILED]).exists()


def queue(booking: Booking, purpose: str, way: tuple[str, str], now: datetime, by: User | None) -> Message:
    business, client, (channel, address) = Business.objects.get(), booking.client, way
    written = texts.write(purpose=purpose, channel=channel, language=client.language, fields=fields(booking, business))
    files = [calendar_attachment(booking, business, now)] if channel == Channel.EMAIL else []
    message, _ = outbox.queue_message(
        client=client, kind=Message.Kind.SERVICE, channel=channel, address=address, subject=written.subject,
        text=written.text, html=written.html, language=written.language, key=key_of(booking),
        consent=None, basis="booking", now=now, by=by, expires_at=ends_at(booking),
        attachments=files,
    )  # fmt: skip
    return message


def ends_at(booking: Booking) -> datetime:
    """Midnight after its last day, at the property: what has not gone out by then is of no use."""
    return datetime.combine(booking.last_on + timedelta(days=1), time.min, tzinfo=booking.property.zone)


def calendar_attachment(booking: Booking, business: Business, now: datetime) -> tuple[str, str, bytes]:
    media_type = f"{calendar.MEDIA_TYPE}; charset=utf-8; method={calendar.method_of(booking)}"
    return "visit.ics", media_type, calendar.client_file(booking, business, now=now)


def fields(booking: Booking, business: Business) -> dict[str, str]:
    return {
        "greeting": booking.client.greeting,
        "decks": "\n\n".join(deck_in_words(booking)),
        "visit_day": days(booking.first_on, booking.last_on, booking.client.language, business),
        "visit_time": booking.arrival().written(locale_of(booking.client.language, business)),
        "crew": booking.crew.name,
        "why": " ".join(booking.why.split()),
    }


def deck_in_words(booking: Booking) -> list[str]:
    return [f"{deck.label}, {booking.property.street}, {booking.property.town}" for deck in booking.decks.all()]


def days(first: date, last: date, language: str, business: Business) -> str:
    """“Tuesday, May 11, 2027”, and both days of longer work, in the client's language."""
    locale = locale_of(language, business)
    return " – ".join(format_date(day, "full", locale=locale) for day in dict.fromkeys([first, last]))


def locale_of(language: str, business: Business) -> Locale:
    wanted = language or business.locale
    for form in (wanted if "-" in wanted else f"{wanted}-{business.country}", wanted, primary(wanted)):
        try:
            return Locale.parse(form, sep="-")
        except (UnknownLocaleError, ValueError):
            continue
    return Locale.parse(business.locale, sep="-")
