"""The page on which a person looks at messages word for word, leaves some out, and sends the rest:
what it shows, whatever the messages are about."""

from collections import Counter
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from django.utils.timesince import timesince

from clients.messaging.models import Message, SendingRules
from clients.models import Channel, traits_of


@dataclass(frozen=True)
class RowToSend:
    """One message as it would go: to whom, by which way and why by that one, word for word.

    `box` is the value of its tick box; `goes` says when if it waits for a day of its own.
    """

    box: str
    client: str
    channel: str
    address: str
    text: str
    subject: str = ""
    about: str = ""
    allowed_by: str = ""
    passed_over: str = ""
    goes: str = ""
    parts: int = 0
    warnings: Sequence[str] = ()
    is_ticked: bool = True

    @property
    def way(self) -> str:
        return str(Channel(self.channel).label)

    @property
    def is_spoken(self) -> bool:
        return traits_of(self.channel).is_spoken


@dataclass(frozen=True)
class ConfirmPage:
    """What is asked, with everything that its answer has to send again; with `can_change` a button
    leads back to the form as it was filled in (`again` is posted)."""

    title: str
    action: str
    hidden: Sequence[tuple[str, str]]
    rows: Sequence[RowToSend]
    button: str
    back: tuple[str, str]  # address and words
    notes: Sequence[str] = ()
    can_change: bool = False
    take_back_minutes: int = field(default_factory=lambda: SendingRules.current().take_back_minutes)

    @property
    def first_warned(self) -> RowToSend | None:
        return next((row for row in self.rows if row.warnings), None)


def recent_contact_warnings(client_ids: Collection[int], *, now: datetime) -> dict[int, str]:
    """Client → “Had a reminder 3 minutes ago.”, where that is nearer than the owner's days between
    two reminders or offers."""
    apart = timedelta(days=SendingRules.current().days_between)
    near = Message.objects.filter(client__in=client_ids).marketing_since(now - apart)
    found = {}
    for message in near.order_by("pk").defer("text", "html"):
        found[message.client_id] = contact_warning(message, now)
    return found


def contact_warning(message: Message, now: datetime) -> str:
    what = {"reminder": "a reminder", "offer": "an offer"}[message.kind]
    moment: datetime = message.accepted_at or message.queued_at
    if message.accepted_at is None and message.not_before > now + timedelta(days=1):
        return f"{what.capitalize()} is on its way to them."
    return f"Had {what} {timesince(moment, now, depth=1)} ago."


def sent_in_words(messages: Iterable[Message]) -> str:
    """“6 mailed, 2 to print”."""
    counted = Counter(message.channel for message in messages)
    return ", ".join(
        f"{counted[each]} {traits_of(each).told_words}" for each in Channel if counted[each]
    )
