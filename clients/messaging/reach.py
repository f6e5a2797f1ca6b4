"""May this client be reached by a channel, at which address, on what basis and until when?

The one rule, for one client or for many. Right before a message goes, `outbox/permission.py` asks
in SQL once more, but only for what may have changed since.
"""

import re
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from functools import cached_property
from typing import Any, NamedTuple

from django.db.models import Q

from clients import display
from clients.messaging import suppression
from clients.messaging.law import NONE_NEEDED, REGISTER, LegalRule, LegalRules, last_job_dates
from clients.messaging.models import Consent, Suppression, TextGateway
from clients.models import (
    STREET_NOT_KNOWN,
    Business,
    Channel,
    Client,
    ContactPoint,
    Property,
    channels_with,
    traits_of,
)

NO_SENDER = "The business has no address to send from."
NO_GATEWAY = "No gateway for text messages is in use."
NO_CONSENT_REASON = "There is no consent on record."


class ContactPurpose(StrEnum):
    """What a message is for. All but marketing need no consent, and their value is the basis that
    is frozen with the message."""

    MARKETING = "marketing"  # a reminder or an offer
    BOOKING = "booking"  # a visit that is booked
    SERVICE = "service"  # work that was done
    ANSWER = "asked"  # what the client asked


@dataclass(frozen=True)
class Refusal:
    """Why a client may not be reached, in words."""

    why: str


ARCHIVED = Refusal("The client is archived.")
SUPPRESSED = Refusal("This address asked not to be written to.")
WITHDRAWN = Refusal("The client withdrew consent.")
WITHDRAWN_ELSEWHERE = Refusal("The client withdrew consent elsewhere, so they are left alone.")
WITHDRAWALS = (WITHDRAWN, WITHDRAWN_ELSEWHERE)


class ConsentEntry(NamedTuple):
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

    @property
    def rank(self) -> tuple[bool, int]:
        """The preferred one first, then the oldest."""
        return not self.is_preferred, self.pk


@dataclass(frozen=True)
class Permission:
    """What allows reaching a client: a consent, that the law needs none, or what the message is
    about. `law_ends_on` is the last day by the law of the place, None if it sets no end."""

    basis: str
    rule: LegalRule
    entry: ConsentEntry | None = None
    given_on: date | None = None
    law_ends_on: date | None = None

    @property
    def until(self) -> date | None:
        """The last day, by the law or by the consent's own words."""
        own = self.entry.expires_on if self.entry else None
        return min(filter(None, [self.law_ends_on, own]), default=None)

    @property
    def consent_id(self) -> int | None:
        return self.entry.pk if self.entry else None

    def consent(self) -> Consent | None:
        """The entry of the log, to be frozen with a message; one query."""
        return Consent.objects.get(pk=self.entry.pk) if self.entry else None

    @property
    def allowed_by(self) -> str:
        """For the preview: “Asked and agreed, Jun 12, 2025”."""
        if self.basis == NONE_NEEDED:
            return "No consent is needed there, and nobody objected"
        given = f", {display.format_day(self.given_on)}" if self.given_on else ""
        return f"{Consent.Basis(self.basis).label}{given}"


@dataclass(frozen=True)
class Route:
    """Where to reach a client by one channel, and what allows it."""

    channel: str
    address: str
    permission: Permission

    @property
    def label(self) -> str:
        return str(Channel(self.channel).label)

    @property
    def is_number(self) -> bool:
        return traits_of(self.channel).is_by_number

    @property
    def is_spoken(self) -> bool:
        return traits_of(self.channel).is_spoken


def route_to(client: Client, channel: str, purpose: ContactPurpose, *, on: date) -> Route | Refusal:
    """The route to one client by one channel; to ask more about clients, make a `Reach`."""
    return Reach.of(client).route(client.pk, channel, purpose, on=on)


class Reach:
    """How the clients of a query can be reached.

    `clients` are numbers or a subquery of them. Each question is one query for all of them, asked
    when it first matters; what no channel needs is not read.
    """

    def __init__(self, clients: Any, *, business: Business | None = None) -> None:
        self.clients = clients
        self.business = business or Business.objects.get()
        self.rules: dict[tuple[frozenset[str], str, date], LegalRule] = {}

    @classmethod
    def of(cls, client: Client, *, business: Business | None = None) -> "Reach":
        """Of one client, whose own row is at hand."""
        made = cls([client.pk], business=business)
        made.notable_clients = {client.pk: client}
        return made

    def route(
        self, client: int, channel: str, purpose: ContactPurpose, *, on: date
    ) -> Route | Refusal:
        """The route on that day, or why there is none."""
        row = self.notable_clients.get(client)
        if row and row.archived_at:
            return ARCHIVED
        permission: Permission | Refusal
        if purpose == ContactPurpose.MARKETING:
            permission = self.marketing_permission(client, channel, on=on)
        else:
            permission = Permission(purpose.value, self.rule(client, channel, on))
        if isinstance(permission, Refusal):
            return permission
        return self.route_by(client, channel, permission)

    def route_by(self, client: int, channel: str, permission: Permission) -> Route | Refusal:
        """To the address that is in use, unless it is suppressed."""
        address = self.address(client, channel)
        if not address:
            return Refusal(self.why_no_address(client, channel))
        if self.is_suppressed(channel, address):
            return SUPPRESSED
        return Route(channel, address, permission)

    def first_route(
        self, client: int, channels: Iterable[str], purpose: ContactPurpose, *, on: date
    ) -> Route | None:
        """The first of the channels that is possible."""
        answers = (self.route(client, channel, purpose, on=on) for channel in channels)
        return next((answer for answer in answers if isinstance(answer, Route)), None)

    def marketing_permission(self, client: int, channel: str, *, on: date) -> Permission | Refusal:
        """What allows a reminder or an offer on that day, and that it could be answered where the
        law wants that."""
        rule = self.rule(client, channel, on)
        answer = self.consent_permission(client, channel, rule, on)
        through_gateway = traits_of(channel).through_gateway
        if isinstance(answer, Permission) and through_gateway and rule.reply_required:
            words = why_unanswerable(rule, self.gateway)
            return Refusal(words) if words else answer
        return answer

    def consent_permission(
        self, client: int, channel: str, rule: LegalRule, on: date
    ) -> Permission | Refusal:
        """The newest entry of the log as far as the law takes it, else that none is needed."""
        entry = self.consents.get((client, channel))
        if entry is None:
            return self.permission_without_consent(client, rule, NO_CONSENT_REASON, on)
        if not entry.is_given:
            return WITHDRAWN
        if entry.basis == REGISTER and client in self.objectors:
            return WITHDRAWN_ELSEWHERE
        given_on = self.business.today(entry.recorded_at)
        ends_on = rule.consent_expires(
            entry.basis, self.last_job(client, rule, entry.basis), given_on
        )
        if why := why_not_in_force(entry, rule, ends_on, on):
            return self.permission_without_consent(client, rule, why, on)
        return Permission(entry.basis, rule, entry, given_on, ends_on)

    def permission_without_consent(
        self, client: int, rule: LegalRule, why_consent_fails: str, on: date
    ) -> Permission | Refusal:
        """Where the law needs none, for as long as it says, and until the client objects by
        whatever channel."""
        if rule.needs_consent:
            return Refusal(why_consent_fails)
        ends_on = rule.consent_expires(NONE_NEEDED, self.last_job(client, rule, NONE_NEEDED), None)
        if ends_on and ends_on < on:
            months = rule.months[NONE_NEEDED]
            return Refusal(f"Without consent only within {months} months of a job ({rule.code}).")
        if client in self.objectors:
            return WITHDRAWN_ELSEWHERE
        return Permission(NONE_NEEDED, rule, law_ends_on=ends_on)

    def rule(self, client: int, channel: str, on: date) -> LegalRule:
        """The law of all places that the client's properties and letters are in, and of the
        business's own."""
        key = (self.countries.get(client, frozenset()), channel, on)
        if key not in self.rules:
            self.rules[key] = self.law.rule_for_all(
                key[0], sender_country=self.business.country, channel=channel, on=on
            )
        return self.rules[key]

    def last_job(self, client: int, rule: LegalRule, basis: str) -> date | None:
        """When the client's newest job was finished, where the basis counts from there."""
        return self.last_jobs.get(client) if basis in rule.months else None

    def address(self, client: int, channel: str) -> str:
        """The one to use: the preferred contact point, else the oldest, never a suspended one;
        empty if there is none."""
        traits = traits_of(channel)
        if traits.is_by_post:
            return self.postal_addresses.get(client, "")
        for kind in traits.contact_kinds:
            usable = [
                point
                for point in self.points.get(client, ())
                if point.kind == kind and not point.suspended_at
            ]
            if usable:
                best = min(usable, key=lambda point: point.rank)
                return best.value.strip() if traits.is_by_mailbox else best.normalized
        return ""

    def why_no_address(self, client: int, channel: str) -> str:
        traits = traits_of(channel)
        kinds = traits.contact_kinds
        known = self.points.get(client, ()) if kinds else ()
        suspended = [point for point in known if point.kind in kinds and point.suspended_at]
        if suspended:
            first = min(suspended, key=lambda point: point.rank)
            return f"The address is suspended: {first.suspended_why or 'no reason noted'}."
        return traits.address.value

    def is_suppressed(self, channel: str, address: str) -> bool:
        known = self.suppressed_hashes.get(channel)
        if not known:
            return False
        return suppression.address_hash(self.business, channel, address) in known

    def why_down(self, channel: str) -> str:
        """Why the business cannot use a channel at all; empty if it can."""
        traits = traits_of(channel)
        if not (traits.is_by_mailbox or traits.through_gateway):
            return ""
        if traits.is_by_mailbox and self.business.sender:
            return ""
        return self.transports_down.get(channel, "")

    @cached_property
    def transports_down(self) -> Mapping[str, str]:
        """Channels that the business cannot use at all, with the reason."""
        found: dict[str, str] = {}
        if not self.business.sender:
            found |= dict.fromkeys(channels_with("is_by_mailbox"), NO_SENDER)
        if self.gateway is None:
            found |= dict.fromkeys(channels_with("through_gateway"), NO_GATEWAY)
        return found

    @cached_property
    def gateway(self) -> TextGateway | None:
        return TextGateway.current()

    @cached_property
    def law(self) -> LegalRules:
        return LegalRules.load()

    @cached_property
    def notable_clients(self) -> dict[int, Client]:
        """Those who are archived or have a postal address of their own; most have neither."""
        is_notable = Q(archived_at__isnull=False) | ~Q(postal_street="") | ~Q(postal_country="")
        columns = (
            "archived_at",
            "postal_street",
            "postal_town",
            "postal_region",
            "postal_postcode",
            "postal_country",
        )
        rows = Client.objects.filter(is_notable, pk__in=self.clients).order_by().only(*columns)
        return {row.pk: row for row in rows}

    @cached_property
    def countries(self) -> dict[int, frozenset[str]]:
        """Client → where their properties are and letters go, as
        `clients.messaging.law.countries_of`."""
        found: dict[int, set[str]] = defaultdict(set)
        places = Property.objects.filter(client__in=self.clients).order_by().distinct()
        for client, country in places.values_list("client_id", "country"):
            found[client].add(country)
        for client, row in self.notable_clients.items():
            if row.postal_country:
                found[client].add(row.postal_country)
        return {client: frozenset(each) for client, each in found.items()}

    @cached_property
    def last_jobs(self) -> dict[int, date]:
        return last_job_dates(list(self.countries))

    @cached_property
    def consents(self) -> dict[tuple[int, str], ConsentEntry]:
        """(client, channel) → the newest entry;
        found here, as sorting the whole log takes longer."""
        found: dict[tuple[int, str], ConsentEntry] = {}
        columns = ("client_id", "channel", "pk", "is_given", "basis", "expires_on", "recorded_at")
        for client, channel, *entry in (
            Consent.objects.filter(client__in=self.clients).order_by().values_list(*columns)
        ):
            row = ConsentEntry(*entry)
            known = found.get((client, channel))
            if known is None or (row.recorded_at, row.pk) > (known.recorded_at, known.pk):
                found[client, channel] = row
        return found

    @cached_property
    def objectors(self) -> set[int]:
        """Clients who do not want to hear from the business by one channel or another."""
        return {client for (client, _), entry in self.consents.items() if not entry.is_given}

    @cached_property
    def points(self) -> Mapping[int, Sequence[ContactPointRow]]:
        found: dict[int, list[ContactPointRow]] = defaultdict(list)
        rows = ContactPoint.objects.filter(client__in=self.clients).order_by()
        for client, *point in rows.values_list("client_id", *ContactPointRow._fields):
            found[client].append(ContactPointRow(*point))
        return found

    @cached_property
    def suppressed_hashes(self) -> Mapping[str, set[str]]:
        """Channel → hashes of the addresses that must not be used."""
        found: dict[str, set[str]] = defaultdict(set)
        rows = Suppression.objects.order_by()
        for channel, hashed in rows.values_list("channel", "address_hash"):
            found[channel].add(hashed)
        return found

    @cached_property
    def postal_addresses(self) -> Mapping[int, str]:
        """Client → where letters go: their own postal address, else the oldest property."""
        found = {
            client: row.own_postal_address
            for client, row in self.notable_clients.items()
            if row.postal_street
        }
        homes = (
            Property.objects.filter(client__in=self.clients)
            .exclude(street=STREET_NOT_KNOWN)
            .order_by("client_id", "id")
            .distinct("client_id")
            .only("client_id", "street", "town", "region", "postcode", "country")
        )
        for home in homes:
            found.setdefault(home.client_id, home.postal_address)
        return found


def why_not_in_force(entry: ConsentEntry, rule: LegalRule, ends_on: date | None, on: date) -> str:
    """Why a consent that was given does not count on that day, empty if it does."""
    if entry.expires_on and entry.expires_on < on:
        return f"The consent expired on {entry.expires_on}."
    if rule.needs_consent and not rule.allows(entry.basis):
        kind = Consent.Basis(entry.basis).label.lower()
        return f"“{kind.capitalize()}” is not enough there ({rule.code})."
    if ends_on and ends_on < on:
        return f"The implied consent expired on {display.format_day(ends_on)} ({rule.code})."
    return ""


def why_unanswerable(rule: LegalRule, gateway: TextGateway | None) -> str:
    """Why nobody could answer a text message of this gateway, where the law wants that;
    empty if they can."""
    if gateway is None or not rule.reply_required or not re.search(r"[^\d+() .-]", gateway.sender):
        return ""
    return (
        f"The law ({rule.code}) wants text messages that can be answered; “{gateway.sender}” is no"
        " number."
    )
