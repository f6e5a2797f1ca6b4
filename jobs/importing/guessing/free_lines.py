"""A line of prose for each client, as a notebook has them: “Ottilie Saltonby - 14 Spruce Rd,
Chester - 902-555-0131 - stripped June 2021”."""

import re
from collections.abc import Callable, Iterator, Sequence

from jobs.importing.cells import AMOUNTS, EMAIL_LIKE, phone_pieces, size_in_words
from jobs.importing.files import ListLine

FREE_HEADS = ["Client", "Phone", "E-mail", "Address", "Notes"]
LEAST_WORDS = 6  # of most lines: fewer are cells of a table
BETWEEN = re.compile(r"\s[-–—|]\s|[,;:]\s|\.(?:\s|$)|[()|]")
STREET = re.compile(r"(?:#?\d+[a-z]?|rr ?#?\d+|lot \d+)\s+[^\W\d]", re.I)


def are_free_lines(lines: Sequence[ListLine]) -> bool:
    """Whether most lines tell who and where in prose: long ones, of any number of pieces, with a
    number to call, an address or work. Of two lines or more."""
    texts = [prose(line) for line in lines]
    told = [text for text in texts if tells_who(text) and len(text.split()) >= LEAST_WORDS]
    widths = {len(list(filter(None, line.cells))) for line in lines if tells_who(prose(line))}
    return len(told) > 1 and len(told) > len(texts) / 2 and (len(widths) > 1 or widths == {1})


def prose(line: ListLine) -> str:
    return ", ".join(filter(None, line.cells))


def tells_who(text: str) -> bool:
    return bool(EMAIL_LIKE.search(text) or phone_pieces(text) or STREET.search(text))


def read_free_lines(
    lines: Iterator[ListLine], is_town: Callable[[str], bool]
) -> Iterator[ListLine]:
    """The cells of FREE_HEADS; lines that tell of nobody are titles."""
    for line in lines:
        text = prose(line)
        if tells_who(text):
            yield ListLine(line.number, free_cells(text, is_town))


def free_cells(text: str, is_town: Callable[[str], bool]) -> list[str]:
    emails = [each.strip(".") for each in EMAIL_LIKE.findall(text)]
    rest = EMAIL_LIKE.sub(" | ", text)
    phones = [match[0] for match in phone_pieces(rest)]
    for phone in phones:
        rest = rest.replace(phone, " | ")
    pieces = [piece.strip(" ,;:-–") for piece in BETWEEN.split(rest)]
    name, address, notes = sorted_pieces([piece for piece in pieces if piece], is_town)
    return [name, "; ".join(phones), "; ".join(emails), ", ".join(address), "; ".join(notes)]


def sorted_pieces(
    pieces: list[str], is_town: Callable[[str], bool]
) -> tuple[str, list[str], list[str]]:
    """Name, address and notes: the name ends where figures begin."""
    first, *others = pieces or [""]
    name, *behind = re.split(r"\s(?=#?\d|RR\b)", first, maxsplit=1)
    address: list[str] = []
    notes: list[str] = []
    for piece in [*behind, *others]:
        is_street = not address and STREET.match(piece) and not is_measure(piece)
        if is_street or (len(address) == 1 and is_town(piece)):
            address.append(piece)
        else:
            notes.append(piece)
    return name, address, notes


def is_measure(piece: str) -> bool:
    return bool(size_in_words(piece) or AMOUNTS.match(piece))
