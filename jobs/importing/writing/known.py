"""What of a chunk the book has already: clients by their numbers, addresses and names, with their
properties, decks and jobs. A handful of queries, however many rows."""

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any

from django.db import connection
from rapidfuzz import fuzz

from clients.models import ContactPoint, Deck, Property
from jobs.importing.cells import name_key, street_key
from jobs.importing.rows import Answers, JobRead, UnitRead, pair_key
from jobs.models import Job

SURE_NAME = 90  # of 100: with a number or address in common it is the same client


@dataclass(slots=True)
class KnownJob:
    """A job of the book or of this chunk."""

    pk: int
    kind: str
    first: date
    last: date
    amount: Decimal | None
    crew: str
    is_new: bool = False


@dataclass(slots=True)
class DeckSlot:
    pk: int
    label: str
    values: dict[str, Any]
    is_new: bool = False
    jobs: list[KnownJob] = field(default_factory=list)


@dataclass(slots=True)
class SiteSlot:
    pk: int
    street: str
    town: str
    values: dict[str, Any]
    decks: list[DeckSlot] = field(default_factory=list)


@dataclass(slots=True)
class ClientSlot:
    """A client with what is known to be theirs."""

    pk: int
    name_key: str
    is_new: bool = False
    notes: str = ""
    points: set[str] = field(default_factory=set)
    kinds: set[str] = field(default_factory=set)
    sites: list[SiteSlot] = field(default_factory=list)

    def site_of(self, street: str, town: str) -> SiteSlot | None:
        """The property at that street; without a street the only one, or the one in that town."""
        key = street_key(street)
        for site in self.sites:
            if key and street_key(site.street) == key:
                return site
        if key:
            return None
        inside = [site for site in self.sites if site.town.casefold() == town.casefold()]
        return inside[0] if inside else None


class KnownClients:
    """The clients that units of a chunk may be, found again by number, address or name."""

    def __init__(self, answers: Answers) -> None:
        self.by_point: dict[str, list[ClientSlot]] = defaultdict(list)
        self.by_name: dict[str, list[ClientSlot]] = defaultdict(list)
        self.decisions = answers.values.get("same", {})
        self.aliases: dict[str, set[str]] = defaultdict(set)
        for pair, choice in self.decisions.items():
            if choice == "same":
                one, _, other = pair.partition("|")
                self.aliases[one].add(other)
                self.aliases[other].add(one)

    def load(self, units: Iterable[UnitRead]) -> None:
        """From the database, whatever may match these units."""
        points: set[str] = set()
        names: set[str] = set()
        for unit in units:
            if unit.client is not None:
                points.update(each[2] for each in unit.client.points)
                names.add(unit.client.name)
        slots = self.load_clients(points, names)
        self.load_points(slots)
        self.load_sites(slots)

    def load_clients(
        self, points: Collection[str], names: Collection[str]
    ) -> dict[int, ClientSlot]:
        """Also by the names that an answer calls the same."""
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT c.id, c.name, c.notes FROM clients_client c WHERE c.archived_at IS NULL"
                " AND c.id = ANY (ARRAY(SELECT n.id FROM clients_client n"
                " WHERE upper(n.name) = ANY (%s) UNION SELECT p.client_id"
                " FROM clients_contactpoint p WHERE p.normalized = ANY (%s)))",
                [[name.upper() for name in names], list(points)],
            )
            slots = {
                pk: ClientSlot(pk, name_key(name), notes=notes)
                for pk, name, notes in cursor.fetchall()
            }
        for slot in slots.values():
            self.by_name[slot.name_key].append(slot)
        return slots

    def load_points(self, slots: dict[int, ClientSlot]) -> None:
        rows = ContactPoint.objects.filter(client__in=list(slots)).order_by()
        for pk, kind, normalized in rows.values_list("client_id", "kind", "normalized"):
            self.add_point(slots[pk], kind, normalized)

    def load_sites(self, slots: dict[int, ClientSlot]) -> None:
        sites: dict[int, SiteSlot] = {}
        rows = Property.objects.filter(client__in=list(slots)).order_by("id")
        for pk, client, street, town, postcode in rows.values_list(
            "id", "client_id", "street", "town", "postcode"
        ):
            sites[pk] = SiteSlot(pk, street, town, {"postcode": postcode})
            slots[client].sites.append(sites[pk])
        decks = self.load_decks(sites)
        jobs = Job.objects.filter(deck__in=list(decks)).order_by("id")
        names = ("id", "deck_id", "kind", "finished_from", "finished_on", "amount", "crew")
        for pk, deck, kind, first, last, amount, crew in jobs.values_list(*names):
            decks[deck].jobs.append(KnownJob(pk, kind, first or last, last, amount, crew))

    def load_decks(self, sites: dict[int, SiteSlot]) -> dict[int, DeckSlot]:
        decks = {}
        names = ("area_m2", "species", "texture", "traffic", "salt", "roof_percent")
        shade = ("summer_shade_percent", "winter_shade_percent")
        for row in Deck.objects.filter(site__in=list(sites), archived_at=None).values(
            "id", "site_id", "label", *names, *shade
        ):
            slot = DeckSlot(row["id"], row["label"], row)
            decks[slot.pk] = slot
            sites[row["site_id"]].decks.append(slot)
        return decks

    def add(self, slot: ClientSlot) -> None:
        self.by_name[slot.name_key].append(slot)

    def add_point(self, slot: ClientSlot, kind: str, normalized: str) -> None:
        slot.points.add(normalized)
        slot.kinds.add(kind)
        self.by_point[normalized].append(slot)

    def find(self, unit: UnitRead) -> ClientSlot | None:
        """The client that a unit is about, if the book or this list has them."""
        assert unit.client is not None  # noqa: S101 - units without one are never written
        key = name_key(unit.client.name)
        points = {each[2] for each in unit.client.points}
        for point in points:
            for slot in self.by_point.get(point, ()):
                if self.is_same_name(key, slot.name_key):
                    return slot
        for name in (key, *self.aliases.get(key, ())):
            for slot in self.by_name.get(name, ()):
                if name != key or self.is_same_by_name(unit, slot, points):
                    return slot
        return None

    def is_same_name(self, key: str, other: str) -> bool:
        """Of two who share a number or an address: what was decided, else how alike they are."""
        if key == other:
            return True
        decided = self.decisions.get(pair_key(key, other))
        if decided:
            return decided == "same"
        return max(fuzz.ratio(key, other), fuzz.token_set_ratio(key, other)) >= SURE_NAME

    def is_same_by_name(self, unit: UnitRead, slot: ClientSlot, points: set[str]) -> bool:
        """Of two of one name: the same street, or nothing that speaks against it."""
        site = unit.site
        if (
            site is None
            or site.is_assumed
            or not slot.sites
            or slot.site_of(site.street, site.town)
        ):
            return True
        is_contradicted = bool(points and slot.points)
        return not is_contradicted and len(slot.name_key.split()) > 1


def job_of(deck: DeckSlot, job: JobRead) -> KnownJob | None:
    """The job of that kind and time, if the deck has it."""
    for known in deck.jobs:
        if known.kind == job.kind and known.first <= job.span.last and job.span.first <= known.last:
            return known
    return None
