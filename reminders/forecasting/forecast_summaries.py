"""Tells the app below what the forecast says about decks (jobs/forecast_summary.py):
the window, and the curve as a drawing."""

from collections.abc import Collection
from datetime import date
from functools import partial
from typing import Any

from django.db.models import QuerySet
from django.template.loader import render_to_string

from clients.models import Surface
from jobs.forecast_summary import ForecastSummary, WorkAdvice
from reminders.forecasting.curve import forecast_wear_curve
from reminders.forecasting.due_surfaces import DueSurfaces
from reminders.models import Forecast, SurfaceForecast, advice_of_days


def forecast_summaries(deck_ids: Collection[int], today: date) -> dict[int, ForecastSummary]:
    rows = Forecast.objects.filter(deck__in=deck_ids).select_related("deck__site", "job")
    return {row.deck_id: forecast_summary(row, today) for row in rows}


def work_advice(deck_ids: Collection[int], today: date) -> dict[int, WorkAdvice]:
    rows = Forecast.objects.filter(deck__in=deck_ids).order_by()
    found = rows.values_list("deck_id", "look_on", "strip_on")
    return {deck: advice_of_days(look, strip, today) for deck, look, strip in found}


def surfaces_for_later(deck_ids: Collection[int], today: date) -> dict[int, list[str]]:
    """Where the boards are left for later, or have no coat, so is what has no day of its own."""
    apart = SurfaceForecast.objects.filter(deck__in=deck_ids).order_by().values("deck_id")
    rows = Forecast.objects.filter(deck__in=apart).order_by().with_surfaces()
    found = {}
    for row in rows.select_related("deck"):
        days = DueSurfaces.of(row.boards_due_on, row.others)  # type: ignore[attr-defined] # annotated
        now = days.due_now(today)
        later = [each.surface for each in days.left_for_later(today)]
        if Surface.BOARDS not in now:
            later = [name for name in row.deck.surfaces if name not in now]
        if later:
            found[row.deck_id] = later
    return found


def overdue_deck_ids(today: date) -> QuerySet[Forecast, Any]:
    return Forecast.objects.due_before(today).order_by().values("deck_id")


def forecast_summary(row: Forecast, today: date) -> ForecastSummary:
    return ForecastSummary(
        coat_on=row.job.finished_on,
        window_opens_on=row.window_opens_on,
        due_on=row.due_on,
        late_on=row.late_on,
        chance_worn=row.chance_worn,
        picture=partial(wear_curve_svg, row, today),
    )


def wear_curve_svg(row: Forecast, today: date) -> str:
    """Its names are the deck's own, so that several drawings go onto one page."""
    curve = forecast_wear_curve(row, today=today, key=f"wear-{row.deck_id}")
    context = {"curve": curve, "facts": curve.facts, "window": curve.facts.window}
    return render_to_string("reminders/_wear_curve_svg.html", context).strip()
