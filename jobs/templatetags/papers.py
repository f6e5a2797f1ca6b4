"""Filters of offers and papers: quantities without needless zeros, drawings in the colours of
paper."""

from decimal import Decimal
from functools import cache

from django import template
from django.template.loader import render_to_string
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clients import display, qr

register = template.Library()


@register.filter
def plain_number(value: Decimal) -> str:
    """“18” or “2.5” in the business's locale."""
    return display.format_number(value, 3)


@register.filter
def counted(unit: str, quantity: Decimal) -> str:
    """“treads” for four of them, in the language of the reader;
    a measure and what was typed stay."""
    number = 1 if quantity == 1 else 2
    known = {
        "tread": ngettext("tread", "treads", number),
        "hour": ngettext("hour", "hours", number),
        "visit": ngettext("visit", "visits", number),
        "coat": ngettext("coat", "coats", number),
        "piece": ngettext("piece", "pieces", number),
        "day": ngettext("day", "days", number),
    }
    return known.get(unit, unit)


@register.filter
def as_qr(link: str) -> SafeString:
    """The link as a code to scan; nothing if it is too long for one."""
    try:
        drawing = qr.qr_svg(link, _("Code that opens the page of this offer on a phone"))
    except ValueError:
        return mark_safe("")
    return mark_safe(drawing)  # noqa: S308 - drawn here


@cache
def wear_style() -> str:
    return render_to_string("jobs/pdf/wear.css")


@register.filter
def on_paper(svg: str) -> SafeString:
    """The drawing with the colours it has in print;
    pages get theirs from the sheet of the product."""
    head, _, rest = svg.partition(">")
    drawing = f"{head}><style>{wear_style()}</style>{rest}"
    return mark_safe(drawing)  # noqa: S308 - drawn by our own template
