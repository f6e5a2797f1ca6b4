"""Which column tells what: by its head and by its cells, with a score; each thing once."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from jobs.importing.guessing.contents import HISTORY, ContentReader
from jobs.importing.guessing.fields import FIELDS_BY_NAME, LIST_FIELDS
from jobs.importing.guessing.layout import CLIENT_FIELDS, CLIENT_HEAD, GROUP_HEAD, YEAR_HEAD
from jobs.importing.guessing.names import UNUSED, folded_head, name_score
from jobs.importing.guessing.year_columns import YEAR_COLUMN

NAME_WEIGHT = 0.65
LEAST_SCORE = 0.4
NAMED = 0.6  # a head that holds a name of the field among other words
# Cells that cannot be anything else: a head without such cells is not believed.
MUST_FIT = {"email", "phone", "mobile", "done", "area", "price", "postcode"}
HEADLESS_FACTOR = 0.85  # a column told by its cells alone is less sure
# What headings of groups tell, as the layout carries them down.
CARRIED = {
    GROUP_HEAD: {"town": 0.8},
    YEAR_HEAD: {"done": 0.55},
    CLIENT_HEAD: {"client": 0.8},
}
NAMES_SHARE = 0.6  # of the cells of a column of names under a head that says nothing
PRODUCT_SHARE = 0.4  # of the cells: under a head that speaks of products and notes
TOLD_SHARE = 0.3  # of the cells: a column that tells of work with its dates is one of notes
NEVER_BY_CELLS = {"first_name", "last_name", "mobile", "coats", "house_number"}


@dataclass(frozen=True, slots=True)
class ColumnGuess:
    """What a column likely tells, nothing if none of it; and how sure that is, 0 to 1."""

    field: str
    score: float


def guess_columns(
    header: Sequence[str], sample: Sequence[Sequence[str]], reader: ContentReader
) -> list[ColumnGuess]:
    """A guess for each column of the header; `sample` are rows from all over the list."""
    columns = [[row[at] if at < len(row) else "" for row in sample] for at in range(len(header))]
    tests = reader.tests()
    scored = []
    for at, (head, cells) in enumerate(zip(header, columns, strict=True)):
        if not any(cells):
            continue
        shares = {name: reader.share(test, cells) for name, test in tests.items()}
        scored += [
            (score, at, each.name)
            for each in LIST_FIELDS
            if (score := column_score(head, each.name, shares)) >= LEAST_SCORE
            and score >= name_score(head, UNUSED) - 0.15
        ]
    chosen = settle_columns(header, scored)
    if not CLIENT_FIELDS & {each.field for each in chosen.values()}:
        chosen |= name_column(columns, chosen, reader)
    return [chosen.get(at, ColumnGuess("", 0.0)) for at in range(len(header))]


def name_column(
    columns: Sequence[Sequence[str]], chosen: Mapping[int, ColumnGuess], reader: ContentReader
) -> dict[int, ColumnGuess]:
    """The first column that is left and holds names, where no head says whose list it is."""
    is_name = reader.tests()["client"]
    for at, cells in enumerate(columns):
        if at not in chosen and reader.share(is_name, cells) >= NAMES_SHARE:
            return {at: ColumnGuess("client", LEAST_SCORE)}
    return {}


def column_score(head: str, field: str, shares: dict[str, float]) -> float:
    """Head and cells together; for what has no test of its cells the head alone."""
    if head in CARRIED:
        return CARRIED[head].get(field, 0.0)
    if YEAR_COLUMN.fullmatch(head):
        return 0.9 if field == "done" else 0.0
    name = name_score(head, field)
    if field == "notes" and (score := score_of_notes(head, shares)):
        return score
    if field not in shares:
        return name * 0.95
    share = shares[field]
    if not folded_head(head):
        return 0.0 if field in NEVER_BY_CELLS else share * HEADLESS_FACTOR
    if field in MUST_FIT and share < 0.25:
        return 0.3 * name
    if field in NEVER_BY_CELLS and name < 0.6:
        return 0.0
    by_cells = share * 0.55 if not name and field not in {"notes", "client"} else 0.0
    return max(NAME_WEIGHT * name + (1 - NAME_WEIGHT) * share if name else 0.0, by_cells)


def score_of_notes(head: str, shares: dict[str, float]) -> float:
    """Where the cells decide; 0 where they do not. Of “what we used / notes” the product is read:
    what is none goes to the notes anyway."""
    if name_score(head, "product") >= NAMED and shares["product"] >= PRODUCT_SHARE:
        return LEAST_SCORE
    return 0.9 if shares[HISTORY] >= TOLD_SHARE else 0.0


def settle_columns(
    header: Sequence[str], scored: list[tuple[float, int, str]]
) -> dict[int, ColumnGuess]:
    """The best first; what several columns may tell is given more than once."""
    found: dict[int, ColumnGuess] = {}
    taken: set[str] = set()
    for score, at, name in sorted(scored, key=lambda each: (-each[0], each[1])):
        if at in found:
            continue
        is_free = name not in taken or (
            FIELDS_BY_NAME[name].is_repeatable and name_score(header[at], name) >= NAMED
        )
        if is_free:
            found[at] = ColumnGuess(name, round(min(1.0, score), 2))
            taken.add(name)
    return found


def unit_of_head(head: str) -> str:
    """“m2” or “ft2” where the head of a size column says which."""
    words = folded_head(head)
    if re.search(r"(?:\b|\d)(?:sq ft|sqft|ft2|sf|square feet|feet|footage)\b", words):
        return "ft2"
    return "m2" if re.search(r"(?:\b|\d)(?:m2|sq m|sqm|square met\w+|qm)\b", words) else ""


def volume_unit_of_head(head: str) -> str:
    """“gal” or “l”, as the head of an amount says; litres if it does not."""
    return "gal" if re.search(r"\bgal", folded_head(head)) else "l"
