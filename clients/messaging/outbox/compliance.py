"""The law of the place put on a message before it is queued:
basis, required contents, and how long the basis holds."""

from datetime import date, datetime, time, timedelta

from clients.messaging.law import (
    NONE_NEEDED,
    LegalRule,
    LegalRules,
    contents,
    countries_of,
    last_job_dates,
)
from clients.messaging.models import Message, TextGateway
from clients.messaging.models.message import MARKETING_MESSAGE_KINDS
from clients.messaging.reach import why_unanswerable
from clients.messaging.unsendable import Unsendable
from clients.models import Business, Client, traits_of


def enforce_law_rule(business: Business, message: Message, client: Client, *, today: date) -> None:
    """Freeze the rule with the message; raises `Unsendable` if it may not go like this.

    A message about a booked visit is no marketing: its text need only say who writes, which every
    text does.
    """
    if message.kind not in MARKETING_MESSAGE_KINDS:
        return
    rule = LegalRules.load().rule_for_all(
        countries_of(client), sender_country=business.country, channel=message.channel, on=today
    )
    message.law = rule.code
    if message.consent is None and not message.basis and not rule.needs_consent:
        message.basis = NONE_NEEDED
    check_basis(rule, message.basis)
    check_sender(rule, message.channel)
    contents.check_required_contents(
        rule, business=business, text=message.text, basis=message.basis
    )
    limit_validity(business, message, rule, client)


def check_basis(rule: LegalRule, basis: str) -> None:
    """A basis that was given must be one there;
    without any the final check finds the newest consent or none."""
    if basis and rule.needs_consent and not rule.allows(basis):
        raise Unsendable(f"“{basis}” allows no such message there ({rule.code}).")


def check_sender(rule: LegalRule, channel: str) -> None:
    """Where clients must be able to answer, a name instead of a number as the sender will not
    do."""
    if (
        traits_of(channel).through_gateway
        and rule.reply_required
        and (words := why_unanswerable(rule, TextGateway.current()))
    ):
        raise Unsendable(words)


def limit_validity(business: Business, message: Message, rule: LegalRule, client: Client) -> None:
    """Not to be sent once its basis has run out."""
    given_on = business.today(message.consent.recorded_at) if message.consent else None
    end = rule.consent_expires(message.basis, last_job_dates([client.pk]).get(client.pk), given_on)
    expire_after(message, end, business)


def expire_after(message: Message, last_day: date | None, business: Business) -> None:
    """Not to be sent after the last day on which its basis holds, if it has one."""
    if last_day:
        over = datetime.combine(last_day + timedelta(days=1), time.min, tzinfo=business.zone)
        message.expires_at = min(filter(None, [message.expires_at, over]))
