"""From the cells of a row, or of all lines of an invoice, to what they say."""

import re
from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal
from functools import partial
from typing import Any

from jobs.importing.cells import (
    DECK_NOUNS,
    Calendar,
    UnreadableCell,
    calm_capitals,
    deck_name,
    is_blank,
    read_area,
    read_emails,
    read_name,
    read_phones,
    read_timber,
    size_in_words,
    timber_word,
)
from jobs.importing.columns import COLUMNS_BY_NAME, CellError
from jobs.importing.guessing import GROUP_HEAD, unit_of_head
from jobs.importing.rows.doubts import Answers
from jobs.importing.rows.facts import BookFacts
from jobs.importing.rows.jobs_read import JobReader
from jobs.importing.rows.places_read import PlaceReader
from jobs.importing.rows.values import ClientRead, DeckRead, ListRow, UnitRead

EXPOSURE_COLUMNS = {"texture", "traffic", "salt", "roof_percent", "shade_percent"}
PLACE_FIELDS = {"address", "street", "house_number", "town", "region", "postcode", "latitude"}
DECK_WORD = re.compile(rf"\b(?:{DECK_NOUNS})\b", re.I)
MAX_NAME = 200
STOP_WORDS = re.compile(
    r"\b(?:do not|don[’']?t) (?:call|contact|mail|e-?mail|text|phone)|\bdnc\b|"
    r"\bno (?:calls|contact|reminders?|texts|mailings?)\b|"
    r"\bne pas (?:appeler|contacter|[ée]crire|relancer)|"
    r"\b(?:unsubscribed?|deceased|passed away|moved(?: away)?|sold)\b|"
    r"\b(?:d[ée]c[ée]d[ée]e?|d[ée]m[ée]nag[ée]e?)\b",
    re.I,
)
ASKED_NOT_TO = re.compile(r"\b(?:do not|don[’']?t|no|ne pas) \w", re.I)
MAX_LABEL = 80


class Cells:
    """The cells of one row by what their columns tell."""

    def __init__(self, row: ListRow, places: Mapping[str, Sequence[int]]) -> None:
        self.row = row
        self.places = places
        self.texts: dict[str, list[str]] = {}
        cells = row.cells
        for field, columns in places.items():
            for at in columns:
                if at < len(cells) and (text := cells[at]) and not is_blank(text):
                    self.texts.setdefault(field, []).append(text)

    def all(self, field: str) -> Sequence[str]:
        """What stands in the columns of that field; blanks and dashes are nothing."""
        return self.texts.get(field, ())

    def first(self, field: str) -> str:
        found = self.texts.get(field)
        return found[0] if found else ""


class RowReader:
    """Reads the rows of one list by one mapping and the answers to its doubts."""

    def __init__(
        self, heads: Sequence[str], mapping: Sequence[str], book: BookFacts, answers: Answers
    ) -> None:
        self.heads = heads
        self.mapping = mapping
        self.book = book
        self.answers = answers
        self.stop_columns = [at for at, field in enumerate(mapping) if field in {"", "notes"}]
        self.places: dict[str, list[int]] = {}
        for at, field in enumerate(mapping):
            if field:
                self.places.setdefault(field, []).append(at)
        self.area_units = {
            at: unit_of_head(heads[at]) or answers.get("size_unit")
            for at in self.places.get("area", ())
        }
        self.calendar = Calendar(
            book.today,
            answers.get("day_order", default="day") == "day",
            book.is_south,
            answers.get("bare_number", default="year") == "day",
        )
        self.jobs = JobReader(heads, self.places, book, answers, self.calendar)
        own_towns = [at for at in self.places.get("town", ()) if heads[at] != GROUP_HEAD]
        self.sites = PlaceReader(own_towns, book, answers)

    def read(self, rows: Sequence[ListRow]) -> UnitRead:
        """One row, or the lines of one invoice."""
        cells = [Cells(row, self.places) for row in rows]
        unit = UnitRead([row.number for row in rows])
        first = cells[0]
        unit.client = self.client(first, unit)
        unit.site = self.guarded(unit, "town", lambda: self.sites.read(first, unit))
        unit.deck = self.deck(cells, unit)
        self.jobs.read(cells, unit)
        if unit.site is None and unit.jobs and not PLACE_FIELDS & self.places.keys():
            unit.site = self.sites.assumed(unit)
        self.check(unit)
        return unit

    def guarded(self, unit: UnitRead, field: str, read: Callable[[], Any]) -> Any:
        """What was read; a cell that cannot be is a problem of its field."""
        try:
            return read()
        except (UnreadableCell, CellError) as error:
            unit.problems.setdefault(field, str(error))
            return None

    def client(self, cells: Cells, unit: UnitRead) -> ClientRead | None:
        names = [cells.first("first_name"), cells.first("last_name")]
        name = read_name(calm_capitals(cells.first("client") or " ".join(filter(None, names))))
        company = calm_capitals(cells.first("company"))
        if not name and not company:
            unit.problems["client"] = "Write the name of the client."
            return None
        client = ClientRead((name or company)[:MAX_NAME])
        if name and company:
            client.notes.append(company)
        self.read_contacts(cells, client, unit)
        self.note_stops(cells, client, unit)
        return client

    def note_stops(self, cells: Cells, client: ClientRead, unit: UnitRead) -> None:
        """“Do not call”, also in a column that nothing else is read from; who moved or sold, there
        alone: in a note it may be about anything."""
        row = cells.row.cells
        for at in self.stop_columns:
            text = row[at] if at < len(row) else ""
            found = STOP_WORDS.search(text) if text else None
            if found and (not self.mapping[at] or ASKED_NOT_TO.match(found[0])):
                client.notes.append(f"{self.heads[at]}: {text}".strip(": "))
                unit.remarks.append(
                    f"“{text}” went to the notes of the client. Stop there what they do not want."
                )

    def read_contacts(self, cells: Cells, client: ClientRead, unit: UnitRead) -> None:
        """Numbers and addresses, in whichever of their columns they stand."""
        for cell in cells.all("email"):
            client.emails += self.guarded(unit, "email", partial(read_emails, cell)) or ()
        for field in ("mobile", "phone"):
            for cell in cells.all(field):
                self.read_phone_cell(cell, field, client, unit)

    def read_phone_cell(self, cell: str, field: str, client: ClientRead, unit: UnitRead) -> None:
        if "@" in cell:
            client.emails += self.guarded(unit, "email", lambda: read_emails(cell)) or ()
            cell = " ".join(word for word in cell.split() if "@" not in word)
        if not any(map(str.isdigit, cell)):
            if cell.strip(" ,;/"):
                client.notes.append(cell)
            return
        area_code = self.answers.get("area_code", default=self.book.area_code)
        read = partial(
            read_phones, cell, self.book.country, area_code, of_mobiles=field == "mobile"
        )
        found = self.guarded(unit, field, read)
        known = {phone.e164 for phone in client.phones}
        client.phones += [phone for phone in found or () if phone.e164 not in known]

    def deck(self, lines: Sequence[Cells], unit: UnitRead) -> DeckRead | None:
        """None where nothing at all tells of a deck or of work."""
        first = lines[0]
        if not any(cells.all(field) for cells in lines for field in self.deck_fields()):
            return None
        written = first.first("deck")
        deck = DeckRead(written or told_of_deck(first.all("notes")) or "Deck")
        self.read_size(first, deck, unit)
        if deck.area_m2 is None and "area" not in self.places:
            deck.area_m2 = size_of_items(lines)
        self.read_species(first, deck)
        deck.label = (deck_name(written) or "Deck")[:MAX_LABEL]
        if written and deck.label.casefold() != written.casefold():
            deck.notes.append(written)
        deck.notes += first.all("deck_notes")
        for name in first.texts.keys() & EXPOSURE_COLUMNS:
            if cell := first.first(name):
                value = self.guarded(unit, name, partial(COLUMNS_BY_NAME[name].read, cell))
                if value is not None:
                    deck.exposure[name] = value
        return deck

    def deck_fields(self) -> list[str]:
        return ["deck", "area", "species", "done", "kind", "product", "item", "deck_notes", "notes"]

    def read_size(self, cells: Cells, deck: DeckRead, unit: UnitRead) -> None:
        """Of its own column, where the list has none of the name of the deck. A size that cannot be
        read stays unknown, its words go to the notes."""
        if "area" not in self.places and (words := size_in_words(deck.label)):
            found = read_area(words)
            deck.area_m2 = found.m2 if found else None
        for at in self.places.get("area", ()):
            text = cells.row.cells[at] if at < len(cells.row.cells) else ""
            if is_blank(text):
                continue
            try:
                found = read_area(
                    text, self.area_units[at] or ("m2" if self.book.is_metric else "ft2")
                )
            except UnreadableCell:
                deck.notes.append(f"Size: {text}")
                unit.remarks.append("The size could not be read and went to the notes.")
                continue
            deck.area_m2 = found.m2 if found else None
            if found and any(map(str.isalpha, text.replace("x", ""))) and len(text) > 18:
                deck.notes.append(f"Size: {text}")

    def read_species(self, cells: Cells, deck: DeckRead) -> None:
        """Of its own column; where the list has none, of the name of the deck."""
        text = cells.first("species")
        if not text and "species" not in self.places:
            text = timber_word(deck.label)
        if not text:
            return
        found = read_timber(text)
        deck.species = self.answers.get("timber", text) or found.species
        if not found.species:
            deck.notes.append(f"Wood: {text}")

    def check(self, unit: UnitRead) -> None:
        """What a deck needs that is not there."""
        if unit.site is None or unit.problems:
            return
        if unit.deck is None and unit.site.street:
            unit.deck = DeckRead("Deck")
        if not unit.site.street and unit.deck is not None:
            unit.remarks.append("No street is written.")


def told_of_deck(notes: Sequence[str]) -> str:
    """What notes say of the deck itself: “cedar deck 600 sq ft” of more; nothing if they do not."""
    parts = [part for note in notes for part in re.split(r"[.;,\n](?=\s|$)", note)]
    about = (part for part in parts if size_in_words(part) or timber_word(part))
    return next((part for part in about if DECK_WORD.search(part) or is_bare(part)), "")


def is_bare(part: str) -> bool:
    """Whether nothing but size and wood stands there: “Cedar 16x20”."""
    return deck_name(part) in {"", f"{timber_word(part)} deck".capitalize()}


def size_of_items(lines: Sequence[Cells]) -> Decimal | None:
    """The size of the deck where a line of the invoice tells it, m²."""
    for cells in lines:
        if words := size_in_words(cells.first("item")):
            found = read_area(words)
            return found.m2 if found else None
    return None
