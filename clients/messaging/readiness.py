"""Is everything there that a first message to a client needs? Each part, and why it is not sound.

What only advises, or asks the network (the sending domain), is added by the page,
views/readiness.py.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from django.conf import settings

from clients.messaging.models import SMTP_BACKEND, MailServer, Message, TextGateway
from clients.messaging.public_address import why_not_public
from clients.messaging.unsendable import Unsendable
from clients.models import Business, channels_with, traits_of


@dataclass(frozen=True)
class ReadyPart:
    """One part: sound or not, in words; only a needed one keeps from sending."""

    label: str
    words: str
    is_sound: bool
    url_name: str
    is_needed: bool = True


def mail_server_label() -> str:
    """The server in use, as “host:port”; a test counts for the server that it was made with."""
    if settings.OUTBOX_BACKEND != SMTP_BACKEND:
        return str(settings.OUTBOX_BACKEND)
    kept = MailServer.in_use()
    return str(kept) if kept else f"{settings.EMAIL_HOST}:{settings.EMAIL_PORT}"


def local_parts(business: Business) -> list[ReadyPart]:
    """Those that can be told without asking the network."""
    parts = [
        public_address_part(),
        sender_part(business),
        mail_server_part(business),
        postal_address_part(business),
    ]
    gateway = TextGateway.current()
    return [*parts, gateway_part(gateway)] if gateway else parts


def public_address_part() -> ReadyPart:
    why = why_not_public(settings.BASE_URL)
    words = f"{why} Set BASE_URL where the program is started." if why else settings.BASE_URL
    return ReadyPart("Public address", words, not why, "settings:ready")


def sender_part(business: Business) -> ReadyPart:
    words = business.sender or "Enter the address that messages come from."
    return ReadyPart("Address to send from", words, bool(business.sender), "settings:business")


def mail_server_part(business: Business) -> ReadyPart:
    label = mail_server_label()
    is_tested = business.mail_tested_with == label
    words = (
        f"{label} took a test mail."
        if is_tested
        else f"{label} has not taken a test mail yet. Send one to yourself."
    )
    return ReadyPart("Mail server", words, is_tested, "settings:mail_server")


def postal_address_part(business: Business) -> ReadyPart:
    is_there = bool(business.street and business.town)
    words = business.postal_address if is_there else "Enter street and town: the law wants them."
    return ReadyPart("Postal address", words, is_there, "settings:business")


def gateway_part(gateway: TextGateway) -> ReadyPart:
    words = f"{gateway} sends from {gateway.sender}." if gateway.sender else "Enter its number."
    return ReadyPart("Text messages", words, bool(gateway.sender), "settings:gateway")


def is_mail_proven(business: Business) -> bool:
    """Whether mail to people of the business leaves: there is a sender, and the server took a
    test mail."""
    return sender_part(business).is_sound and mail_server_part(business).is_sound


def require_ready(business: Business, channel: str) -> None:
    """Raises `Unsendable` if something keeps from sending by this channel."""
    if parts := blocking_parts(business, [channel]):
        raise Unsendable(not_ready_words(parts))


def not_ready_words(parts: Sequence[ReadyPart]) -> str:
    return f"Not ready to send. {' '.join(f'{each.label}: {each.words}' for each in parts)}"


def has_sent_before() -> bool:
    """Whether any machine has ever taken a message: the first real send is over."""
    by_machine = Message.objects.filter(channel__in=channels_with("machine"))
    return by_machine.filter(state__in=["accepted", "delivered", "bounced"]).exists()


def blocking_parts(business: Business, channels: Collection[str]) -> list[ReadyPart]:
    """What keeps from sending by these channels. Before the first message every needed part that
    is unsound; after it only an address that no client can open, or none to send from. Letters and
    calls need none of it; in the demo nothing is kept back."""
    machines = {channel for channel in channels if traits_of(channel).machine}
    if not machines or not settings.BLOCK_UNREADY:
        return []
    parts = (
        [public_address_part(), sender_part(business)]
        if has_sent_before()
        else local_parts(business)
    )
    return [part for part in parts if part.is_needed and not part.is_sound]
