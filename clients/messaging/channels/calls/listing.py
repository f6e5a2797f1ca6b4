"""The call list: whom to phone now, what to say, what is known of earlier tries, and what time it
is there."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from django.db.models import Prefetch

from clients.messaging.models import CallNote, Message
from clients.messaging.models.message import MessageQuerySet, State
from clients.messaging.outbox import reasons_not_to_send
from clients.models import Business, Channel, Client

MAX_CALLS_LISTED = 60


@dataclass(frozen=True)
class DueCall:
    """One client to be phoned."""

    message: Message
    number: str
    extension: str
    local_time: datetime  # the time at the property
    notes: Sequence[CallNote]
    why_not: str

    @property
    def tel(self) -> str:
        """RFC 3966."""
        return f"tel:{self.number}{f';ext={self.extension}' if self.extension else ''}"


def calls_to_make() -> MessageQuerySet:
    """Those whose time has come."""
    return Message.objects.due(Channel.CALL)


def waiting_calls() -> MessageQuerySet:
    """Calls that nobody has made yet, whether or not their time has come."""
    return Message.objects.filter(channel=Channel.CALL, state=State.QUEUED)


def due_calls(business: Business, *, now: datetime) -> list[DueCall]:
    """Those whose time has come, the longest waiting first;
    each with why it may not be made any more, if so."""
    notes = CallNote.objects.select_related("by").order_by("-at", "-id")
    rows = calls_to_make().select_related("client")
    messages = list(
        rows.prefetch_related("client__properties", Prefetch("call_notes", notes)).order_by(
            "not_before", "pk"
        )[:MAX_CALLS_LISTED]
    )
    today = business.today(now)
    reasons = reasons_not_to_send(business, messages, today=today) if messages else {}
    return [
        build_due_call(message, business, now, reasons.get(message.pk, "")) for message in messages
    ]


def build_due_call(message: Message, business: Business, now: datetime, reason: str) -> DueCall:
    number, _, extension = message.address.partition(";ext=")
    notes = list(message.call_notes.all())
    return DueCall(
        message,
        number,
        extension,
        now.astimezone(client_zone(message.client, business)),
        notes,
        reason,
    )


def client_zone(client: Client, business: Business) -> ZoneInfo:
    home = min(client.properties.all(), key=lambda each: each.pk, default=None)
    return home.zone if home else business.zone
