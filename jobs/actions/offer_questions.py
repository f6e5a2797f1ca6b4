"""Answering what a client asked about an offer."""

from datetime import datetime

from django.db import transaction
from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy as _

from clients.messaging import outbox, texts
from clients.messaging.models import Message, ToDo
from clients.messaging.reach import ContactPurpose, Refusal, route_to
from clients.models import Business, Channel, User
from jobs.actions.offers import (
    Kind,
    OfferError,
    State,
    lock_offer,
    offer_message_key,
    record_offer_event,
)
from jobs.models import Offer, OfferEvent


@transaction.atomic
def answer_question(
    *, offer: Offer, words: str, by: User | None, now: datetime
) -> tuple[OfferEvent, bool]:
    """Keep the answer for the offer's page, settle the questions, and e-mail it where there is an
    address.

    The second value tells whether an e-mail was queued. Raises `OfferError`.
    """
    row = lock_offer(offer, *(state for state in State if state != State.DRAFT))
    if not words.strip():
        raise OfferError("Write the answer.", "answer")
    same = row.events.filter(kind=Kind.ANSWERED).order_by("-id").first()
    if (
        same
        and same.note == words.strip()
        and not row.events.filter(kind=Kind.ASKED, id__gt=same.pk).exists()
    ):
        return same, False
    event = record_offer_event(row, Kind.ANSWERED, now=now, by=by, words=words.strip())
    open_questions = ToDo.objects.filter(
        kind=ToDo.Kind.QUESTION, key__startswith=f"offer/{row.pk}/", done_at=None
    )
    open_questions.update(done_at=now, done_by=by)
    return event, bool(queue_answer_email(row, event, now=now, by=by))


def queue_answer_email(
    offer: Offer, event: OfferEvent, *, now: datetime, by: User | None
) -> Message | None:
    """The client asked, so the answer needs no consent; an address that is suppressed stays so."""
    business = Business.objects.get()
    route = route_to(offer.client, Channel.EMAIL, ContactPurpose.ANSWER, on=business.today(now))
    if isinstance(route, Refusal):
        return None
    text = f"{offer.client.greeting},\n\n{event.note}\n\n{business.name}\n{business.phone}\n"
    subject = format_lazy(_("Your question about our offer {number}"), number=offer.reference)
    outgoing = outbox.OutgoingMessage(
        client=offer.client,
        kind=Message.Kind.SERVICE,
        channel=Channel.EMAIL,
        address=route.address,
        basis=route.permission.basis,
        key=offer_message_key(offer, f"answer/{event.pk}"),
        written=texts.ComposedText(
            offer.in_client_language(subject), text, language=offer.language
        ),
    )
    message, _is_new = outbox.queue_message(outgoing=outgoing, now=now, by=by)
    return message
