"""The columns of the sheet: what each may hold and what is said when it holds something else.

The table in docs/owner.md ("The sheet") is checked against `COLUMNS` by a test.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal, InvalidOperation
from typing import Any

from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db.models import TextChoices

from clients.models import Deck, Species, Surface, ordered_surfaces
from clients.notation import SQUARE_FOOT, US_GALLON
from jobs.models import FinishClass, Job, Product, Visit
from jobs.partial_dates import EARLIEST_JOB_DAY

DATE_FORMATS = [
    "%Y-%m-%d",
    "%Y/%m/%d",
    "%d.%m.%Y",
    "%d %B %Y",
    "%d %b %Y",
    "%B %d, %Y",
    "%b %d, %Y",
]
AMBIGUOUS_NUMBER = re.compile(r"-?[1-9][0-9]{0,2},[0-9]{3}")


class CellError(Exception):
    """What a cell holds cannot be used; the message says what may stand there."""


@dataclass(frozen=True)
class SheetColumn:
    """A column: its name, how a cell is read, what it is for and whether it must be filled."""

    name: str
    read: Callable[[str], Any]
    about: str
    is_required: bool = False


def text_reader(most: int) -> Callable[[str], str]:
    def read(cell: str) -> str:
        if len(cell) > most:
            raise CellError(f"is longer than {most:,} characters")
        if "\x00" in cell:
            raise CellError("holds a character that cannot be stored")
        return cell

    return read


def read_surfaces(cell: str) -> list[str]:
    names = cell.lower().replace(",", " ").split()
    if not set(names) <= set(Surface.values):
        raise CellError(f"holds words other than {', '.join(Surface.values)}")
    return ordered_surfaces(names)


def read_date(cell: str) -> date:
    """A date whose order of day and month cannot be mistaken."""
    for form in DATE_FORMATS:
        try:
            found = datetime.strptime(cell, form).date()  # noqa: DTZ007 - a date has no zone
        except ValueError:
            continue
        if found < EARLIEST_JOB_DAY:
            raise CellError(f"“{cell}” is before 1950")
        return found
    raise CellError(f"“{cell}” is not a date. Write year-month-day, such as 2025-06-30")


def normalized_number(cell: str) -> str:
    """A number with a point, from “12,5”, “1,250.50” or “1 250”;
    “1,250” could be two numbers and is refused."""
    bare = cell.replace(" ", "").replace("\u00a0", "").replace("\u202f", "")
    if "," in bare and "." in bare:
        thousands = min(",.", key=bare.rindex)
        return bare.replace(thousands, "").replace(",", ".")
    if AMBIGUOUS_NUMBER.fullmatch(bare):
        raise CellError(
            f"“{cell}” can be read in two ways. Write {bare.replace(',', '')} or"
            f" {bare.replace(',', '.')}"
        )
    return bare.replace(",", ".") if bare.count(",") == 1 else bare


def decimal_reader(*, least: str, most: str, above: bool = False) -> Callable[[str], Decimal]:
    low = Decimal(least)
    high = Decimal(most)

    def read(cell: str) -> Decimal:
        try:
            value = Decimal(normalized_number(cell))
        except InvalidOperation:
            raise CellError(f"“{cell}” is not a number") from None
        if not value.is_finite() or value > high or value < low or (above and value == low):
            raise CellError(
                f"{cell} must be {'above' if above else 'at least'} {least} and at most {most}"
            )
        return value

    return read


def integer_reader(least: int, most: int) -> Callable[[str], int]:
    def read(cell: str) -> int:
        if not cell.lstrip("-").isdigit() or not least <= int(cell) <= most:
            raise CellError(f"“{cell}” must be a whole number from {least} to {most}")
        return int(cell)

    return read


def choice_reader(choices: type[TextChoices]) -> Callable[[str], str]:
    """A value or its label, in any case."""
    known = {
        name.casefold(): value for value, label in choices.choices for name in (value, str(label))
    }

    def read(cell: str) -> str:
        if cell.casefold() not in known:
            raise CellError(f"“{cell}” is not one of: {', '.join(choices.values)}")
        return known[cell.casefold()]

    return read


def read_email(cell: str) -> str:
    try:
        validate_email(cell)
    except ValidationError:
        raise CellError(f"“{cell}” is not one e-mail address") from None
    return cell


def read_country(cell: str) -> str:
    if len(cell) != 2 or not cell.isalpha() or not cell.isascii():
        raise CellError(f"“{cell}” must be two letters, such as CA")
    return cell.upper()


def read_square_feet(cell: str) -> Decimal:
    return (decimal_reader(least="0", most="1000000", above=True)(cell) * SQUARE_FOOT).quantize(
        Decimal("0.01")
    )


def read_gallons(cell: str) -> Decimal:
    return (decimal_reader(least="0", most="10000", above=True)(cell) * US_GALLON).quantize(
        Decimal("0.01")
    )


SHEET_COLUMNS = [
    SheetColumn("client", text_reader(200), "Name of the client", is_required=True),
    SheetColumn("email", read_email, "E-mail address"),
    SheetColumn("phone", text_reader(40), "Telephone number"),
    SheetColumn("street", text_reader(200), "Street and number of the property", is_required=True),
    SheetColumn("town", text_reader(120), "Town of the property", is_required=True),
    SheetColumn("region", text_reader(120), "Province, state or region"),
    SheetColumn("postcode", text_reader(20), "Postal code"),
    SheetColumn("country", read_country, "Two letters; empty means the country of the business"),
    SheetColumn(
        "latitude", decimal_reader(least="-90", most="90"), "Degrees, if the town is not known"
    ),
    SheetColumn(
        "longitude", decimal_reader(least="-180", most="180"), "Degrees, if the town is not known"
    ),
    SheetColumn("deck", text_reader(80), "Name of the deck; empty means Deck"),
    SheetColumn(
        "area_m2",
        decimal_reader(least="0", most="100000", above=True),
        "Area in m² (this or area_ft2 for a new deck)",
    ),
    SheetColumn("area_ft2", read_square_feet, "Area in ft²"),
    SheetColumn("species", choice_reader(Species), "Wood"),
    SheetColumn("texture", choice_reader(Deck.Texture), "Surface of the boards"),
    SheetColumn("traffic", choice_reader(Deck.Traffic), "How much it is walked on"),
    SheetColumn("salt", choice_reader(Deck.Salt), "Sea air"),
    SheetColumn("roof_percent", integer_reader(0, 100), "Per cent under a roof"),
    SheetColumn(
        "shade_percent", integer_reader(0, 100), "Per cent of the sun taken away, summer and winter"
    ),
    SheetColumn("deck_notes", text_reader(20_000), "Notes about the deck"),
    SheetColumn("job_date", read_date, "Day the job was finished", is_required=True),
    SheetColumn("job_kind", choice_reader(Job.Kind), "What was done", is_required=True),
    SheetColumn("product", text_reader(120), "Product that went on"),
    SheetColumn("maker", text_reader(120), "Its maker"),
    SheetColumn(
        "product_kind", choice_reader(Product.Kind), "What kind of product; empty means finish"
    ),
    SheetColumn(
        "finish_class", choice_reader(FinishClass), "Needed when a finish is new to the book"
    ),
    SheetColumn("colour", text_reader(80), "Colour"),
    SheetColumn("batch", text_reader(60), "Batch code on the can"),
    SheetColumn(
        "surfaces",
        read_surfaces,
        "What it went on: boards, stairs, rails, screens, separated by spaces; empty means all that"
        " the deck has",
    ),
    SheetColumn("coats", integer_reader(1, 10), "Coats of this product; empty means 1"),
    SheetColumn("litres", decimal_reader(least="0", most="10000", above=True), "Litres used"),
    SheetColumn("gallons", read_gallons, "US gallons used"),
    SheetColumn(
        "grade",
        integer_reader(0, 5),
        "As-found grade before the work, 0 unchanged to 5 very marked",
    ),
    SheetColumn("visit_reason", choice_reader(Visit.Reason), "Why the visit happened"),
    SheetColumn("crew", text_reader(120), "Who did the work"),
    SheetColumn("price", decimal_reader(least="0", most="10000000"), "Price charged"),
    SheetColumn(
        "currency", text_reader(3), "Three letters; empty means the currency of the business"
    ),
    SheetColumn("notes", text_reader(20_000), "Notes about the job"),
]
COLUMNS_BY_NAME = {column.name: column for column in SHEET_COLUMNS}
