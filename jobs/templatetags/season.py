"""The season as a card: written once for as long as nothing in it is another."""

from datetime import date
from functools import lru_cache

from babel import Locale
from django import template
from django.template.loader import render_to_string

from clients import display
from jobs.diary import Season

register = template.Library()


@register.simple_tag
def season_card(season: Season, chosen: date | None, may_send: bool) -> str:
    """`{% season_card season week.monday user.may_send %}`: `chosen` is the week that is shown."""
    return write_season(season, chosen or None, may_send, display.current_locale())


@lru_cache(maxsize=32)
def write_season(season: Season, chosen: date | None, may_send: bool, locale: Locale) -> str:
    """By all that it shows, and by how whoever reads writes numbers and days."""
    context = {"season": season, "chosen": chosen, "may_send": may_send}
    return render_to_string("jobs/diary/_season.html", context)
