"""The due list of a month on screen, on paper and as CSV."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET

from clients.pages import business_of, business_today, office_required
from clients.tables import FILE_FORMATS, attachment_response, table_response
from reminders.due import due_list
from reminders.models import ForecastQuerySet
from reminders.months import MonthError, month_key, month_of, parse_month, shift_months
from reminders.pdf import render_pdf

# decks carried over that stand on the month's own page; the rest are one step away
MAX_CARRIED_OVER = 20


@office_required
@require_GET
def show_due_list(request: HttpRequest) -> HttpResponse:
    """The page `reminders:due`: the present month; `?month=2027-03` leads to that one."""
    if "month" in request.GET:
        return redirect("reminders:due_month", month_key(month_or_404(request.GET["month"])))
    return render_due_month(request, month_of(business_today(request)))


@office_required
@require_GET
def show_due_month(request: HttpRequest, month: str) -> HttpResponse:
    """The page `reminders:due_month`; `?earlier=1` shows what was carried over, `?format=csv`,
    `xlsx` or `pdf` the list."""
    first = month_or_404(month)
    if (format := request.GET.get("format", "")) in FILE_FORMATS:
        return due_list_table(request, first, format)
    if request.GET.get("format") == "pdf":
        return due_list_pdf(request, first)
    return render_due_month(request, first)


def month_or_404(text: str) -> date:
    try:
        return parse_month(text)
    except MonthError as error:
        raise Http404(str(error)) from error


def months_to_choose(shown: date, today: date) -> list[tuple[str, date]]:
    """Two years back and three ahead, and the month that is shown."""
    around = {shift_months(month_of(today), count) for count in range(-24, 37)}
    return [(month_key(each), each) for each in sorted(around | {shown})]


def render_due_month(request: HttpRequest, month: date) -> HttpResponse:
    today = business_today(request)
    is_earlier = "earlier" in request.GET
    rows = due_list.carried_over(month) if is_earlier else due_list.due_in_month(month)
    towns = list(rows.towns())
    # As much of a sequence as a paginator asks for.
    places: Sequence[Any] = LazyDueDecks(towns, rows, month)  # type: ignore[assignment]
    page = Paginator(places, due_list.PAGE_SIZE).get_page(request.GET.get("page"))
    glance = (
        due_list.CarriedOverSummary()
        if is_earlier
        else due_list.summarise_carried_over(month, limit=MAX_CARRIED_OVER)
    )
    due_list.with_finishes_and_status([*page.object_list, *glance.lines], today=today)
    context = {
        "month": month,
        "today": today,
        "is_earlier": is_earlier,
        "page": page,
        "towns": due_list.group_by_town(page.object_list, towns),
        "decks": sum(town["decks"] for town in towns),
        "area_m2": sum(town["area_m2"] or 0 for town in towns),
        "unsized": sum(town["unsized"] for town in towns),
        "glance": glance,
        "strip": due_list.due_month_strip(month, today=today),
        "before": month_key(shift_months(month, -1)),
        "after": month_key(shift_months(month, 1)),
        "written": month_key(month),
        "months": months_to_choose(month, today),
        "is_all_chosen": request.GET.get("chosen") == "all",
        "decks_at": reverse("decks:search"),
        "query": "earlier=1" if is_earlier else "",
    }
    return render(request, "reminders/due.html", context)


class LazyDueDecks:
    """The lines of a list for the paginator: their number is known from the towns, and only a page
    is fetched, without coats and status."""

    def __init__(self, towns: list[dict[str, int]], rows: ForecastQuerySet, month: date) -> None:
        self.count_of_all = sum(town["decks"] for town in towns)
        self.rows = rows
        self.month = month

    def __len__(self) -> int:
        return self.count_of_all

    def __getitem__(self, part: slice) -> list[due_list.DueDeck]:
        return due_list.in_this_order(self.rows.by_town(on=self.month), part)


def due_list_table(request: HttpRequest, month: date, format: str) -> HttpResponse:
    """The list that is on the screen, whole."""
    today = business_today(request)
    is_earlier = "earlier" in request.GET
    rows = due_list.carried_over(month) if is_earlier else due_list.due_in_month(month)
    found = due_list.due_rows(
        due_list.due_decks(rows, today=today, on=month), is_carried_over=is_earlier
    )
    name = list_name(month, is_earlier)
    return table_response(found, format=format, name=name, columns=due_list.COLUMNS)


def list_name(month: date, is_earlier: bool) -> str:
    """Of its file."""
    return f"{'open-before' if is_earlier else 'due'}-{month_key(month)}"


def due_list_pdf(request: HttpRequest, month: date) -> HttpResponse:
    """The list that is on the screen, with what somebody wants who calls from it."""
    today = business_today(request)
    is_earlier = "earlier" in request.GET
    rows = due_list.carried_over(month) if is_earlier else due_list.due_in_month(month)
    found = due_list.due_decks(rows, today=today, on=month, part=slice(due_list.MAX_PRINTED))
    due_list.add_phones_and_prices(found)
    towns = list(rows.towns())
    context = {
        "month": month,
        "today": today,
        "is_earlier": is_earlier,
        "business": business_of(request),
        "towns": due_list.group_by_town(found, towns),
        "decks": sum(town["decks"] for town in towns),
        "area_m2": sum(town["area_m2"] or 0 for town in towns),
        "unsized": sum(town["unsized"] for town in towns),
        "earlier": 0 if is_earlier else due_list.carried_over(month).count(),
        "is_cut_off": sum(town["decks"] for town in towns) > len(found),
        "max_printed": due_list.MAX_PRINTED,
    }
    pdf = render_pdf("reminders/due_print.html", context, country=business_of(request).country)
    return attachment_response(pdf, "application/pdf", f"{list_name(month, is_earlier)}.pdf")
