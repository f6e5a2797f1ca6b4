"""The Figures page: money, offers, reminders, hours and decks by month, and how good the forecast
is."""

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from clients.pages import business_of, business_today, office_required
from clients.tables import FILE_FORMATS, table_response
from reminders.figures import FIGURE_READERS, read_figure, read_figures
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
    today = business_today(request)
    accuracy = newest_figures()
    counted = count_graded_visits(today=today)
    context = {
        "figures": read_figures(today=today, business=business_of(request)),
        "accuracy": accuracy,
        "counted": counted,
        "needed": visits_still_needed(counted, accuracy.fit.visits if accuracy else 0),
        "enough_visits": MIN_MEANINGFUL_VISITS,
    }
    return render(request, "reminders/figures.html", context)


@require_GET
@office_required
def figure_file(request: HttpRequest, key: str, format: str) -> HttpResponse:
    """One figure as a file, at `figures:file`."""
    if key not in FIGURE_READERS or format not in FILE_FORMATS:
        raise Http404("There is no such figure.")
    figure = read_figure(key, today=business_today(request), business=business_of(request))
    return table_response(figure.file_rows, format=format, name=key, columns=figure.file_columns)
