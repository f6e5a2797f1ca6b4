"""How well the cells of a column fit what it may be: the share of them that reads as such."""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date

from jobs.importing.cells import (
    POSTCODES,
    Calendar,
    UnreadableCell,
    finish_class_of,
    is_blank,
    lacks_year,
    names_timber,
    product_kind_of,
    read_area,
    read_emails,
    read_kind,
    read_money,
    read_past_work,
    read_phones,
    read_spans,
)
from jobs.importing.gazetteer import Gazetteer

CellTest = Callable[[str], bool]
HISTORY = "history"  # no field: what makes a column one of notes
HOUSE_NUMBER = re.compile(r"#?\d{1,6} ?[a-z]?|rr ?#?\d+|lot ?\d+", re.I)
STREET_LIKE = re.compile(r"^(?:unit|apt|lot|rr)?\.? ?#?\d+[a-z]? \D{3,}", re.I)


@dataclass(frozen=True)
class ContentReader:
    """What the tests go by."""

    gazetteer: Gazetteer
    today: date

    def tests(self) -> dict[str, CellTest]:
        """Field → whether a cell may hold it. Fields without a test go by their head alone."""
        return {
            "email": lambda cell: reads(read_emails, cell),
            "phone": self.is_phone,
            "mobile": self.is_phone,
            "address": lambda cell: bool(STREET_LIKE.match(cell)) and "," in cell,
            "street": lambda cell: bool(STREET_LIKE.match(cell)) and "," not in cell,
            "house_number": lambda cell: bool(HOUSE_NUMBER.fullmatch(cell)),
            "town": lambda cell: self.gazetteer.is_town(cell.partition(",")[0]),
            "region": lambda cell: self.gazetteer.region(cell) != "",
            "postcode": self.is_postcode,
            "area": is_area_like,
            "species": lambda cell: len(cell) < 40 and names_timber(cell),
            "done": self.is_dated,
            "kind": lambda cell: len(cell) < 60 and bool(read_kind(cell)) and not self.tells(cell),
            "product": is_product_like,
            "price": is_price_like,
            "coats": lambda cell: bool(re.fullmatch(r"[1-9](?: ?c?ts?| coats?|x)?", cell, re.I)),
            "client": is_name_like,
            "last_name": is_name_like,
            "first_name": is_name_like,
            "notes": lambda cell: len(cell.split()) > 3,
            HISTORY: self.tells,
        }

    def is_phone(self, cell: str) -> bool:
        digits = sum(map(str.isdigit, cell))
        return digits >= 7 and reads(read_phones, cell, self.gazetteer.country, "902")

    def tells(self, cell: str) -> bool:
        """Whether work with its date stands in the cell: “oiled 2x spring 21, strip 2018”."""
        return bool(read_past_work(cell, Calendar(self.today, day_first=True)))

    def is_postcode(self, cell: str) -> bool:
        pattern = POSTCODES.get(self.gazetteer.country)
        return bool(pattern and re.fullmatch(pattern, cell, re.I))

    def is_dated(self, cell: str) -> bool:
        return lacks_year(cell) or reads(read_spans, cell, Calendar(self.today, day_first=True))

    def share(self, test: CellTest, cells: Sequence[str]) -> float:
        """Of the cells that hold anything."""
        filled = [cell for cell in cells if not is_blank(cell)]
        return sum(map(test, filled)) / len(filled) if filled else 0.0


def reads(read: Callable[..., object], *given: object) -> bool:
    try:
        return bool(read(*given))
    except UnreadableCell:
        return False


def is_area_like(cell: str) -> bool:
    if re.search(r"[$€£@:]|\d[-/]\d", cell) or len(cell) > 40 or not reads(read_area, cell, "ft2"):
        return False
    bare = re.fullmatch(r"~?\d+(?:\.\d+)?'?", cell)
    return bool(re.search(r"\dx\d|\d\s*[x×]\s*\d|m2|m²|ft|sf|sq|'", cell.casefold())) or (
        bare is not None and 4 <= float(re.sub(r"[~']", "", cell)) <= 5_000
    )


def is_product_like(cell: str) -> bool:
    return len(cell) < 70 and (bool(finish_class_of(cell)) or product_kind_of(cell) != "finish")


def is_price_like(cell: str) -> bool:
    has_mark = re.search(r"[$€£]|\d[.,]\d{2}\b|^\(?-?\d[\d,]*\)?$", cell)
    return has_mark is not None and len(cell) < 40 and reads(read_money, cell)


def is_name_like(cell: str) -> bool:
    words = cell.split()
    return (
        1 <= len(words) <= 6
        and not any(map(str.isdigit, cell))
        and "@" not in cell
        and cell[:1].isupper()
        and not names_timber(cell)
    )
