"""How values are written for people: in the units, currency and locale of the business, for clients in theirs."""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import date, datetime
from decimal import ROUND_HALF_UP, Decimal
from functools import cache

import phonenumbers
from babel import Locale, UnknownLocaleError
from babel.dates import format_date, format_skeleton, format_time
from babel.numbers import format_currency, format_decimal
from django.conf import settings
from django.utils import translation
from django.utils.functional import lazy

from clients.languages import page_language, primary
from clients.models import Business
from clients.units import QUANTITIES, Units

_business: ContextVar[Business | None] = ContextVar("business", default=None)
_language: ContextVar[str] = ContextVar("language", default="")  # of the client who reads; empty: staff read


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


@contextmanager
def for_client(language: str) -> Iterator[None]:
    """Inside the block words, dates, money and numbers are in the client's language.

    Where the program has no words in it (or it is empty) they are in that of the business, else in English.
    """
    with reading(page_language(language, business().locale)):
        yield


@contextmanager
def for_staff() -> Iterator[None]:
    """Inside the block everything is written as people of the business read it, whoever caused it."""
    with reading(""):
        yield


@contextmanager
def reading(language: str) -> Iterator[None]:
    token = _language.set(language)
    try:
        with translation.override(language or settings.LANGUAGE_CODE):
            yield
    finally:
        _language.reset(token)


def locale() -> str:
    """That of the business; for a client of another language that language, as its country writes it if it does."""
    own, language = business().locale.replace("-", "_"), _language.get()
    if not language or primary(own) == language:
        return own
    return in_country(language, business().country)


@cache
def in_country(language: str, country: str) -> str:
    """“fr_CA”, or “fr” where no such custom is known (Unicode CLDR)."""
    try:
        return str(Locale(language, country))
    except (UnknownLocaleError, ValueError):
        return language


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


# Written only when their sentence is, in the language in force then.
day_when_read, number_when_read = lazy(day, str), lazy(number, str)
