"""One chunk of a list: all of its rows in one transaction, in a fixed number of statements."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.db import transaction

from clients.actions.saving import lock_until_commit
from clients.models import STREET_NOT_KNOWN, Client, ContactPoint, Deck, Property, Species
from jobs import search
from jobs.actions.jobs import follow_job_changes
from jobs.importing.cells import name_key
from jobs.importing.rows import (
    Answers,
    BookFacts,
    ClientRead,
    DeckRead,
    JobRead,
    SiteRead,
    UnitRead,
)
from jobs.importing.writing.changes import Changes
from jobs.importing.writing.coats import CoatWriter
from jobs.importing.writing.copying import insert_rows, next_keys
from jobs.importing.writing.known import (
    ClientSlot,
    DeckSlot,
    KnownClients,
    KnownJob,
    SiteSlot,
    job_of,
)
from jobs.models import ImportRow, Job, ListImport, Visit

State = ImportRow.State
MAX_NOTES = 20_000


@dataclass
class Outcome:
    """What came of a unit: for its rows, and for undoing."""

    numbers: list[int]
    state: str = State.MATCHED
    why: dict[str, str] = field(default_factory=dict)
    remarks: list[str] = field(default_factory=list)
    client_id: int | None = None
    deck_id: int | None = None
    made: dict[str, list[int]] = field(default_factory=dict)
    before: list[list[Any]] = field(default_factory=list)

    def add(self, kind: str, key: int) -> None:
        self.made.setdefault(kind, []).append(key)
        self.state = State.MADE


class Keys:
    """Keys of new rows, drawn from the sequence `at_once`; none is lost between chunks."""

    def __init__(self) -> None:
        self.left: dict[type[Any], list[int]] = {}
        self.at_once = 1

    def draw(self, model: type[Any]) -> int:
        if not self.left.get(model):
            self.left[model] = next_keys(model, self.at_once)[::-1]
        return self.left[model].pop()


class ChunkWriter:
    """Writes chunks of one list. Lives as long as the run, and keeps only what is small: products,
    batches of the chunk and keys."""

    def __init__(
        self, *, source: ListImport, book: BookFacts, answers: Answers, now: datetime
    ) -> None:
        self.source = source
        self.book = book
        self.answers = answers
        self.now = now
        self.keys = Keys()
        self.coats = CoatWriter(self.keys, source)

    @transaction.atomic
    def write(self, units: Sequence[UnitRead], *, is_trial: bool = False) -> list[Outcome]:
        """All units; the forecasts follow in the same transaction, and the words of the search are
        noted to be written, unless it is a trial that is taken back."""
        lock_until_commit("writing of lists")
        search.search_later()
        self.start_chunk(units)
        outcomes = [self.write_unit(unit) for unit in units]
        self.flush()
        if not is_trial:
            self.follow()
        return outcomes

    def start_chunk(self, units: Sequence[UnitRead]) -> None:
        self.new: dict[type[Any], list[dict[str, Any]]] = {
            model: [] for model in (Client, ContactPoint, Property, Deck, Visit, Job)
        }
        self.changes = Changes()
        self.keys.at_once = max(len(units), 1)
        self.known = KnownClients(self.answers)
        self.known.load(units)
        self.coats.start_chunk(units, self.known)
        self.touched_clients: set[int] = set()
        self.touched_decks: set[int] = set()

    def flush(self) -> None:
        """Parents before children."""
        for model, rows in self.new.items():
            insert_rows(model, rows)
        self.coats.flush()
        self.changes.flush()

    def follow(self) -> None:
        search.note_unwritten(self.touched_clients)
        if self.touched_decks:
            follow_job_changes(deck_ids=self.touched_decks, now=self.now)

    def write_unit(self, unit: UnitRead) -> Outcome:
        outcome = Outcome(unit.numbers, remarks=unit.remarks)
        if unit.problems or unit.client is None:
            outcome.state = State.TO_COMPLETE
            outcome.why = unit.problems
            return outcome
        self.changes.outcome = outcome
        client = self.client(unit, unit.client, outcome)
        outcome.client_id = client.pk
        if why := missing_place(unit, client):
            outcome.state = State.TO_COMPLETE
            outcome.why = {"address": why}
        elif unit.site is not None:
            site = self.site(client, unit.site, outcome)
            if unit.deck is not None:
                self.deck_and_jobs(site, unit.deck, unit.jobs, outcome)
        if outcome.made or outcome.before:
            self.touched_clients.add(client.pk)
        if outcome.before and outcome.state == State.MATCHED:
            outcome.state = State.CHANGED
        return outcome

    def client(self, unit: UnitRead, read: ClientRead, outcome: Outcome) -> ClientSlot:
        slot = self.known.find(unit)
        if slot is None:
            slot = ClientSlot(self.keys.draw(Client), name_key(read.name), is_new=True)
            self.known.add(slot)
            self.new[Client].append({"id": slot.pk, "name": read.name, "notes": ""})
            outcome.add("clients", slot.pk)
        self.note(slot, read.notes)
        for kind, written, normalized in read.points:
            if normalized not in slot.points:
                self.point(slot, kind, written, normalized, outcome)
        return slot

    def note(self, slot: ClientSlot, notes: Sequence[str]) -> None:
        """What the notes of the client do not say yet."""
        added = [each for each in dict.fromkeys(notes) if each not in slot.notes]
        if not added:
            return
        old = slot.notes
        slot.notes = "\n".join(filter(None, [old, *added]))[:MAX_NOTES]
        if slot.is_new:
            self.new_row(Client, slot.pk)["notes"] = slot.notes
        elif slot.notes != old:
            self.changes.add(Client, slot.pk, "notes", old, slot.notes)

    def new_row(self, model: type[Any], key: int) -> dict[str, Any]:
        """Of this chunk, most likely one of the last."""
        return next(row for row in reversed(self.new[model]) if row["id"] == key)

    def point(
        self, slot: ClientSlot, kind: str, written: str, normalized: str, outcome: Outcome
    ) -> None:
        """A new way to reach a client; one of a client of the book is said."""
        key = self.keys.draw(ContactPoint)
        row = {
            "id": key,
            "client_id": slot.pk,
            "kind": kind,
            "value": written[:254],
            "normalized": normalized,
            "is_preferred": kind not in slot.kinds,
        }
        self.known.add_point(slot, kind, normalized)
        self.new[ContactPoint].append(row)
        is_added = not slot.is_new
        state = outcome.state
        outcome.add("points", key)
        if is_added:
            outcome.state = State.CHANGED if state == State.MATCHED else state
            outcome.remarks.append(f"{written} was added.")

    def site(self, client: ClientSlot, read: SiteRead, outcome: Outcome) -> SiteSlot:
        slot = client.site_of(read.street, read.town)
        if read.is_assumed and client.sites:
            slot = client.sites[0]
        if slot is not None:
            if read.postcode and not slot.values.get("postcode"):
                self.changes.add(Property, slot.pk, "postcode", "", read.postcode)
                slot.values["postcode"] = read.postcode
            return slot
        slot = SiteSlot(
            self.keys.draw(Property), read.street, read.town, {"postcode": read.postcode}
        )
        client.sites.append(slot)
        self.new[Property].append(
            {
                "id": slot.pk,
                "client_id": client.pk,
                "street": read.street or STREET_NOT_KNOWN,
                "town": read.town,
                "region": read.region[:120],
                "postcode": read.postcode[:20],
                "country": read.country,
                "latitude": read.latitude,
                "longitude": read.longitude,
                "time_zone": read.time_zone,
            }
        )
        outcome.add("sites", slot.pk)
        return slot

    def deck_and_jobs(
        self, site: SiteSlot, read: DeckRead, jobs: Iterable[JobRead], outcome: Outcome
    ) -> None:
        deck = self.deck(site, read, outcome)
        outcome.deck_id = deck.pk
        for job in jobs:
            self.job(deck, job, outcome)

    def deck(self, site: SiteSlot, read: DeckRead, outcome: Outcome) -> DeckSlot:
        named = decks_named(read.label, site.decks)
        slot = likeliest_deck(named or unnamed_deck(read, site.decks), read)
        if slot is not None:
            self.change_deck(slot, read)
            return slot
        label = f"{read.label} {len(named) + 1}" if named else read.label
        slot = DeckSlot(self.keys.draw(Deck), label, deck_values(read), is_new=True)
        site.decks.append(slot)
        self.new[Deck].append(
            {
                "id": slot.pk,
                "property_id": site.pk,
                "label": label,
                "notes": "\n".join(read.notes)[:MAX_NOTES],
                **slot.values,
            }
        )
        self.touched_decks.add(slot.pk)
        outcome.add("decks", slot.pk)
        return slot

    def change_deck(self, slot: DeckSlot, read: DeckRead) -> None:
        """What the list says otherwise; what it leaves open stays."""
        told = told_columns(read)
        for name, value in deck_values(read).items():
            old = slot.values.get(name)
            if name not in told or old == value:
                continue
            slot.values[name] = value
            if slot.is_new:
                self.new_row(Deck, slot.pk)[name] = value
            else:
                self.changes.add(Deck, slot.pk, name, old, value)
                self.touched_decks.add(slot.pk)

    def job(self, deck: DeckSlot, read: JobRead, outcome: Outcome) -> None:
        known = job_of(deck, read)
        if known is not None:
            self.change_job(known, read)
            self.coats.change(known, read.coats, self.changes)
            if self.changes.has_new:
                self.touched_decks.add(deck.pk)
            return
        known = KnownJob(
            self.keys.draw(Job),
            read.kind,
            read.span.first,
            read.span.last,
            read.price,
            read.crew,
            True,
        )
        deck.jobs.append(known)
        visit = self.visit(deck, read, outcome)
        self.new[Job].append(
            {
                "id": known.pk,
                "deck_id": deck.pk,
                "visit_id": visit,
                "kind": read.kind,
                "finished_from": read.span.from_day,
                "finished_on": read.span.last,
                "crew": read.crew,
                "amount": read.price,
                "currency": read.currency if read.price is not None else "",
                "notes": "\n".join(dict.fromkeys(read.notes))[:MAX_NOTES],
                "source": f"{self.source.file_name[:90]}, row {outcome.numbers[0]}",
                "recorded_by_id": self.source.recorded_by_id,
            }
        )
        self.coats.add(known, read)
        self.touched_decks.add(deck.pk)
        outcome.add("jobs", known.pk)

    def change_job(self, known: KnownJob, read: JobRead) -> None:
        """A closer date, another price or crew; of a job of the book only."""
        if known.is_new:
            return
        first, last = max(known.first, read.span.first), min(known.last, read.span.last)
        if last < known.last:
            self.changes.add(Job, known.pk, "finished_on", known.last, last)
        if first > known.first or (first == last and known.first != known.last):
            self.changes.add(
                Job,
                known.pk,
                "finished_from",
                known.first if known.first != known.last else None,
                first if first != last else None,
            )
        if read.price is not None and read.price != known.amount:
            self.changes.add(Job, known.pk, "amount", known.amount, read.price)
            if known.amount is None:
                self.changes.add(Job, known.pk, "currency", "", read.currency)
        if read.crew and read.crew != known.crew:
            self.changes.add(Job, known.pk, "crew", known.crew, read.crew)

    def visit(self, deck: DeckSlot, read: JobRead, outcome: Outcome) -> int | None:
        """What was found before the work, where a grade is written."""
        if read.grade is None or read.span.from_day is not None:
            return None
        key = self.keys.draw(Visit)
        self.new[Visit].append(
            {
                "id": key,
                "deck_id": deck.pk,
                "visited_on": read.span.last,
                "overall": read.grade,
                "reason": read.reason or Visit.Reason.DUE,
                "recorded_by_id": self.source.recorded_by_id,
            }
        )
        outcome.add("visits", key)
        return key


def missing_place(unit: UnitRead, client: ClientSlot) -> str:
    """What has to be written before the work has a place; nothing if it has one."""
    if unit.site is None:
        return "Write the street and the town of the deck." if unit.jobs else ""
    is_one_of_several = unit.site.is_assumed and len(client.sites) > 1
    return "This client has several properties. Write the street." if is_one_of_several else ""


def decks_named(label: str, decks: Sequence[DeckSlot]) -> list[DeckSlot]:
    """Those of that name, also the second, third and so on: “Deck 2”."""
    pattern = re.compile(rf"{re.escape(label)}(?: \d+)?", re.I)
    return [deck for deck in decks if pattern.fullmatch(deck.label)]


def unnamed_deck(read: DeckRead, decks: Sequence[DeckSlot]) -> list[DeckSlot]:
    """A deck without a name may be the only one there."""
    return list(decks) if read.label.casefold() == "deck" and len(decks) == 1 else []


def likeliest_deck(decks: Iterable[DeckSlot], read: DeckRead) -> DeckSlot | None:
    """The one of that size, else one that may be it."""
    possible = [deck for deck in decks if may_be_same(deck, read)]
    of_size = [deck for deck in possible if deck.values.get("area_m2") == read.area_m2]
    return next(iter([*of_size, *possible]), None)


def may_be_same(slot: DeckSlot, read: DeckRead) -> bool:
    """Two of one list with sizes of their own are two."""
    sizes = (slot.values.get("area_m2"), read.area_m2)
    return not slot.is_new or None in sizes or sizes[0] == sizes[1]


def deck_values(read: DeckRead) -> dict[str, Any]:
    """Columns of a deck, the same ones for each."""
    return {"area_m2": read.area_m2, "species": read.species or Species.UNKNOWN} | {
        "texture": read.exposure.get("texture", Deck.Texture.SMOOTH),
        "traffic": read.exposure.get("traffic", Deck.Traffic.HOUSEHOLD),
        "salt": read.exposure.get("salt", Deck.Salt.NONE),
        "roof_percent": read.exposure.get("roof_percent", 0),
        "summer_shade_percent": read.exposure.get("shade_percent"),
        "winter_shade_percent": read.exposure.get("shade_percent"),
    }


def told_columns(read: DeckRead) -> set[str]:
    """The columns of `deck_values` that the list itself fills."""
    told = set(read.exposure)
    if "shade_percent" in told:
        told |= {"summer_shade_percent", "winter_shade_percent"}
    if read.area_m2 is not None:
        told.add("area_m2")
    if read.species not in {"", Species.UNKNOWN}:
        told.add("species")
    return told
