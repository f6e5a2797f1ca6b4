"""By which channel a client can be reached, for many at once:
the rule of `clients.messaging.outbox.permission`."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property
from typing import Any, NamedTuple

from clients import display
from clients.messaging import suppression
from clients.messaging.law import NONE_NEEDED, LegalRule, LegalRules
from clients.messaging.law.history import last_job_dates
from clients.messaging.models import Consent, Suppression, TextGateway
from clients.messaging.outbox import permission
from clients.messaging.outbox.compliance import why_unanswerable
from clients.messaging.outbox.permission import CONTACT_KINDS, REFUSAL_REASONS
from clients.models import Business, Client, ContactPoint, Property
from clients.models.channel import Channel

WHY_OBJECTED = "The client withdrew consent elsewhere, so they are left alone."
WHY_NO_TRANSPORT = {
    Channel.EMAIL: "The business has no address to send from.",
    Channel.TEXT: "No gateway for text messages is in use.",
}


@dataclass(frozen=True)
class Route:
    """Where to reach a client by one channel, and what allows it."""

    channel: str
    address: str
    basis: str
    rule: LegalRule
    consent_id: int | None = None
    given_on: date | None = None
    holds_until: date | None = None

    @property
    def label(self) -> str:
        return str(Channel(self.channel).label)

    @property
    def is_number(self) -> bool:
        return self.channel in {Channel.TEXT, Channel.CALL}

    @property
    def allowed_by(self) -> str:
        """For the preview: “Asked and agreed, Jun 12, 2025”."""
        if self.basis == NONE_NEEDED:
            return "No consent is needed there, and nobody objected"
        given = f", {display.format_day(self.given_on)}" if self.given_on else ""
        return f"{Consent.Basis(self.basis).label}{given}"


class ConsentRow(NamedTuple):
    """The newest entry of the consent log for one client and channel."""

    pk: int
    is_given: bool
    basis: str
    expires_on: date | None
    recorded_at: datetime


class ContactPointRow(NamedTuple):
    """A contact point."""

    kind: str
    value: str
    normalized: str
    is_preferred: bool
    pk: int
    suspended_at: datetime | None
    suspended_why: str


class Routes:
    """The ways to the clients of a query; what no channel asks for is not read."""

    def __init__(self, clients: Any, *, business: Business) -> None:
        self.clients = clients
        self.business = business
        self.rules: dict[tuple[frozenset[str], str, date], LegalRule] = {}

    def route(self, client: int, channel: str, *, on: date) -> Route | str:
        """The way on that day, or why there is none, in the order in which `contact_permission`
        asks."""
        if channel in self.transports_down:
            return self.transports_down[channel]
        rule = self.rule(client, channel, on)
        consent = self.consents.get((client, channel))
        basis = permission.basis_in_force(
            consent, rule, last_job_on=self.last_job(client, rule, consent), today=on
        )
        if isinstance(basis, permission.Refusal):
            return basis.why
        if basis == NONE_NEEDED and client in self.objectors:
            return WHY_OBJECTED
        if channel == Channel.TEXT and (words := why_unanswerable(rule, self.gateway)):
            return words
        address = self.address(client, channel)
        if not address:
            return self.why_no_address(client, channel)
        if self.is_suppressed(channel, address):
            return REFUSAL_REASONS["suppressed"]
        return self.route_with_consent(client, channel, address, basis, rule, consent)

    def route_with_consent(
        self,
        client: int,
        channel: str,
        address: str,
        basis: str,
        rule: LegalRule,
        consent: ConsentRow | None,
    ) -> Route:
        """With the consent that it rests on, and the day until which that holds."""
        if consent is None or basis == NONE_NEEDED:
            until = rule.consent_expires(basis, self.last_job(client, rule, consent), None)
            return Route(channel, address, basis, rule, holds_until=until)
        given_on = consent.recorded_at.astimezone(self.business.zone).date()
        until = rule.consent_expires(basis, self.last_job(client, rule, consent), given_on)
        return Route(channel, address, basis, rule, consent.pk, given_on, until)

    def rule(self, client: int, channel: str, on: date) -> LegalRule:
        """The law of all places that the client's properties and letters are in, and of the
        business's own."""
        key = (self.countries.get(client, frozenset()), channel, on)
        if key not in self.rules:
            self.rules[key] = self.law.rule_for_all(
                key[0], sender_country=self.business.country, channel=channel, on=on
            )
        return self.rules[key]

    def last_job(self, client: int, rule: LegalRule, consent: ConsentRow | None) -> date | None:
        """When the client's newest job was finished, where something counts from there."""
        counts = NONE_NEEDED in rule.months or (
            consent is not None and consent.basis in rule.months
        )
        return self.last_jobs.get(client) if counts else None

    def address(self, client: int, channel: str) -> str:
        if channel == Channel.LETTER:
            return self.postal_addresses.get(client, "")
        for kind in CONTACT_KINDS.get(channel, []):
            usable = [
                point
                for point in self.points.get(client, [])
                if point.kind == kind and not point.suspended_at
            ]
            if usable:
                best = min(usable, key=lambda point: (not point.is_preferred, point.pk))
                return best.value.strip() if channel == Channel.EMAIL else best.normalized
        return ""

    def why_no_address(self, client: int, channel: str) -> str:
        """In the words of `contact_permission`, which asks a client that has its contact points at
        hand."""
        row = Client(pk=client)
        row._prefetched_objects_cache = {  # type: ignore[attr-defined] # as prefetch_related leaves it
            "contact_points": [
                ContactPoint(
                    kind=each.kind, suspended_at=each.suspended_at, suspended_why=each.suspended_why
                )
                for each in self.points.get(client, [])
            ]
        }
        return permission.why_no_address(row, channel)

    def is_suppressed(self, channel: str, address: str) -> bool:
        known = self.suppressed_hashes.get(channel, set())
        return bool(known) and suppression.address_hash(self.business, channel, address) in known

    @cached_property
    def transports_down(self) -> Mapping[str, str]:
        """Channels that the business cannot use at all."""
        is_there = {
            Channel.EMAIL: bool(self.business.sender),
            Channel.TEXT: self.gateway is not None,
        }
        return {
            channel: WHY_NO_TRANSPORT[channel] for channel, is_up in is_there.items() if not is_up
        }

    @cached_property
    def gateway(self) -> TextGateway | None:
        return TextGateway.current()

    @cached_property
    def law(self) -> LegalRules:
        return LegalRules.load()

    @cached_property
    def countries(self) -> dict[int, frozenset[str]]:
        """Client → where their properties are and letters go, as
        `clients.messaging.law.countries_of`."""
        found: dict[int, set[str]] = defaultdict(set)
        places = Property.objects.filter(client__in=self.clients).order_by().distinct()
        posted = Client.objects.filter(pk__in=self.clients).exclude(postal_country="").order_by()
        pairs = [
            *places.values_list("client_id", "country"),
            *posted.values_list("pk", "postal_country"),
        ]
        for client, country in pairs:
            found[client].add(country)
        return {client: frozenset(each) for client, each in found.items()}

    @cached_property
    def last_jobs(self) -> dict[int, date]:
        return last_job_dates(list(self.countries))

    @cached_property
    def consents(self) -> dict[tuple[int, str], ConsentRow]:
        """(client, channel) → the newest entry;
        found here, as sorting the whole log takes longer."""
        found: dict[tuple[int, str], ConsentRow] = {}
        columns = ("client_id", "channel", "pk", "is_given", "basis", "expires_on", "recorded_at")
        for client, channel, *entry in (
            Consent.objects.filter(client__in=self.clients).order_by().values_list(*columns)
        ):
            row = ConsentRow(*entry)
            known = found.get((client, channel))
            if known is None or (row.recorded_at, row.pk) > (known.recorded_at, known.pk):
                found[client, channel] = row
        return found

    @cached_property
    def objectors(self) -> set[int]:
        """Clients who do not want to hear from the business by one channel or another."""
        return {client for (client, _), consent in self.consents.items() if not consent.is_given}

    @cached_property
    def points(self) -> dict[int, list[ContactPointRow]]:
        found: dict[int, list[ContactPointRow]] = defaultdict(list)
        columns = (
            "client_id",
            "kind",
            "value",
            "normalized",
            "is_preferred",
            "pk",
            "suspended_at",
            "suspended_why",
        )
        rows = ContactPoint.objects.filter(client__in=self.clients).order_by().values_list(*columns)
        for row in rows:
            found[row[0]].append(ContactPointRow(*row[1:]))
        return found

    @cached_property
    def suppressed_hashes(self) -> dict[str, set[str]]:
        """Channel → hashes of the addresses that must not be used."""
        found: dict[str, set[str]] = defaultdict(set)
        for channel, hashed in Suppression.objects.order_by().values_list(
            "channel", "address_hash"
        ):
            found[channel].add(hashed)
        return found

    @cached_property
    def postal_addresses(self) -> dict[int, str]:
        """As `permission.postal_address` writes them:
        the client's own, else the oldest property."""
        own = Client.objects.filter(pk__in=self.clients).exclude(postal_street="")
        found = {client.pk: permission.postal_address_of(client) for client in own}
        homes = (
            Property.objects.filter(client__in=self.clients)
            .order_by("client_id", "id")
            .distinct("client_id")
        )
        columns = ("client_id", "street", "town", "region", "postcode", "country")
        for client, street, town, region, postcode, country in homes.values_list(*columns):
            if client not in found:
                place = Property(street=street, town=town, region=region)
                found[client] = ", ".join(filter(None, [place.address, postcode, country]))
        return found
