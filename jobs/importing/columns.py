"""The columns of the sheet: what each may hold and what is said when it holds something else.

The table in docs/operations.md ("The sheet") is checked against `COLUMNS` by a test.
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

from clients.models.deck import Deck, Species
from clients.units import SQUARE_FOOT, US_GALLON
from jobs.models import Job, Product, Visit
from jobs.models.product import FinishClass

DATE_FORMS = ["%Y-%m-%d", "%Y/%m/%d", "%d.%m.%Y", "%d %B %Y", "%d %b %Y", "%B %d, %Y", "%b %d, %Y"]
EARLIEST = date(1950, 1, 1)
AMBIGUOUS = re.compile(r"-?[1-9][0-9]{0,2},[0-9]{3}")


class CellError(Exception):
    """What a cell holds cannot be used; the message says what may stand there."""


@dataclass(frozen=True)
class Column:
    """A column: its name, how a cell is read, what it is for and whether it must be filled."""

    name: str
    read: Callable[[str], Any]
    about: str
    is_required: bool = False


def text(most: int) -> Callable[[str], str]:
    def read(cell: str) -> str:
        if len(cell) > most:
            raise CellError(f"is longer than {most:,} characters")
        if "\x00" in cell:
            raise CellError("holds a character that cannot be stored")
        return cell

    return read


def day(cell: str) -> date:
    """A date whose order of day and month cannot be mistaken."""
    for form in DATE_FORMS:
        try:
            found = datetime.strptime(cell, form).date()  # noqa: DTZ007 - a calendar date has no zone
        except ValueError:
            continue
        if found < EARLIEST:
            raise CellError(f"“{cell}” is before 1950")
        return found
    raise CellError(f"“{cell}” is not a date. Write year-month-day, such as 2025-06-30")


def digits(cell: str) -> str:
    """A number with a point, from “12,5”, “1,250.50” or “1 250”; “1,250” could be two numbers and is refused."""
    bare = cell.replace(" ", "").replace("\u00a0", "").replace("\u202f", "")
    if "," in bare and "." in bare:
        thousands = min(",.", key=bare.rindex)
        return bare.replace(thousands, "").replace(",", ".")
    if AMBIGUOUS.fullmatch(bare):
        raise CellError(f"“{cell}” can be read in two ways. Write {bare.replace(',', '')} or {bare.replace(',', '.')}")
    return bare.replace(",", ".") if bare.count(",") == 1 else bare


def decimal(*, least: str, most: str, above: bool = False) -> Callable[[str], Decimal]:
    low, high = Decimal(least), Decimal(most)

    def read(cell: str) -> Decimal:
        try:
            value = Decimal(digits(cell))
        except InvalidOperation:
            raise CellError(f"“{cell}” is not a number") from None
        if not value.is_finite() or value > high or value < low or (above and value == low):
            raise CellError(f"{cell} must be {'above' if above else 'at least'} {least} and at most {most}")
        return value

    return read


def whole(least: int, most: int) -> Callable[[str], int]:
    def read(cell: str) -> int:
        if not cell.lstrip("-").isdigit() or not least <= int(cell) <= most:
            raise CellError(f"“{cell}” must be a whole number from {least} to {most}")
        return int(cell)

    return read


def choice(choices: type[TextChoices]) -> Callable[[str], str]:
    """A value or its label, in any case."""
    known = {name.casefold(): value for value, label in choices.choices for name in (value, str(label))}

    def read(cell: str) -> str:
        if cell.casefold() not in known:
            raise CellError(f"“{cell}” is not one of: {', '.join(choices.values)}")
        return known[cell.casefold()]

    return read


def email(cell: str) -> str:
    try:
        validate_email(cell)
    except ValidationError:
        raise CellError(f"“{cell}” is not one e-mail address") from None
    return cell


def country(cell: str) -> str:
    if len(cell) != 2 or not cell.isalpha() or not cell.isascii():
        raise CellError(f"“{cell}” must be two letters, such as CA")
    return cell.upper()


def square_feet(cell: str) -> Decimal:
    return (decimal(least="0", most="1000000", above=True)(cell) * SQUARE_FOOT).quantize(Decimal("0.01"))


def gallons(cell: str) -> Decimal:
    return (decimal(least="0", most="10000", above=True)(cell) * US_GALLON).quantize(Decimal("0.01"))


COLUMNS = [
    Column("client", text(200), "Name of the client", is_required=True),
    Column("email", email, "E-mail address"),
    Column("phone", text(40), "Telephone number"),
    Column("street", text(200), "Street and number of the property", is_required=True),
    Column("town", text(120), "Town of the property", is_required=True),
    Column("region", text(120), "Province, state or region"),
    Column("postcode", text(20), "Postcode"),
    Column("country", country, "Two letters; empty means the country of the business"),
    Column("latitude", decimal(least="-90", most="90"), "Degrees, if the town is not known"),
    Column("longitude", decimal(least="-180", most="180"), "Degrees, if the town is not known"),
    Column("deck", text(80), "Name of the deck; empty means Deck"),
    Column("area_m2", decimal(least="0", most="100000", above=True), "Area in m² (this or area_ft2 for a new deck)"),
    Column("area_ft2", square_feet, "Area in ft²"),
    Column("species", choice(Species), "Timber"),
    Column("texture", choice(Deck.Texture), "Surface of the boards"),
    Column("traffic", choice(Deck.Traffic), "How much it is walked on"),
    Column("salt", choice(Deck.Salt), "Sea air"),
    Column("roof_percent", whole(0, 100), "Per cent under a roof"),
    Column("shade_percent", whole(0, 100), "Per cent of the sun taken away, summer and winter"),
    Column("deck_notes", text(20_000), "Notes about the deck"),
    Column("job_date", day, "Day the job was finished", is_required=True),
    Column("job_kind", choice(Job.Kind), "What was done", is_required=True),
    Column("product", text(120), "Product that went on"),
    Column("maker", text(120), "Its maker"),
    Column("product_kind", choice(Product.Kind), "What kind of product; empty means finish"),
    Column("finish_class", choice(FinishClass), "Needed when a finish is new to the book"),
    Column("colour", text(80), "Colour"),
    Column("batch", text(60), "Batch code on the tin"),
    Column("coats", whole(1, 10), "Coats of this product; empty means 1"),
    Column("litres", decimal(least="0", most="10000", above=True), "Litres used"),
    Column("gallons", gallons, "US gallons used"),
    Column("grade", whole(0, 5), "As-found grade before the work, 0 unchanged to 5 very marked"),
    Column("visit_reason", choice(Visit.Reason), "Why the visit happened"),
    Column("crew", text(120), "Who did the work"),
    Column("price", decimal(least="0", most="10000000"), "Price charged"),
    Column("currency", text(3), "Three letters; empty means the currency of the business"),
    Column("notes", text(20_000), "Notes about the job"),
]
BY_NAME = {column.name: column for column in COLUMNS}
