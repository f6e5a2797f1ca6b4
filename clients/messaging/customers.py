"""Clients whose consent the law table works out from the book: customers of the business, counted
from their last job. It is worked out here, and counts once a person has confirmed it.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from functools import reduce
from operator import or_

from django.db.models import Exists, OuterRef, QuerySet

from clients.messaging.law import LegalRule
from clients.messaging.models import Consent
from clients.messaging.reach import Reach
from clients.models import (
    Business,
    Channel,
    Client,
    ContactPoint,
    channels_with,
    primary_keys,
    traits_of,
)

CUSTOMER = Consent.Basis.CUSTOMER
CUSTOMER_CHANNELS = tuple(channels_with("machine"))
CUSTOMERS_A_PART = 100  # as many are enough for a page; the last clients may bring more
MAX_LOOKED_AT = 2_000  # clients, for one page
CLIENTS_AT_A_TIME = 200


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


@dataclass(frozen=True)
class CustomersPart:
    """Some of them, and after which client the next ones are looked for: 0 if that is all."""

    rows: Sequence[LikelyCustomer]
    after: int

    @property
    def has_if_told(self) -> bool:
        return any(row.rule.implied_if_told for row in self.rows)


def likely_customers(*, business: Business, today: date, after: int = 0) -> CustomersPart:
    """The next of them by name, from after a client on: clients with an address and no entry in
    the log of consents, where the law wants a consent and takes “existing customer” for one on that
    day. However large the book, so many clients are looked at."""
    down = Reach([], business=business).transports_down
    usable = [channel for channel in CUSTOMER_CHANNELS if channel not in down]
    rows = list(clients_to_look_at(usable, after).values_list("pk", "name")[: MAX_LOOKED_AT + 1])
    found: list[LikelyCustomer] = []
    done = 0
    while done < min(len(rows), MAX_LOOKED_AT) and len(found) < CUSTOMERS_A_PART:
        part = rows[done : min(done + CLIENTS_AT_A_TIME, MAX_LOOKED_AT)]
        found += customers_among(part, usable, business=business, today=today)
        done += len(part)
    return CustomersPart(found, rows[done - 1][0] if done < len(rows) else 0)


def clients_to_look_at(channels: Sequence[str], after: int) -> QuerySet[Client]:
    """Current clients by name who have an address by one of these channels that is in use, and
    about whom the log says nothing for it."""
    may_be = [
        Exists(
            ContactPoint.objects.filter(
                client=OuterRef("pk"), kind__in=traits_of(channel).contact_kinds, suspended_at=None
            )
        )
        & ~Exists(Consent.objects.filter(client=OuterRef("pk"), channel=channel))
        for channel in channels
    ]
    if not may_be:
        return Client.objects.none()
    clients = Client.objects.current().filter(reduce(or_, may_be)).order_by("name", "pk")
    last = Client.objects.filter(pk=after).first()
    if last is None:
        return clients
    return clients.filter(name__gte=last.name).exclude(name=last.name, pk__lte=last.pk)


def customers_among(
    clients: Sequence[tuple[int, str]], channels: Sequence[str], *, business: Business, today: date
) -> list[LikelyCustomer]:
    """Of these clients (number and name)."""
    contacts = Reach([pk for pk, _ in clients], business=business)
    return [
        found
        for pk, name in clients
        for channel in channels
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
    keys = primary_keys([box.partition("/")[0] for box in boxes])
    rows = Client.objects.current().filter(pk__in=keys).order_by("name", "pk")
    found = customers_among(
        list(rows.values_list("pk", "name")), CUSTOMER_CHANNELS, business=business, today=today
    )
    return (each for each in found if each.box in boxes)
