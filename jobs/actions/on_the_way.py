"""Telling the client on the day that the crew is on its way."""

from datetime import date, datetime, timedelta

from django.db import transaction

from clients import display
from clients.messaging import outbox, texts
from clients.messaging.models import Message, MessageText
from clients.messaging.reach import ContactPurpose, Reach, Refusal, Route
from clients.messaging.unsendable import Unsendable
from clients.models import User, channels_with, traits_of
from jobs.arrival import Arrival
from jobs.models import Booking
from jobs.scope import on_the_way_key

USUAL_MINUTES = 20
LATE_MINUTES = 30  # after the time it says, the message is of no use
TAKE_BACK_MINUTES = 2  # longer would eat up what it says


@transaction.atomic
def tell_on_the_way(*, booking: Booking, by: User, now: datetime) -> tuple[Message, bool]:
    """Queue “we're on our way, about 10:40”, once a visit and day (False: it was said before).

    A service message about a visit that is booked. It names the time by the clock of the property,
    so it stays true however long it takes. By text message, else by e-mail; whom neither reaches
    has to be phoned. Raises `Unsendable`.
    """
    today = now.astimezone(booking.site.zone).date()
    require_visit_on(booking, today)
    route = quick_route(booking, today)
    arrives = now + timedelta(minutes=USUAL_MINUTES)
    clock = arrives.astimezone(booking.site.zone).time().replace(second=0, microsecond=0)
    with display.in_client_language(booking.client.language):
        words = Arrival(clock).client_words
    fields = {"greeting": booking.client.greeting, "visit_time": words, "crew": booking.crew.name}
    outgoing = outbox.OutgoingMessage(
        client=booking.client,
        kind=Message.Kind.SERVICE,
        channel=route.channel,
        address=route.address,
        basis=route.permission.basis,
        key=on_the_way_key(booking, today),
        written=texts.compose_text(
            purpose=MessageText.Purpose.ON_THE_WAY,
            channel=route.channel,
            language=booking.client.language,
            fields=fields,
        ),
        expires_at=arrives + timedelta(minutes=LATE_MINUTES),
        sending=outbox.open_sending(by=by, now=now, at_most_minutes=TAKE_BACK_MINUTES),
    )
    return outbox.queue_message(outgoing=outgoing, now=now, by=by)


def require_visit_on(booking: Booking, day: date) -> None:
    if booking.state != Booking.State.BOOKED or not booking.first_on <= day <= booking.last_on:
        raise Unsendable("This visit is not booked for today.")


def quick_route(booking: Booking, day: date) -> Route:
    """By what a machine hands over: first what buzzes, then what is read in the evening."""
    at_once = sorted(channels_with("machine"), key=lambda each: not traits_of(each).disturbs)
    contacts = Reach.of(booking.client)
    answers = [
        contacts.route(booking.client_id, channel, ContactPurpose.BOOKING, on=day)
        for channel in at_once
    ]
    for answer in answers:
        if not isinstance(answer, Refusal):
            return answer
    reasons = " ".join(answer.why for answer in answers if isinstance(answer, Refusal))
    raise Unsendable(f"Phone {booking.client}: {reasons}")
