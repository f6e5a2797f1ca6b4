"""What nobody knows to have gone out, said by a person's own hand: as a letter, or by telephone."""

from collections.abc import Sequence
from datetime import datetime, timedelta

from django.db import transaction

from clients.messaging import message_keys
from clients.messaging.models import Message, SendingRules
from clients.messaging.models.message import MARKETING_MESSAGE_KINDS, State
from clients.messaging.outbox import decisions
from clients.messaging.outbox.queueing import AttachmentFile, OutgoingMessage, queue_message
from clients.messaging.reach import ContactPurpose, Refusal, route_to
from clients.messaging.texts import ComposedText, standard_phrase
from clients.messaging.unsendable import Unsendable
from clients.models import Business, Channel, User, traits_of

NOT_IN_DOUBT = "Nothing was changed: it is not unconfirmed, or not for long enough."


def is_in_doubt(message: Message, *, now: datetime) -> bool:
    """Unconfirmed for as long as the sending rules want to wait for news of it."""
    if not Message.objects.filter(pk=message.pk, state=State.UNCONFIRMED).exists():
        return False
    last = message.events.order_by("-at", "-id").first()
    return last is not None and last.at <= now - timedelta(
        hours=SendingRules.current().unconfirmed_hours
    )


@transaction.atomic
def resend_by(*, message: Message, channel: str, by: User, now: datetime) -> Message:
    """Queue the same words as a letter or a call, and leave the doubtful message at that.

    Once for a message and channel: the key is that of the message with the channel behind it.
    Raises `Unsendable`, and nothing changes, if it is not in doubt (any more), or consent, an
    objection or a missing address speaks against it. A reminder has its steps to follow: that is
    the matter of the app above (reminders.actions.say_otherwise).
    """
    row = (
        Message.objects.select_for_update(of=("self",)).select_related("client").get(pk=message.pk)
    )
    if row.kind == Message.Kind.REMINDER or not is_in_doubt(row, now=now):
        raise Unsendable(NOT_IN_DOUBT)
    business = Business.objects.get()
    is_marketing = row.kind in MARKETING_MESSAGE_KINDS
    purpose = ContactPurpose.MARKETING if is_marketing else ContactPurpose.SERVICE
    route = route_to(row.client, channel, purpose, on=business.today(now))
    if isinstance(route, Refusal):
        raise Unsendable(f"It cannot go by {Channel(channel).label.lower()}: {route.why}")
    text = text_without_link(business, row)
    if is_marketing and traits_of(channel).is_by_post:
        text += f"\n\n{standard_phrase(row.language, 'objection')}"
    words = ComposedText(row.subject, text, language=row.language)
    outgoing = OutgoingMessage(
        client=row.client,
        kind=row.kind,
        channel=channel,
        address=route.address,
        basis=route.permission.basis if is_marketing else row.basis,
        consent=route.permission.consent(),
        key=f"{row.idempotency_key}/{channel}",
        written=words,
        expires_at=row.expires_at,
        attachments=attachment_files(row) if traits_of(channel).carries_files else (),
    )
    said, _ = queue_message(outgoing=outgoing, now=now, by=by)
    decisions.dismiss_message(message=row, now=now, by=by)
    return said


def text_without_link(business: Business, message: Message) -> str:
    """The same words for paper or telephone: without the paragraph that holds the link to
    unsubscribe from e-mail, and without the line of hyphens that begins the small print there.
    """
    link = message_keys.unsubscribe_link(business, message)
    parts = message.text.replace("\r\n", "\n").replace("\n--\n", "\n\n").split("\n\n")
    return "\n\n".join(part.strip("\n") for part in parts if not link or link not in part).strip()


def attachment_files(message: Message) -> Sequence[AttachmentFile]:
    return [(each.name, each.media_type, bytes(each.content)) for each in message.attachments.all()]
