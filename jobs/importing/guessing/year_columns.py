"""A column for each year, as many keep their list: “2021 | 2022 | 2023” with “strip”, “x” or “June”
below."""

import re
from collections.abc import Sequence

YEAR = re.compile(r"(?:19|20)\d{2}")
YEAR_COLUMN = re.compile(r"Year (?:19|20)\d{2}")
# a mark says that something was done, and nothing that nothing was
MARKS = {"x", "xx", "y", "yes", "ok", "done", "✓", "✔", "√", "*", "•", "1", "true"}
NOTHING = {"", "-", "–", "—", "n", "no", "none", "0", "n/a", "na", "false", "/"}


def years_of_header(header: Sequence[str]) -> dict[int, str]:
    """Column → its year; none unless two columns or more are years, each another one."""
    found = {at: cell for at, cell in enumerate(header) if YEAR.fullmatch(cell)}
    return found if len(found) > 1 and len(set(found.values())) == len(found) else {}


def named_years(header: Sequence[str], years: dict[int, str]) -> list[str]:
    """The header with years that are told from sizes and prices."""
    return [f"Year {years[at]}" if at in years else cell for at, cell in enumerate(header)]


def dated_cells(cells: list[str], years: dict[int, str]) -> list[str]:
    """The cells of a row, those of years with their year behind what stands in them."""
    return [dated(cell, years[at]) if at in years else cell for at, cell in enumerate(cells)]


def dated(cell: str, year: str) -> str:
    words = cell.casefold().strip(" .")
    if words in NOTHING:
        return ""
    if words in MARKS:
        return year
    return cell if YEAR.search(cell) else f"{cell} {year}"
