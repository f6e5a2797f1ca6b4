"""The call list: whom to phone now, what to say, what is known of earlier tries, and what time it is there."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from django.db.models import Prefetch

from clients.messaging.models import CallNote, Message
from clients.messaging.outbox.permission import why_not
from clients.models import Business, Client
from clients.models.channel import Channel

MOST = 60


@dataclass(frozen=True)
class Call:
    """One client to be phoned."""

    message: Message
    number: str
    extension: str
    there: datetime  # the time at the property
    notes: Sequence[CallNote]
    why_not: str

    @property
    def tel(self) -> str:
        """RFC 3966."""
        return f"tel:{self.number}{f';ext={self.extension}' if self.extension else ''}"


def to_make(business: Business, *, now: datetime) -> list[Call]:
    """Those whose time has come, the longest waiting first; each with why it may not be made any more, if so."""
    notes = CallNote.objects.select_related("by").order_by("-at", "-id")
    rows = Message.objects.due(Channel.CALL).select_related("client")
    messages = list(
        rows.prefetch_related("client__properties", Prefetch("call_notes", notes)).order_by("not_before", "pk")[:MOST]
    )
    reasons = why_not(business, messages) if messages else {}
    return [call_of(message, business, now, reasons.get(message.pk, "")) for message in messages]


def call_of(message: Message, business: Business, now: datetime, reason: str) -> Call:
    number, _, extension = message.address.partition(";ext=")
    notes = list(message.call_notes.all())
    return Call(message, number, extension, now.astimezone(zone_of(message.client, business)), notes, reason)


def zone_of(client: Client, business: Business) -> ZoneInfo:
    home = min(client.properties.all(), key=lambda each: each.pk, default=None)
    return home.zone if home else business.zone
