"""The client hears of the week that was chosen: by e-mail with a link to their page, else by
telephone. It is a message about agreed work, no advertisement; who withdrew consent by a way is not
written to by it, whatever the law would allow."""

from datetime import datetime

from babel.dates import format_date
from babel.numbers import format_currency
from django.db import transaction

from clients.display import locale_for_language
from clients.messaging import outbox, texts
from clients.messaging.actions.to_dos import add_to_do
from clients.messaging.models import Message, MessageText, ToDo
from clients.messaging.reach import ContactPurpose, Reach, Refusal, Route
from clients.messaging.unsendable import Unsendable
from clients.models import Business, Channel
from jobs.actions.booking_messages import (
    booking_message_expiry,
    booking_message_key,
    booking_text_fields,
)
from reminders.client_links import client_page_address
from reminders.models import ClientLink, PlanVisit

WITHDREW = "The client withdrew consent."


def tell_of_plan_visit(*, visit: PlanVisit, business: Business, now: datetime) -> Message | None:
    """Queue the message, once; where nothing can go, somebody gets it as a to-do."""
    contacts = Reach.of(visit.booking.client)
    reasons = []
    for channel in (Channel.EMAIL, Channel.CALL):
        try:
            route = plan_route(contacts, visit, channel, business, now)
            with transaction.atomic():
                return queue_plan_message(visit, route, business, now)
        except Unsendable as problem:
            reasons.append(str(problem))
    client = visit.booking.client
    matter = ToDo(
        kind=ToDo.Kind.TELL,
        key=f"tell/{visit.booking.uid}/{visit.booking.sequence}",
        client=client,
        words=f"Tell {client}: care plan visit. {' '.join(reasons)}",
        url=f"/diary/{visit.booking_id}/",
    )
    add_to_do(matter=matter, now=now)
    return None


def plan_route(
    contacts: Reach, visit: PlanVisit, channel: str, business: Business, now: datetime
) -> Route:
    """Raises `Unsendable`."""
    client = visit.booking.client_id
    entry = contacts.consents.get((client, channel))
    if entry and not entry.is_given:
        raise Unsendable(WITHDREW)
    route = contacts.route(client, channel, ContactPurpose.BOOKING, on=business.today(now))
    if isinstance(route, Refusal):
        raise Unsendable(route.why)
    return route


def queue_plan_message(
    visit: PlanVisit, route: Route, business: Business, now: datetime
) -> Message:
    booking = visit.booking
    key = booking_message_key(booking)
    page = client_page_address(business, key, route.channel)
    locale = locale_for_language(booking.client.language, business)
    fields = booking_text_fields(booking, business) | {
        "plan_price": format_currency(visit.price, visit.plan.currency, locale=locale),
        "say_no_by": format_date(visit.say_no_by, "full", locale=locale),
    }
    fields |= {"page_url": page.url if page else "", "page_code": page.code if page else ""}
    written = texts.compose_text(
        purpose=MessageText.Purpose.PLAN,
        channel=route.channel,
        language=booking.client.language,
        fields=fields,
    )
    outgoing = outbox.OutgoingMessage(
        client=booking.client,
        kind=Message.Kind.SERVICE,
        channel=route.channel,
        address=route.address,
        basis=route.permission.basis,
        key=key,
        written=written,
        expires_at=booking_message_expiry(booking),
    )
    message, _ = outbox.queue_message(outgoing=outgoing, now=now)
    if page:
        ClientLink.objects.get_or_create(
            message=message, defaults={"page_hash": page.page_hash, "made_at": now}
        )
    visit.message = message
    visit.save(update_fields=["message"])
    return message
