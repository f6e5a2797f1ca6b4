"""The Figures page: how right the forecast was, what it has learned, and how many decks came
back."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from clients.access import business_today, office_required
from reminders.forecasting import (
    MIN_MEANINGFUL_VISITS,
    count_graded_visits,
    newest_figures,
    visits_still_needed,
)


@require_GET
@office_required
def show_figures(request: HttpRequest) -> HttpResponse:
    """The page `figures:overview`."""
    found = newest_figures()
    counted = count_graded_visits(today=business_today(request))
    context = {
        "figures": found,
        "counted": counted,
        "needed": visits_still_needed(counted, found.fit.visits if found else 0),
        "enough_visits": MIN_MEANINGFUL_VISITS,
    }
    return render(request, "reminders/figures.html", context)
