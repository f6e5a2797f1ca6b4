"""Clients whose consent the law table works out from the book: customers of the business, counted
from their last job. It is worked out here, and counts once a person has confirmed it.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from clients.messaging.law import LegalRule
from clients.messaging.models import Consent
from clients.messaging.reach import Reach
from clients.models import Business, Channel, Client, channels_with

CUSTOMER = Consent.Basis.CUSTOMER
CUSTOMER_CHANNELS = tuple(channels_with("machine"))


@dataclass(frozen=True)
class LikelyCustomer:
    """A client who may be written to by one channel because they are a customer: since which job,
    until which day (None: no end), by which rule."""

    client_id: int
    client: str
    channel: str
    address: str
    last_job_on: date
    until: date | None
    rule: LegalRule

    @property
    def box(self) -> str:
        return f"{self.client_id}/{self.channel}"

    @property
    def channel_label(self) -> str:
        return str(Channel(self.channel).label)


def likely_customers(*, business: Business, today: date) -> list[LikelyCustomer]:
    """All of them, by name: clients with an address and no entry in the log of consents, where the
    law wants a consent and takes “existing customer” for one on that day."""
    clients = Client.objects.current()
    contacts = Reach(clients.values("pk"), business=business)
    rows = clients.order_by("name", "pk").values_list("pk", "name")
    return [
        found
        for pk, name in rows
        for channel in CUSTOMER_CHANNELS
        if (found := likely_customer(contacts, pk, name, channel, today))
    ]


def likely_customer(
    contacts: Reach, client: int, name: str, channel: str, today: date
) -> LikelyCustomer | None:
    address = contacts.address(client, channel)
    if not address or (client, channel) in contacts.consents or client in contacts.objectors:
        return None
    rule = contacts.rule(client, channel, today)
    if not rule.needs_consent or not rule.allows(CUSTOMER):
        return None
    if channel in contacts.transports_down or contacts.is_suppressed(channel, address):
        return None
    last = contacts.last_jobs.get(client)
    until = rule.consent_expires(CUSTOMER, last, None)
    if last is None or (until is not None and until < today):
        return None
    return LikelyCustomer(client, name, channel, address, last, until, rule)


def chosen_customers(
    boxes: set[str], *, business: Business, today: date
) -> Iterator[LikelyCustomer]:
    """Of the ticked boxes those that still are what was shown."""
    return (each for each in likely_customers(business=business, today=today) if each.box in boxes)
