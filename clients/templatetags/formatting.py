"""Filters available in every template:
quantities, money, dates, months and numbers as the business writes them."""

from datetime import UTC, date, datetime
from decimal import Decimal

from django import template
from django.utils import timezone

from clients import display

register = template.Library()


@register.filter
def measure(value: Decimal | None, quantity: str) -> str:
    """“18 m²” or “194 ft²”: an SI value in the business's units, with its symbol."""
    return display.format_measure(value, quantity)


@register.filter
def size(area_m2: Decimal | None) -> str:
    """“18 m²”, or “size not known”."""
    return display.format_size(area_m2)


@register.simple_tag
def total_size(area_m2: Decimal | None, unsized: int) -> str:
    """“54 m²”, or “54 m² and 1 without a size”."""
    return display.format_total_size(area_m2, unsized)


@register.filter
def pack_size(litres: Decimal) -> str:
    """“0.75 L” or “1 gal”, as printed on the pack."""
    return display.format_pack_size(litres)


@register.filter
def number(value: Decimal | float, places: int = 1) -> str:
    """“6.5”: rounded half up, without trailing zeros."""
    return display.format_number(value, places)


@register.filter
def money(amount: Decimal | None, currency: str = "") -> str:
    """“$1,250.00” in the business's locale; empty when there is no amount."""
    return display.format_money(amount, currency)


@register.filter
def whole_money(amount: Decimal | None) -> str:
    """“$1,250”: an estimate, which nobody knows to the cent."""
    return display.format_whole_money(amount)


@register.filter
def short_money(amount: Decimal | float) -> str:
    """“$12K”, beside a picture."""
    return display.format_short_money(amount)


@register.filter(expects_localtime=True)
def day(value: date | None) -> str:
    """“14 Mar 2027” in the order the locale uses; a moment counts in the zone of the business."""
    return display.format_day(value)


@register.filter
def weekday(value: date | None) -> str:
    """“Sun, Mar 14”: a day of the near future."""
    return display.format_weekday(value)


@register.filter
def clock(value: datetime | None) -> str:
    """“4:30 p.m.” or “16:30”, in the zone the moment carries; as it comes from the database, in
    that of the business."""
    if value and value.tzinfo is UTC:
        value = timezone.localtime(value)
    return display.format_clock(value)


@register.filter
def month(value: date | None) -> str:
    """“March 2027”."""
    return display.format_month(value)


@register.filter
def phone(number: str) -> str:
    """An E.164 number as people of the business's country read it."""
    return display.format_phone(number)


@register.filter
def percent(share: float | None) -> str:
    """“35 %” from 0.35."""
    return "" if share is None else f"{round(share * 100)} %"
