"""A line of prose for each client, as a notebook has them: “Ottilie Saltonby - 14 Spruce Rd,
Chester - 902-555-0131 - stripped June 2021”."""

import re
from collections.abc import Callable, Iterator, Sequence

from jobs.importing.cells import AMOUNTS, EMAIL_LIKE, phone_pieces, size_in_words
from jobs.importing.files import ListLine, RawSheet
from jobs.importing.guessing.sheet_layout import NO_HEADINGS, SheetLayout, left_out

FREE_HEADS = ["Client", "Phone", "E-mail", "Address", "Notes"]
LEAST_WORDS = 6  # of most lines: fewer are cells of a table
BETWEEN = re.compile(r"\s[-–—|]\s|[,;:]\s|\.(?:\s|$)|[()|]")
STREET = re.compile(r"(?:#?\d+[a-z]?|rr ?#?\d+|lot \d+)\s+[^\W\d]", re.I)


def lay_out_free_lines(
    sheet: RawSheet, lines: Iterator[ListLine], is_town: Callable[[str], bool]
) -> SheetLayout:
    layout = SheetLayout(list(FREE_HEADS), iter(()), sheet.remarks)
    layout.remarks.append("Each line was read as one client: who, where and what was done.")
    layout.rows = free_rows(layout, lines, is_town)
    return layout


def free_rows(
    layout: SheetLayout, lines: Iterator[ListLine], is_town: Callable[[str], bool]
) -> Iterator[ListLine]:
    titles = 0
    for line in lines:
        text = prose(line)
        if is_title(text):
            titles += 1
        else:
            yield ListLine(line.number, [*free_cells(text, is_town), *NO_HEADINGS])
    if titles:
        left_out(layout, titles, "that name nobody")


def are_free_lines(lines: Sequence[ListLine]) -> bool:
    """Whether most lines are prose: long, and with several facts in one cell, wherever commas cut
    them. Of two lines or more."""
    long = [line for line in lines if len(prose(line).split()) >= LEAST_WORDS]
    mixed = [line for line in long if any(map(mixes_facts, line.cells))]
    return len(mixed) > 1 and len(mixed) > len(long) / 2 >= len(lines) / 4


def mixes_facts(cell: str) -> bool:
    """A number to call, an address or a street among other words."""
    rest, _emails, _phones = take_contacts(cell)
    has_street = STREET.search(rest) is not None and not STREET.match(rest)
    return (rest != cell or has_street) and len(re.findall(r"[^\W\d_]{3,}", rest)) > 2


def prose(line: ListLine) -> str:
    return ", ".join(filter(None, line.cells))


def is_title(text: str) -> bool:
    """Few words, and nothing to call or to find: a heading."""
    tells = EMAIL_LIKE.search(text) or phone_pieces(text) or STREET.search(text)
    return not tells and len(text.split()) < LEAST_WORDS


def take_contacts(text: str) -> tuple[str, list[str], list[str]]:
    """The text with bars in their place, addresses and numbers."""
    emails = [each.strip(".") for each in EMAIL_LIKE.findall(text)]
    rest = EMAIL_LIKE.sub(" | ", text)
    phones = [match[0] for match in phone_pieces(rest)]
    for phone in phones:
        rest = rest.replace(phone, " | ")
    return rest, emails, phones


def free_cells(text: str, is_town: Callable[[str], bool]) -> list[str]:
    rest, emails, phones = take_contacts(text)
    pieces = [piece.strip(" ,;:-–") for piece in BETWEEN.split(rest)]
    name, address, notes = sorted_pieces([piece for piece in pieces if piece], is_town)
    return [name, "; ".join(phones), "; ".join(emails), ", ".join(address), "; ".join(notes)]


def sorted_pieces(
    pieces: list[str], is_town: Callable[[str], bool]
) -> tuple[str, list[str], list[str]]:
    """Name, address and notes: the name ends where figures begin."""
    first, *others = pieces or [""]
    name, rest = split_who_and_where(first)
    behind = [rest] if rest else []
    address: list[str] = []
    notes: list[str] = []
    for piece in [*behind, *others]:
        is_street = not address and STREET.match(piece) and not is_measure(piece)
        if is_street or (len(address) == 1 and is_town(piece)):
            address.append(piece)
        else:
            notes.append(piece)
    return name, address, notes


def split_who_and_where(text: str) -> tuple[str, str]:
    """“Tom Greaves 3 Shore Dr Mahone Bay” → the name, and what begins with figures."""
    name, *behind = re.split(r"\s(?=#?\d|RR\b)", text, maxsplit=1)
    return name, behind[0] if behind else ""


def is_measure(piece: str) -> bool:
    return bool(size_in_words(piece) or AMOUNTS.match(piece))
