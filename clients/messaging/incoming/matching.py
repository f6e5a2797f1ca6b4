"""Which message of ours an event is about."""

from django.db.models import Q

from clients.messaging import message_keys
from clients.messaging.models import Message
from clients.models import Business


def message_by_key(channel: str, key: str) -> tuple[Message | None, bool]:
    """The message of the channel with this key, which is the left part of its Message-ID; and
    whether the key is that of its latest sending."""
    if not key:
        return None, False
    rows = Message.objects.select_related("client").filter(channel=channel)
    usual = (  # has an index; the others are rare
        f"<{key}@{message_keys.sending_domain(Business.objects.get())}>"
    )
    stem = key.partition(".")[0]
    any_sending = Q(message_id__startswith=f"<{stem}@") | Q(message_id__startswith=f"<{stem}.")
    message = rows.filter(message_id=usual).first() or rows.filter(any_sending).first()
    return message, message is not None and message.message_id.startswith(f"<{key}@")


def message_by_provider_id(channel: str, provider_id: str) -> Message | None:
    """The newest of the channel to which the gateway or mail service gave this number."""
    if not provider_id:
        return None
    rows = Message.objects.filter(channel=channel, provider_id=provider_id[:200])
    return rows.select_related("client").order_by("-pk").first()
