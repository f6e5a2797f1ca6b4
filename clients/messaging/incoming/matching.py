"""Which message of ours an event is about."""

from django.db.models import Q

from clients.messaging import message_keys
from clients.messaging.models import Message
from clients.messaging.models.message import MessageQuerySet
from clients.models import Business, channels_with


def messages_with(trait: str) -> MessageQuerySet:
    """What went out by the channels that have a trait (`ChannelTraits`)."""
    return Message.objects.select_related("client").filter(channel__in=channels_with(trait))


def message_by_key(trait: str, key: str) -> tuple[Message | None, bool]:
    """The message by such a channel with this key, which is the left part of its Message-ID; and
    whether the key is that of its latest sending."""
    if not key:
        return None, False
    rows = messages_with(trait)
    usual = (  # has an index; the others are rare
        f"<{key}@{message_keys.sending_domain(Business.objects.get())}>"
    )
    stem = key.partition(".")[0]
    any_sending = Q(message_id__startswith=f"<{stem}@") | Q(message_id__startswith=f"<{stem}.")
    message = rows.filter(message_id=usual).first() or rows.filter(any_sending).first()
    return message, message is not None and message.message_id.startswith(f"<{key}@")


def message_by_provider_id(trait: str, provider_id: str) -> Message | None:
    """The newest by such a channel to which the gateway or mail service gave this number."""
    if not provider_id:
        return None
    rows = messages_with(trait).filter(provider_id=provider_id[:200])
    return rows.order_by("-pk").first()
