"""How values are written for people: in the units, currency and locale of the business, for clients
in theirs."""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import date, datetime
from decimal import ROUND_HALF_UP, Decimal
from functools import cache, lru_cache

import phonenumbers
from babel import Locale, UnknownLocaleError
from babel.dates import format_date, format_skeleton, format_time
from babel.numbers import format_compact_currency, format_currency, format_decimal, get_group_symbol
from django.conf import settings
from django.utils import translation
from django.utils.functional import lazy
from django.utils.translation import gettext

from clients.models import Business
from clients.notation import QUANTITIES, Units, primary_language, supported_language, typography

_business: ContextVar[Business | None] = ContextVar("business", default=None)
_language: ContextVar[str] = ContextVar(
    "language", default=""
)  # of the client who reads; empty: staff read


@contextmanager
def override_business(business: Business | None) -> Iterator[None]:
    """Inside the block every value is written the way this business writes."""
    token = _business.set(business)
    try:
        yield
    finally:
        _business.reset(token)


def current_business() -> Business:
    """The business in force; a plain metric one where none was set."""
    return _business.get() or Business.current() or Business(name="", locale="en", currency="CAD")


@contextmanager
def in_client_language(language: str) -> Iterator[None]:
    """Inside the block words, dates, money and numbers are in the client's language.

    Where the program has no words in it (or it is empty) they are in that of the business, else in
    English.
    """
    with override_language(supported_language(language, current_business().locale)):
        yield


@contextmanager
def in_staff_language() -> Iterator[None]:
    """Inside the block everything is written as people of the business read it, whoever caused
    it."""
    with override_language(""):
        yield


@contextmanager
def override_language(language: str) -> Iterator[None]:
    token = _language.set(language)
    try:
        with translation.override(language or settings.LANGUAGE_CODE):
            yield
    finally:
        _language.reset(token)


def current_locale() -> Locale:
    """Of whoever reads: of staff, or of the client in whose language the block is."""
    return locale_for_language(_language.get(), current_business())


def grouping_mark() -> str:
    """What parts off thousands where this is read: “,” in English, “.” in German."""
    return str(get_group_symbol(current_locale()))


def locale_for_language(language: str, business: Business) -> Locale:
    """How the business writes, if that is in this language (or none is given); else how its country
    writes the language, else the language alone (Unicode CLDR), else English."""
    return _first_known_locale(language, business.locale, business.country)


@cache
def _first_known_locale(language: str, own: str, country: str) -> Locale:
    spoken = primary_language(language or own)
    tags = [own] if spoken == primary_language(own) else [language] * ("-" in language)
    for tag in [*tags, f"{spoken}-{country}", spoken]:
        try:
            return Locale.parse(tag, sep="-")
        except (UnknownLocaleError, ValueError):
            continue
    return Locale("en")


def format_number(value: Decimal | float, places: int = 1) -> str:
    """A decimal rounded half up, without trailing zeros."""
    return write_number(value, places, current_locale())


@lru_cache(maxsize=4_000)  # as `write_day`
def write_number(value: Decimal | float, places: int, locale: Locale) -> str:
    rounded = Decimal(value).quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_UP)
    return format_decimal(rounded.normalize(), locale=locale, decimal_quantization=False)


def format_measure(value: Decimal | None, quantity: str) -> str:
    if value is None:
        return ""
    kind = QUANTITIES[quantity]
    units = current_business().units
    return f"{format_number(kind.from_si(Decimal(value), units))} {kind.symbol(units)}"


def format_whole_range(low: Decimal, high: Decimal, quantity: str) -> str:
    """“8 to 17 °C”, in whole units; “8 °C” where both are the same then."""
    kind = QUANTITIES[quantity]
    units = current_business().units
    ends = [format_number(kind.from_si(end, units), 0) for end in (low, high)]
    return f"{' to '.join(dict.fromkeys(ends))} {kind.symbol(units)}"


def format_rain(rain_mm: Decimal) -> str:
    """A depth of rain: to a tenth of a millimetre under one, else whole; to a hundredth of an
    inch."""
    kind = QUANTITIES["rain"]
    units = current_business().units
    metric_places = 1 if rain_mm < 1 else 0
    places = 2 if units == Units.US else metric_places
    return f"{format_number(kind.from_si(rain_mm, units), places)} {kind.symbol(units)}"


def format_size(area_m2: Decimal | None) -> str:
    """The area of a deck, or that nobody knows it."""
    return format_measure(area_m2, "area") or gettext("size not known")


def format_total_size(area_m2: Decimal | None, unsized: int) -> str:
    """The area of several decks, and how many of them have none in the book."""
    if not unsized:
        return format_measure(area_m2 or Decimal(0), "area")
    if not area_m2:
        return "size not known"
    return f"{format_measure(area_m2, 'area')} and {unsized} without a size"


def format_pack_size(litres: Decimal) -> str:
    """A volume as printed on a pack: 0.75 L stays that, 3.785 L is 1 gal."""
    units = current_business().units
    kind = QUANTITIES["volume"]
    places = 2 if units == Units.US else 3
    return f"{format_number(kind.from_si(litres, units), places)} {kind.symbol(units)}"


def format_money(amount: Decimal | None, currency: str = "") -> str:
    if amount is None:
        return ""
    return write_money(amount, currency or current_business().currency, current_locale())


@lru_cache(maxsize=4_000)
def write_money(amount: Decimal, currency: str, locale: Locale) -> str:
    return format_currency(amount, currency, locale=locale).replace("-", "\N{MINUS SIGN}")


def format_whole_money(amount: Decimal | None) -> str:
    """Rounded to whole units of the currency."""
    if amount is None:
        return ""
    return write_whole_money(amount, current_business().currency, current_locale())


@lru_cache(maxsize=4_000)
def write_whole_money(amount: Decimal, currency: str, locale: Locale) -> str:
    pattern = locale.currency_formats["standard"].pattern.replace(".00", "").replace(",00", "")
    return format_currency(amount, currency, pattern, locale=locale, currency_digits=False)


def format_short_money(amount: Decimal | float) -> str:
    """“$12K”: a level beside a picture."""
    currency = current_business().currency
    written: str = format_compact_currency(amount, currency, locale=current_locale())
    return written


def format_day(value: date | None) -> str:
    return format_day_as("medium", value)


def format_weekday(value: date | None) -> str:
    return format_day_as("MMMEd", value)


def format_day_as(form: str, value: date | None) -> str:
    """A day in the order the locale uses; `form` is a skeleton of CLDR such as MMMd, or “medium”.
    Of a moment the day on its own clock."""
    if not value:
        return ""
    day = value.date() if isinstance(value, datetime) else value
    return write_day(day, form, current_locale())


@lru_cache(maxsize=4_000)  # a page says the same days and months over and over
def write_day(day: date, form: str, locale: Locale) -> str:
    if form == "medium":
        return str(format_date(day, format=form, locale=locale))
    return str(format_skeleton(form, day, locale=locale))


def end_once(sentence: str) -> str:
    """“… from 4:00 p.m..” with one full stop: the clock of some languages ends in one."""
    return sentence[:-1] if sentence.endswith("..") else sentence


def format_clock(value: datetime | None) -> str:
    """The time of day of a moment, in the zone the moment carries."""
    return format_time(value, format="short", locale=current_locale()) if value else ""


def format_month(value: date | None) -> str:
    return write_month(value, "LLLL y", current_locale()) if value else ""


def format_month_name(value: date) -> str:
    """“March” without its year."""
    return write_month(value, "LLLL", current_locale())


@lru_cache(maxsize=4_000)
def write_month(value: date, pattern: str, locale: Locale) -> str:
    return format_date(value, format=pattern, locale=locale)


def format_country(code: str) -> str:
    """Its name in the language in force (Unicode CLDR)."""
    return str(current_locale().territories.get(code, code))


def set_page_type(markup: str) -> str:
    """HTML as the language in force is set (clients/notation/typography.py)."""
    locale = current_locale()
    if not _language.get() or locale.language != "fr":
        return markup
    return typography.set_french_page(markup, locale.territory or "")


def format_phone(value: str) -> str:
    """National form inside the business's country, international form elsewhere;
    text that is no number stays."""
    return format_phone_seen_from(current_business().country, value)


@lru_cache(maxsize=2_000)  # parsing takes long, and pages show the same ones
def format_phone_seen_from(country: str, value: str) -> str:
    try:
        parsed = phonenumbers.parse(value, country)
    except phonenumbers.NumberParseException:
        return value
    inside = parsed.country_code == phonenumbers.country_code_for_region(country)
    form = (
        phonenumbers.PhoneNumberFormat.NATIONAL
        if inside
        else phonenumbers.PhoneNumberFormat.INTERNATIONAL
    )
    return phonenumbers.format_number(parsed, form)


# Written only when their sentence is, in the language in force then.
format_day_lazy = lazy(format_day, str)
format_number_lazy = lazy(format_number, str)
