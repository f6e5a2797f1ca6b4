"""The Figures page: how right the forecast was, what it has learned, and how many decks came back."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET

from clients.access import business_of, sends
from reminders.forecasting.accuracy import ENOUGH_VISITS, figures, graded_visits, still_needed


@require_GET
@sends
def overview(request: HttpRequest) -> HttpResponse:
    """The page `figures:overview`."""
    found = figures()
    counted = graded_visits(today=business_of(request).today(timezone.now()))
    context = {
        "figures": found,
        "counted": counted,
        "needed": still_needed(counted, found.fit.visits if found else 0),
        "enough_visits": ENOUGH_VISITS,
    }
    return render(request, "reminders/figures.html", context)
