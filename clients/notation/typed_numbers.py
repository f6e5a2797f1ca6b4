"""Numbers as people type them on a phone: “3,8”, “3.8”, “1/2”, “1 ½”, “1,250”, “3.8 L”. Pure."""

import re
import unicodedata
from dataclasses import dataclass
from decimal import Decimal

MOST_LENGTH = 40
FRACTION_PLACES = Decimal("0.0001")
FRACTION = re.compile(r"([-+]?)(?:(\d+) )?(\d+) ?/ ?(\d+)(?: ?([^\d/].*))?")
NUMBER = re.compile(r"([-+]?)([\d.,' ]*\d)(?: ?([^\d.,].*))?")
POWER = re.compile(r"[-+]?\d+(?:\.\d+)?e[-+]?\d{1,3}", re.IGNORECASE)  # as programs write
SPACED = re.compile(r"\d{1,3}(?:[ ']\d{3})+(?:[.,]\d+)?")
GROUPED = re.compile(r"[1-9]\d{0,2}(?:,\d{3})+|[1-9]\d{0,2}(?:\.\d{3})+")


@dataclass(frozen=True)
class TypedNumber:
    """The number, and what stands behind it: “L”, or nothing."""

    value: Decimal
    unit: str = ""


def read_typed_number(text: str, *, grouping_mark: str = ",") -> TypedNumber:
    """Comma and point both part off decimals; a mark before three digits parts off thousands where
    that is how the business writes them (`grouping_mark`). What can be read in no such way raises
    ValueError; it is never taken for another number."""
    plain = plain_characters(text)
    if len(plain) > MOST_LENGTH:
        raise ValueError(text)
    if POWER.fullmatch(plain):
        return TypedNumber(Decimal(plain))
    if parts := FRACTION.fullmatch(plain):
        sign, whole, above, below, unit = parts.groups()
        value = (Decimal(whole or 0) + ratio(above, below)).quantize(FRACTION_PLACES)
    elif parts := NUMBER.fullmatch(plain):
        sign, digits, unit = parts.groups()
        value = read_digits(digits.strip(), grouping_mark)
    else:
        raise ValueError(text)
    return TypedNumber(-value if sign == "-" else value, (unit or "").strip())


def plain_characters(text: str) -> str:
    """“1½” as “1 1/2”; every kind of space, minus and apostrophe as the plain one."""
    apart = [f" {sign}" if "⁄" in unicodedata.normalize("NFKC", sign) else sign for sign in text]
    plain = unicodedata.normalize("NFKC", "".join(apart))
    for ours, theirs in (("/", "⁄"), ("-", "−"), ("'", "’")):
        plain = plain.replace(theirs, ours)
    return " ".join(plain.split())


def ratio(above: str, below: str) -> Decimal:
    if not int(below):
        raise ValueError(f"{above}/{below}")
    return Decimal(above) / Decimal(below)


def read_digits(digits: str, grouping_mark: str) -> Decimal:
    if SPACED.fullmatch(digits):
        return Decimal(re.sub(r"[ ']", "", digits).replace(",", "."))
    if re.search(r"[ ']", digits):
        raise ValueError(digits)
    head, mark, tail = re.fullmatch(r"(.*?)(?:([.,])(\d*))?", digits).groups()  # type: ignore[union-attr]
    if not mark:
        return Decimal(head)
    is_grouped = GROUPED.fullmatch(digits) and (mark == grouping_mark or mark in head)
    if is_grouped:
        return Decimal(re.sub(r"[.,]", "", digits))
    if re.search(r"[.,]", head) and (mark in head or not GROUPED.fullmatch(head)):
        raise ValueError(digits)
    return Decimal(f"{re.sub(r'[.,]', '', head) or 0}.{tail}")
