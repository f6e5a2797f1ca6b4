"""The law of the place put on a message before it is queued: basis, required contents, and how long the basis holds."""

import re
from datetime import date, datetime, time, timedelta

from clients.messaging.law import NONE_NEEDED, Law, Rule, contents, countries_of
from clients.messaging.law.history import last_job_on
from clients.messaging.models import Message, TextGateway
from clients.messaging.unsendable import Unsendable
from clients.models import Business, Client
from clients.models.channel import Channel

MARKETING = {Message.Kind.REMINDER, Message.Kind.OFFER}


def keep_law(business: Business, message: Message, client: Client, *, today: date) -> None:
    """Freeze the rule with the message; raises `Unsendable` if it may not go like this.

    A message about a booked visit is no marketing: its text need only say who writes, which every text does.
    """
    if message.kind not in MARKETING:
        return
    rule = Law.load().rule_for_all(
        countries_of(client), sender_country=business.country, channel=message.channel, on=today
    )
    message.law = rule.code
    if message.consent is None and not message.basis and not rule.needs_consent:
        message.basis = NONE_NEEDED
    check_basis(rule, message.basis)
    check_sender(rule, message.channel)
    contents.check(rule, business=business, text=message.text, basis=message.basis)
    bound(business, message, rule, client)


def check_basis(rule: Rule, basis: str) -> None:
    """A basis that was given must be one there; without any the last look finds the newest consent or none."""
    if basis and rule.needs_consent and not rule.allows(basis):
        raise Unsendable(f"“{basis}” allows no such message there ({rule.code}).")


def check_sender(rule: Rule, channel: str) -> None:
    """Where clients must be able to answer, a name instead of a number as the sender will not do."""
    if channel == Channel.TEXT and rule.reply_required and (words := unanswerable(rule, TextGateway.current())):
        raise Unsendable(words)


def unanswerable(rule: Rule, gateway: TextGateway | None) -> str:
    """Why nobody could answer a text message of this gateway, where the law wants that; empty if they can."""
    if gateway is None or not rule.reply_required or not re.search(r"[^\d+() .-]", gateway.sender):
        return ""
    return f"The law ({rule.code}) wants text messages that can be answered; “{gateway.sender}” is no number."


def bound(business: Business, message: Message, rule: Rule, client: Client) -> None:
    """Not to be sent once its basis has run out."""
    given_on = message.consent.recorded_at.astimezone(business.zone).date() if message.consent else None
    end = rule.consent_expires(message.basis, last_job_on([client.pk]).get(client.pk), given_on)
    if end is None:
        return
    over = datetime.combine(end + timedelta(days=1), time.min, tzinfo=business.zone)
    message.expires_at = min(filter(None, [message.expires_at, over]))
