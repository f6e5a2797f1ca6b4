"""What a client is told about a booking:
one message a change, and no second one about what nobody has read yet."""

import logging
from datetime import date, datetime, time, timedelta

from babel.dates import format_date
from django.db import transaction

from clients import display
from clients.display import locale_for_language
from clients.messaging import outbox, texts
from clients.messaging.actions.to_dos import add_to_do
from clients.messaging.models import Message, MessageText, ToDo
from clients.messaging.models.message import MessageQuerySet, State
from clients.messaging.reach import ContactPurpose, Reach, Refusal, Route
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

    Where neither is possible somebody gets it as a to-do, and the answer is None; so it is, without
    one, when the visit is over. It matters not whether the program told the client of the booking:
    it may have been made by telephone. An earlier message that has not gone out is stopped first.
    Never an exception: the diary is right even if the message cannot be written.
    """
    was_told = cancel_older_messages(booking, now, by)
    if booking_message_expiry(booking) <= now:
        return None
    purpose = Purpose.BOOKED if purpose == Purpose.MOVED and not was_told else purpose
    reasons = []
    for route in booking_message_routes(booking, now):
        try:
            if isinstance(route, Refusal):
                raise Unsendable(route.why)
            with transaction.atomic():
                message = queue_booking_message(booking, purpose, route, now, by)
        except Unsendable as problem:
            reasons.append(str(problem))
        else:
            complete_telling(booking, by, now)
            return message
    logger.warning("The client of booking %s was not told: %s", booking.pk, " ".join(reasons))
    add_telling_to_do(booking, " ".join(reasons), now)
    return None


def add_telling_to_do(booking: Booking, why: str, now: datetime) -> None:
    """Whom the program cannot tell, somebody has to."""
    day = display.format_weekday(booking.first_on)
    words = f"Tell {booking.client}: visit of {day}, {booking.get_state_display().lower()}. {why}"
    matter = ToDo(
        kind=ToDo.Kind.TELL,
        key=f"tell/{booking.uid}/{booking.sequence}",
        client=booking.client,
        words=words,
        url=f"/diary/{booking.pk}/",
    )
    complete_telling(booking, None, now)
    add_to_do(matter=matter, now=now)


def complete_telling(booking: Booking, by: User | None, now: datetime) -> None:
    """What was to be told of the booking before is told, or overtaken."""
    rows = ToDo.objects.open().filter(key__startswith=f"tell/{booking.uid}/")
    rows.update(done_at=now, done_by=by)


def who_cannot_be_told(booking: Booking) -> str:
    """The open to-do of somebody to tell, if the program cannot."""
    rows = ToDo.objects.open().filter(key=f"tell/{booking.uid}/{booking.sequence}")
    return rows.values_list("words", flat=True).first() or ""


def why_no_mail(booking: Booking, now: datetime) -> str:
    """Why the client gets no e-mail about the booking; empty if they can."""
    first = booking_message_routes(booking, now)[0]
    return f"E-mail: {first.why}" if isinstance(first, Refusal) else ""


def messages_about_booking(booking: Booking) -> MessageQuerySet:
    return Message.objects.filter(
        client=booking.client_id, idempotency_key__startswith=f"booking/{booking.uid}/"
    )


def booking_message_routes(booking: Booking, now: datetime) -> list[Route | Refusal]:
    """By which the client is told: e-mail, else the telephone."""
    contacts = Reach.of(booking.client)
    today = contacts.business.today(now)
    return [
        contacts.route(booking.client_id, channel, ContactPurpose.BOOKING, on=today)
        for channel in (Channel.EMAIL, Channel.CALL)
    ]


def newest_booking_message(booking: Booking) -> Message | None:
    """The message about its newest change, if one is on its way."""
    rows = messages_about_booking(booking).filter(idempotency_key=booking_message_key(booking))
    return rows.exclude(state__in=[State.CANCELLED, State.FAILED]).first()


def is_untold(booking: Booking, *, now: datetime) -> bool:
    """Whether no message says how the booking is now, while there is still time for one."""
    is_news = booking.state != Booking.State.DONE and booking_message_expiry(booking) > now
    return is_news and newest_booking_message(booking) is None


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
        sending=outbox.open_sending(by=by, now=now),
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
    with display.in_client_language(booking.client.language):
        arrival = booking.arrival().client_words
    return {
        "greeting": booking.client.greeting,
        "decks": "\n\n".join(deck_addresses(booking)),
        "visit_day": visit_days_text(
            booking.first_on, booking.last_on, booking.client.language, business
        ),
        "visit_time": arrival,
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
