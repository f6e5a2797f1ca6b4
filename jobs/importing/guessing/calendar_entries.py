"""What an entry of a calendar tells: “Saltonby - strip & seal”, “recoat Pemberly back deck”."""

import re
from collections.abc import Iterable, Iterator
from datetime import date, timedelta
from typing import NamedTuple

from jobs.importing.cells import DECK_NOUNS, KIND_PATTERNS, read_kind
from jobs.importing.files import CALENDAR_HEADER, ListLine, RawSheet
from jobs.importing.guessing.free_lines import BETWEEN, split_who_and_where
from jobs.importing.guessing.sheet_layout import NO_HEADINGS, SheetLayout

ENTRY_HEADS = ["Client", "Address", "Date", "Work", "Product / notes"]
FILLING = re.compile(
    rf"\b(?:(?:back|front|side|rear|upper|lower) )?(?:{DECK_NOUNS})s?\b|"
    r"\b(?:job|day \d+|and|then|at|for|the|de|du|chez|et|\d+ ?(?:x|cts?|coats?|couches?))\b|[&+/]",
    re.I,
)
# Of days of one visit the first of these is what was done.
KINDS = ("strip", "recoat", "repair", "clean")
DAYS_OF_A_VISIT = timedelta(days=4)  # between two entries of one client: with a day of rain


class Entry(NamedTuple):
    """The cells of ENTRY_HEADS."""

    client: str
    address: str
    day: str  # ISO; empty if it cannot be read
    work: str
    notes: str

    @property
    def rank(self) -> int:
        return KINDS.index(read_kind(self.work) or "clean")


def lay_out_calendar(sheet: RawSheet, lines: Iterator[ListLine]) -> SheetLayout:
    layout = SheetLayout(list(ENTRY_HEADS), iter(()), sheet.remarks)
    layout.rows = entry_rows(layout, lines)
    return layout


def entry_rows(layout: SheetLayout, lines: Iterator[ListLine]) -> Iterator[ListLine]:
    padding = [""] * len(CALENDAR_HEADER)
    entries = [[*line.cells, *padding][: len(CALENDAR_HEADER)] for line in lines]
    works = [read_entry(cells) for cells in entries if tells_of_work(cells)]
    for number, entry in enumerate(join_visits(works), start=1):
        yield ListLine(number, [*entry, *NO_HEADINGS])
    if others := len(entries) - len(works):
        words = "1 entry that tells" if others == 1 else f"{others:,} entries that tell"
        layout.remarks.append(f"{words} of no work on a deck stayed out.")


def tells_of_work(cells: list[str]) -> bool:
    """Whether the entry is about a deck at all: dentists stay where they are."""
    return bool(read_kind(cells[0]) or read_kind(cells[3]))


def read_entry(cells: list[str]) -> Entry:
    what, where, day, notes = cells
    pieces = [piece.strip() for piece in BETWEEN.split(what) if piece.strip()]
    named = [piece for piece in pieces if not read_kind(piece)]
    name, address = split_who_and_where(named[0] if named else without_work(what))
    return Entry(without_work(name), where or address, day, what, notes)


def without_work(text: str) -> str:
    for pattern in KIND_PATTERNS.values():
        text = pattern.sub(" ", text)
    return " ".join(FILLING.sub(" ", text).split()).strip(" -–,:")


def join_visits(entries: Iterable[Entry]) -> list[Entry]:
    """Entries in order of day → one for each visit, on its last day: “strip”, and the next day
    “seal, 2nd coat”, are one job."""
    found: list[Entry] = []
    newest: dict[str, int] = {}  # client → place of their newest visit
    for entry in entries:
        at = newest.get(entry.client.casefold())
        if at is not None and is_same_visit(found[at], entry):
            found[at] = joined(found[at], entry)
        else:
            newest[entry.client.casefold()] = len(found)
            found.append(entry)
    return found


def joined(before: Entry, entry: Entry) -> Entry:
    return Entry(
        before.client,
        before.address or entry.address,
        entry.day,
        min(before, entry, key=lambda each: each.rank).work,
        "; ".join(dict.fromkeys(filter(None, [before.notes, entry.notes]))),
    )


def is_same_visit(before: Entry, entry: Entry) -> bool:
    """By who, where and when; without a name each stands alone."""
    is_elsewhere = before.address and entry.address and before.address != entry.address
    if is_elsewhere or not (entry.client and before.day and entry.day):
        return False
    return date.fromisoformat(entry.day) - date.fromisoformat(before.day) <= DAYS_OF_A_VISIT
