"""Leaving the list by the link in a message: at once, for good, and without asking who is there (RFC 8058)."""

from datetime import datetime

from django.db import transaction

from clients import suppression
from clients.message_keys import token_hash
from clients.models import Business, Consent, Message
from clients.models.message import MessageQuerySet
from clients.outbox import doors

WHY = "Unsubscribed by the link in a message."


@transaction.atomic
def unsubscribe(*, token: str, now: datetime) -> bool:
    """Suppress the address, withdraw consent and cancel what is queued for it, all or nothing.

    False if no message has this token; whoever asks gets the same answer either way.
    """
    message = Message.objects.select_related("client").filter(unsubscribe_hash=token_hash(token)).first()
    if message is None:
        return False
    business = Business.objects.get()
    suppression.suppress(business=business, channel=message.channel, address=message.address, reason=WHY)
    withdraw(message)
    doors.cancel(messages=waiting_for(message), why=WHY, now=now, by=None)
    return True


def withdraw(message: Message) -> None:
    """An entry of the consent log, unless the newest one is a withdrawal already."""
    newest = Consent.objects.filter(client=message.client, channel=message.channel).first()
    if newest is None or newest.is_given:
        Consent.objects.create(
            client=message.client, channel=message.channel, is_given=False, wording=WHY,
            evidence=f"Message {message.message_id}",
        )  # fmt: skip


def waiting_for(message: Message) -> MessageQuerySet:
    """What has not gone out to this address or this client by the same channel."""
    waiting = Message.objects.filter(channel=message.channel, state__in=doors.NOT_GONE)
    same = suppression.normalize(message.channel, message.address)
    rows = waiting.values_list("pk", "client_id", "channel", "address")
    chosen = [pk for pk, client, channel, address in rows
              if client == message.client_id or suppression.normalize(channel, address) == same]  # fmt: skip
    return Message.objects.filter(pk__in=chosen)
