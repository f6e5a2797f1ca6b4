"""Tells the app below what the forecast says about decks (jobs/offers/forecast_summary.py): the window, and the curve as a drawing."""

from collections.abc import Collection
from datetime import date

from django.template.loader import render_to_string

from jobs.offers.forecast_summary import Foretold
from reminders.forecasting.curve import wear_picture
from reminders.models import Forecast


def tell(deck_ids: Collection[int], today: date) -> dict[int, Foretold]:
    rows = Forecast.objects.filter(deck__in=deck_ids).select_related("deck__property", "job")
    return {row.deck_id: told(row, today) for row in rows}


def told(row: Forecast, today: date) -> Foretold:
    return Foretold(
        coat_on=row.job.finished_on, window_opens_on=row.window_opens_on, due_on=row.due_on, late_on=row.late_on,
        chance_worn=row.chance_worn, picture=drawn(row, today),
    )  # fmt: skip


def drawn(row: Forecast, today: date) -> str:
    """Its names are the deck's own, so that several drawings go onto one page."""
    curve = wear_picture(row, today=today, key=f"wear-{row.deck_id}")
    context = {"curve": curve, "facts": curve.facts, "window": curve.facts.window}
    return render_to_string("reminders/_wear_curve_svg.html", context).strip()
