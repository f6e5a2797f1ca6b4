"""How values are written for people: in the units, currency and locale of the business in force."""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import date, datetime
from decimal import ROUND_HALF_UP, Decimal

import phonenumbers
from babel.dates import format_date, format_skeleton, format_time
from babel.numbers import format_currency, format_decimal

from clients.models import Business
from clients.units import QUANTITIES, Units

_business: ContextVar[Business | None] = ContextVar("business", default=None)


@contextmanager
def written_for(business: Business | None) -> Iterator[None]:
    """Inside the block every value is written the way this business writes."""
    token = _business.set(business)
    try:
        yield
    finally:
        _business.reset(token)


def business() -> Business:
    """The business in force; a plain metric one where none was set."""
    return _business.get() or Business.current() or Business(name="", locale="en", currency="CAD")


def locale() -> str:
    return business().locale.replace("-", "_")


def number(value: Decimal | float, places: int = 1) -> str:
    """A decimal rounded half up, without trailing zeros."""
    rounded = Decimal(value).quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_UP)
    return format_decimal(rounded.normalize(), locale=locale(), decimal_quantization=False)


def measure(value: Decimal | None, quantity: str) -> str:
    if value is None:
        return ""
    kind, units = QUANTITIES[quantity], business().units
    return f"{number(kind.shown(Decimal(value), units))} {kind.symbol(units)}"


def pack_size(litres: Decimal) -> str:
    """A volume as printed on a pack: 0.75 L stays that, 3.785 L is 1 gal."""
    units = business().units
    kind, places = QUANTITIES["volume"], 2 if units == Units.US else 3
    return f"{number(kind.shown(litres, units), places)} {kind.symbol(units)}"


def money(amount: Decimal | None, currency: str = "") -> str:
    if amount is None:
        return ""
    return format_currency(amount, currency or business().currency, locale=locale())


def day(value: date | None) -> str:
    return format_date(value, format="medium", locale=locale()) if value else ""


def weekday(value: date | None) -> str:
    return format_skeleton("MMMEd", value, locale=locale()) if value else ""


def clock(value: datetime | None) -> str:
    """The time of day of a moment, in the zone the moment carries."""
    return format_time(value, format="short", locale=locale()) if value else ""


def month(value: date | None) -> str:
    return format_date(value, format="LLLL y", locale=locale()) if value else ""


def phone(value: str) -> str:
    """National form inside the business's country, international form elsewhere; text that is no number stays."""
    try:
        parsed = phonenumbers.parse(value, business().country)
    except phonenumbers.NumberParseException:
        return value
    inside = parsed.country_code == phonenumbers.country_code_for_region(business().country)
    form = phonenumbers.PhoneNumberFormat.NATIONAL if inside else phonenumbers.PhoneNumberFormat.INTERNATIONAL
    return phonenumbers.format_number(parsed, form)
