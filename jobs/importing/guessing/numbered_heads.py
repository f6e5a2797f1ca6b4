"""Columns as address books write them out: “Phone 1 - Label”, “Phone 1 - Value”, “Address 1 -
City”."""

import re
from collections.abc import Mapping, Sequence

NUMBERED = re.compile(r"(.+?) \d{1,2} - (.+)")
LABELS = {"label", "type"}
WHOLE = {"value", "formatted"}


def plain_heads(header: Sequence[str]) -> list[str]:
    """“Phone” of “Phone 1 - Value”, “City” of “Address 1 - City”; labels, and a whole address whose
    parts stand beside it, tell nothing of their own."""
    parts = {found[2].casefold() for head in header if (found := NUMBERED.fullmatch(head))}
    return [plain_head(head, has_street="street" in parts) for head in header]


def plain_head(head: str, *, has_street: bool) -> str:
    found = NUMBERED.fullmatch(head)
    if not found:
        return head
    thing, part = found[1], found[2]
    if part.casefold() in LABELS or (part.casefold() == "formatted" and has_street):
        return f"Label of {thing.casefold()}"
    return thing if part.casefold() in WHOLE else part


def labelled_columns(header: Sequence[str]) -> dict[int, int]:
    """Column of a value → that of its label."""
    places = {head.casefold(): at for at, head in enumerate(header) if NUMBERED.fullmatch(head)}
    return {
        at: places[label]
        for head, at in places.items()
        if head.endswith(" - value")
        for label in (f"{head.removesuffix('value')}{each}" for each in sorted(LABELS))
        if label in places
    }


def labelled_cells(cells: list[str], labels: Mapping[int, int]) -> list[str]:
    """“902-555-0151 (Mobile)”: each value with what stands in the column of its label."""
    return [
        f"{cell} ({label})" if cell and (label := cell_at(cells, labels.get(at))) else cell
        for at, cell in enumerate(cells)
    ]


def cell_at(cells: Sequence[str], at: int | None) -> str:
    return cells[at].strip("* ") if at is not None and at < len(cells) else ""
