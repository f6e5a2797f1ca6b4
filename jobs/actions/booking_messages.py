"""What a client is told about a booking:
one message a change, and no second one about what nobody has read yet."""

import logging
from datetime import date, datetime, time, timedelta

from babel.dates import format_date
from django.db import transaction

from clients.display import locale_for_language
from clients.messaging import outbox, texts
from clients.messaging.models import Message, MessageText
from clients.messaging.models.message import MessageQuerySet, State
from clients.messaging.reach import ContactPurpose, Reach, Route
from clients.messaging.unsendable import Unsendable
from clients.models import Business, Channel, User, traits_of
from jobs.diary import icalendar_files
from jobs.models import Booking

Purpose = MessageText.Purpose
logger = logging.getLogger(__name__)


def notify_client_of_booking(
    *, booking: Booking, purpose: str, now: datetime, by: User | None
) -> Message | None:
    """Queue the e-mail about this change, with the day as a calendar file;
    without an address, a call to make.

    None if there is no number either, or if the client was never told of what is now held or off.
    An earlier message that has not gone out is stopped first. Never an exception: the diary is
    right even if the message cannot be written.
    """
    was_told = cancel_older_messages(booking, now, by)
    if purpose in {Purpose.HELD, Purpose.CALLED_OFF} and not was_told:
        return None
    purpose = purpose if was_told else Purpose.BOOKED
    route = booking_message_route(booking, now)
    if route is None or booking_message_expiry(booking) <= now:
        return None
    try:
        with transaction.atomic():
            return queue_booking_message(booking, purpose, route, now, by)
    except Unsendable as problem:
        logger.warning("The client of booking %s was not told: %s", booking.pk, problem)
        return None


def messages_about_booking(booking: Booking) -> MessageQuerySet:
    return Message.objects.filter(
        client=booking.client_id, idempotency_key__startswith=f"booking/{booking.uid}/"
    )


def booking_message_route(booking: Booking, now: datetime) -> Route | None:
    """By which the client is told: e-mail, else the telephone."""
    contacts = Reach.of(booking.client)
    return contacts.first_route(
        booking.client_id,
        [Channel.EMAIL, Channel.CALL],
        ContactPurpose.BOOKING,
        on=contacts.business.today(now),
    )


def newest_booking_message(booking: Booking) -> Message | None:
    """The message about its newest change, if one is on its way."""
    rows = messages_about_booking(booking).filter(idempotency_key=booking_message_key(booking))
    return rows.exclude(state__in=[State.CANCELLED, State.FAILED]).first()


def booking_message_key(booking: Booking) -> str:
    return f"booking/{booking.uid}/{booking.sequence}"


def cancel_older_messages(booking: Booking, now: datetime, by: User | None) -> bool:
    """Whether any message about this booking has left, or may have."""
    earlier = messages_about_booking(booking)
    outbox.cancel_unsent(
        messages=earlier.open(), why="The booking was changed before this went out.", now=now, by=by
    )
    return earlier.exclude(state__in=[State.CANCELLED, State.FAILED]).exists()


def queue_booking_message(
    booking: Booking, purpose: str, route: Route, now: datetime, by: User | None
) -> Message:
    business = Business.objects.get()
    client = booking.client
    channel = route.channel
    written = texts.compose_text(
        purpose=purpose,
        channel=channel,
        language=client.language,
        fields=booking_text_fields(booking, business),
    )
    has_file = traits_of(channel).carries_files
    files = [calendar_attachment(booking, business, now)] if has_file else []
    outgoing = outbox.OutgoingMessage(
        client=client,
        kind=Message.Kind.SERVICE,
        channel=channel,
        address=route.address,
        basis=route.permission.basis,
        key=booking_message_key(booking),
        written=written,
        expires_at=booking_message_expiry(booking),
        attachments=files,
    )
    message, _ = outbox.queue_message(outgoing=outgoing, now=now, by=by)
    return message


def booking_message_expiry(booking: Booking) -> datetime:
    """Midnight after its last day, at the property: what has not gone out by then is of no use."""
    return datetime.combine(booking.last_on + timedelta(days=1), time.min, tzinfo=booking.site.zone)


def calendar_attachment(
    booking: Booking, business: Business, now: datetime
) -> tuple[str, str, bytes]:
    media_type = (
        f"{icalendar_files.CALENDAR_MEDIA_TYPE}; charset=utf-8;"
        f" method={icalendar_files.itip_method(booking)}"
    )
    return "visit.ics", media_type, icalendar_files.client_calendar_file(booking, business, now=now)


def booking_text_fields(booking: Booking, business: Business) -> dict[str, str]:
    return {
        "greeting": booking.client.greeting,
        "decks": "\n\n".join(deck_addresses(booking)),
        "visit_day": visit_days_text(
            booking.first_on, booking.last_on, booking.client.language, business
        ),
        "visit_time": (
            booking.arrival().format_for_locale(
                locale_for_language(booking.client.language, business)
            )
        ),
        "crew": booking.crew.name,
        "why": " ".join(booking.why.split()),
    }


def deck_addresses(booking: Booking) -> list[str]:
    return [
        f"{deck.label}, {booking.site.street}, {booking.site.town}" for deck in booking.decks.all()
    ]


def visit_days_text(first: date, last: date, language: str, business: Business) -> str:
    """“Tuesday, May 11, 2027”, and both days of longer work, in the client's language."""
    locale = locale_for_language(language, business)
    return " – ".join(
        format_date(day, "full", locale=locale) for day in dict.fromkeys([first, last])
    )
