"""The week of the diary, and holding a whole day for the weather."""

from datetime import date, timedelta
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_safe

from clients import display
from clients.pages import (
    FormPage,
    business_of,
    business_today,
    current_user,
    office_required,
    render_form_page,
)
from jobs.actions import bookings
from jobs.diary import diary_week, next_booking_after, read_season, unsettled_work
from jobs.forms.bookings import HoldDayForm
from jobs.models import Booking, Crew
from jobs.pdf import build_day_sheet, day_sheet_pdf, pdf_response, sheet_file_name
from jobs.scope import read_visits_weather
from jobs.views.telling import DiaryChange, ask_who_is_told, make_change, report_told

MAX_YEARS_AWAY = 3  # years before and after this one


@require_GET
def show_week(request: HttpRequest) -> HttpResponse:
    """`?week=2027-06-07` is the week of that day; anything else the week of today."""
    business = business_of(request)
    now = timezone.now()
    today = business.today(now)
    shown = diary_week(day_or_today(request.GET.get("week", ""), today), business=business)
    context = {
        "week": shown,
        "weather": read_visits_weather(shown.visits(), today=today, now=now),
        "today": today,
        "unsettled": unsettled_work(today=today),
        "earlier": shown.monday - timedelta(days=7),
        "later": shown.monday + timedelta(days=7),
        "is_this_week": shown.monday <= today <= shown.sunday,
        "season": read_season(today=min(today, shown.monday), business=business),
        "next_booking": (
            next_booking_after(shown.monday) if all(day.is_empty for day in shown.days) else None
        ),
    }
    return render(request, "jobs/diary/week.html", context)


def day_or_today(text: str, today: date) -> date:
    try:
        day = date.fromisoformat(text)
    except ValueError:
        return today
    return day if abs(day.year - today.year) <= MAX_YEARS_AWAY else today


@require_safe
def show_day_sheet(request: HttpRequest, pk: int) -> HttpResponse:
    """The page `diary:day_sheet`: `?day=2027-06-07` of one crew, on paper."""
    crew = get_object_or_404(Crew, pk=pk)
    business = business_of(request)
    today = business_today(request)
    day = day_or_today(request.GET.get("day", ""), today)
    sheet = build_day_sheet(crew, day, business=business, today=today)
    return pdf_response(day_sheet_pdf(sheet, business=business), sheet_file_name(sheet))


@office_required
@require_http_methods(["GET", "HEAD", "POST"])
def day_hold(request: HttpRequest) -> HttpResponse:
    """Rain is coming: hold every booking of a day, after a look at which these are."""
    form = HoldDayForm(request.POST or None, initial=hold_form_initial(request))
    if "again" not in request.POST and form.is_valid():
        return hold_day(request, form)
    page = FormPage(
        "Hold a day for the weather",
        "Every booking of that day keeps its hours and waits until you release or move it.",
        back=(reverse("diary:week"), "Diary"),
        fields="jobs/diary/_hold_day_fields.html",
        button="Hold the bookings",
        busy="Holding…",
        is_checked_by_browser=False,
    )
    return render_form_page(request, page, form=form)


def hold_day(request: HttpRequest, form: HoldDayForm) -> HttpResponse:
    now = timezone.now()
    values = form.cleaned_data
    notifies = values.pop("notify_client")
    day = display.format_weekday(values["day"])

    def hold(untold: frozenset[int] | None) -> list[Booking]:
        return bookings.hold_bookings_of_day(
            weather=bookings.WeatherDay(**values),
            by=current_user(request),
            now=now,
            notify_client=untold is not None,
            untold=untold or (),
        )

    change = DiaryChange(
        act=hold,
        title=f"Hold the bookings of {day} and tell the clients?",
        button="Hold them and tell the ticked",
        back=(reverse("diary:week"), "Diary"),
        notifies=notifies,
        can_change=True,
    )
    if page := ask_who_is_told(request, change):
        return page
    told = make_change(request, change, now)
    count = f"{len(told)} booking{'' if len(told) == 1 else 's'}"
    report_told(request, f"{count} of {day} held for the weather.", told)
    return redirect_to_week(values["day"])


def hold_form_initial(request: HttpRequest) -> dict[str, Any]:
    today = business_today(request)
    return {
        "day": day_or_today(request.GET.get("day", ""), today),
        "crew": request.GET.get("crew"),
        **hold_form_defaults(),
    }


def hold_form_defaults() -> dict[str, Any]:
    return {name: HoldDayForm.base_fields[name].initial for name in ("why", "notify_client")}


def redirect_to_week(day: date) -> HttpResponseRedirect:
    """Back to the week of this day."""
    return HttpResponseRedirect(f"{reverse('diary:week')}?{urlencode({'week': day.isoformat()})}")
