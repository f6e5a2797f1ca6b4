"""Filters of offers and papers: quantities without needless zeros, drawings in the colours of paper."""

from decimal import Decimal
from functools import cache

from django import template
from django.template.loader import render_to_string
from django.utils.safestring import SafeString, mark_safe

from clients import display
from jobs import qr

register = template.Library()
COUNTED = {"tread", "hour", "visit", "coat", "piece", "day"}


@register.filter
def plain_number(value: Decimal) -> str:
    """“18” or “2.5” in the business's locale."""
    return display.number(value, 3)


@register.filter
def counted(unit: str, quantity: Decimal) -> str:
    """“treads” for four of them; a measure such as m² stays."""
    return f"{unit}s" if unit in COUNTED and quantity != 1 else unit


@register.filter
def as_qr(link: str) -> SafeString:
    """The link as a code to scan; nothing if it is too long for one."""
    try:
        return mark_safe(qr.svg(link, "Code that opens the page of this offer on a phone"))  # noqa: S308 - drawn here
    except ValueError:
        return mark_safe("")


@cache
def wear_style() -> str:
    return render_to_string("jobs/pdf/wear.css")


@register.filter
def on_paper(svg: str) -> SafeString:
    """The drawing with the colours it has in print; pages get theirs from the sheet of the product."""
    head, _, rest = svg.partition(">")
    return mark_safe(f"{head}><style>{wear_style()}</style>{rest}")  # noqa: S308 - drawn by our own template
