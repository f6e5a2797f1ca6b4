"""A message that rings or buzzes and had to wait, say for a gateway that was away, must not do so
at night: looked at when it is claimed.

Only for reminders and offers: what a client asked for a minute ago, or a visit called off, may come
at any hour.
"""

from collections.abc import Iterator, Sequence
from datetime import datetime

from django.db.models import prefetch_related_objects

from clients.messaging.law import LegalRule, LegalRules, countries_of
from clients.messaging.models import Message, SendingRules
from clients.messaging.outbox.compliance import MARKETING_MESSAGE_KINDS
from clients.messaging.quiet import Locality, NeverOpenError, first_allowed_moment
from clients.models import Business, Client

MAX_ZONE_ROUNDS = 10  # properties in several zones: until an hour suits all


def postponed_until(
    business: Business, batch: Sequence[Message], *, now: datetime
) -> dict[int, datetime | str]:
    """Of these messages, those that may not ring now:
    the moment from which they may, or why they never may."""
    ringing = [
        each for each in batch if each.traits.disturbs and each.kind in MARKETING_MESSAGE_KINDS
    ]
    if not ringing:
        return {}
    prefetch_related_objects(ringing, "client__properties")
    law = LegalRules.load()
    rules = SendingRules.current()
    today = business.today(now)
    found: dict[int, datetime | str] = {}
    for message in ringing:
        rule = law.rule_for_all(
            countries_of(message.client),
            sender_country=business.country,
            channel=message.channel,
            on=today,
        )
        try:
            found[message.pk] = next_allowed_moment(business, message, rule, rules, now)
        except NeverOpenError as error:
            found[message.pk] = str(error)
    return {pk: moment for pk, moment in found.items() if moment != now}


def next_allowed_moment(
    business: Business, message: Message, rule: LegalRule, rules: SendingRules, now: datetime
) -> datetime:
    moment = now
    for _ in range(MAX_ZONE_ROUNDS):
        before = moment
        for place in client_locations(business, message.client):
            moment = first_allowed_moment(
                moment,
                place=place,
                channel=message.channel,
                rules=rules,
                law_window=rule.window_local,
            )
        if moment == before:
            return moment
    raise NeverOpenError(NeverOpenError.__doc__)


def client_locations(business: Business, client: Client) -> Iterator[Locality]:
    """The zone, country and region of each property; the business's own where there is none."""
    homes = list(client.properties.all())
    for home in homes:
        yield Locality(home.zone, home.country, home.region)
    if not homes:
        yield Locality(business.zone, business.country, business.region)
