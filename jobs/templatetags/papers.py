"""Filters of offers and papers: quantities without needless zeros, words in a sentence, codes to
scan."""

from decimal import Decimal

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import get_language, ngettext
from django.utils.translation import gettext as _

from clients import display, qr

register = template.Library()
FRENCH_TAX_NAMES = {"HST": "TVH", "GST": "TPS", "QST": "TVQ", "PST": "TVP", "RST": "TVD"}
NAMES = ("Douglas",)  # begin with a capital wherever they stand


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
    words = _("Code that opens the page of this offer on a phone")
    try:
        return format_html('<img src="{}" alt="{}">', qr.qr_png(link), words)
    except ValueError:
        return mark_safe("")


@register.filter
def tax_name(name: str) -> str:
    """“TVH” for HST in French: the names by which Canada's taxes go there (Canada Revenue Agency,
    Revenu Québec); others as they were entered, and what stands behind a name too."""
    first, space, rest = name.partition(" ")
    is_french = (get_language() or "").startswith("fr")
    return f"{FRENCH_TAX_NAMES.get(first.upper(), first)}{space}{rest}" if is_french else name


@register.filter
def uncapitalized(words: str) -> str:
    """“western red cedar”, “cèdre de l'Ouest”: in a sentence, with the names in it as they are."""
    return words if words.startswith(NAMES) else f"{words[:1].lower()}{words[1:]}"
