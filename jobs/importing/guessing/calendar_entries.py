"""What an entry of a calendar tells: “Saltonby - strip & seal”, “recoat Pemberly back deck”."""

import re
from collections.abc import Iterable, Iterator
from datetime import date, timedelta

from jobs.importing.cells import KIND_PATTERNS, read_kind
from jobs.importing.files import CALENDAR_HEADER, ListLine, RawSheet
from jobs.importing.guessing.free_lines import BETWEEN, split_who_and_where
from jobs.importing.guessing.sheet_layout import NO_HEADINGS, SheetLayout

ENTRY_HEADS = ["Client", "Address", "Date", "Work", "Product / notes"]
FILLING = re.compile(
    r"\b(?:(?:back|front|side|rear|upper|lower) )?(?:decks?|porch|verandah?|patio|terrasse)\b|"
    r"\b(?:job|day \d+|and|then|at|for|the|de|du|chez|et|\d+ ?(?:x|cts?|coats?|couches?))\b|[&+/]",
    re.I,
)
# Of days of one visit the first of these is what was done.
KINDS = ("strip", "recoat", "repair", "clean")
DAYS_OF_A_VISIT = timedelta(days=4)  # between two entries of one client: with a day of rain


def lay_out_calendar(sheet: RawSheet, lines: Iterator[ListLine]) -> SheetLayout:
    layout = SheetLayout(list(ENTRY_HEADS), iter(()), sheet.remarks)
    layout.rows = entry_rows(layout, lines)
    return layout


def entry_rows(layout: SheetLayout, lines: Iterator[ListLine]) -> Iterator[ListLine]:
    padding = [""] * len(CALENDAR_HEADER)
    entries = [[*line.cells, *padding][: len(CALENDAR_HEADER)] for line in lines]
    works = [entry_cells(cells) for cells in entries if tells_of_work(cells)]
    for number, cells in enumerate(join_visits(works), start=1):
        yield ListLine(number, [*cells, *NO_HEADINGS])
    if others := len(entries) - len(works):
        words = "1 entry that tells" if others == 1 else f"{others:,} entries that tell"
        layout.remarks.append(f"{words} of no work on a deck stayed out.")


def tells_of_work(cells: list[str]) -> bool:
    """Whether the entry is about a deck at all: dentists stay where they are."""
    return bool(read_kind(cells[0]) or read_kind(cells[3]))


def entry_cells(cells: list[str]) -> list[str]:
    """The cells of ENTRY_HEADS."""
    what, where, day, notes = cells
    pieces = [piece.strip() for piece in BETWEEN.split(what) if piece.strip()]
    named = [piece for piece in pieces if not read_kind(piece)]
    name, address = split_who_and_where(named[0] if named else without_work(what))
    return [without_work(name), where or address, day, what, notes]


def without_work(text: str) -> str:
    for pattern in KIND_PATTERNS.values():
        text = pattern.sub(" ", text)
    return " ".join(FILLING.sub(" ", text).split()).strip(" -–,:")


def join_visits(entries: Iterable[list[str]]) -> list[list[str]]:
    """Entries in order of day → one for each visit, on its last day: “strip”, and the next day
    “seal, 2nd coat”, are one job."""
    found: list[list[str]] = []
    newest: dict[str, list[str]] = {}
    for entry in entries:
        who = entry[0].casefold()
        before = newest.get(who)
        if before and is_same_visit(before, entry):
            strongest = min(
                before, entry, key=lambda each: KINDS.index(read_kind(each[3]) or "clean")
            )
            before[3] = strongest[3]
            before[2] = entry[2]
            before[4] = "; ".join(dict.fromkeys(filter(None, [before[4], entry[4]])))
            before[1] = before[1] or entry[1]
        else:
            newest[who] = entry
            found.append(entry)
    return found


def rank_of_work(words: str) -> int:
    return KINDS.index(read_kind(words)) if read_kind(words) else len(KINDS)


def is_same_visit(before: list[str], entry: list[str]) -> bool:
    """By who, where and when; without a name each stands alone."""
    is_elsewhere = before[1] and entry[1] and before[1] != entry[1]
    if is_elsewhere or not (entry[0] and before[2] and entry[2]):
        return False
    return date.fromisoformat(entry[2]) - date.fromisoformat(before[2]) <= DAYS_OF_A_VISIT
