"""The week of the diary, and holding a whole day for the weather."""

from datetime import date, timedelta
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from clients import display
from clients.access import business_of, sends, signed_in
from jobs.actions import bookings
from jobs.diary.unsettled import unsettled
from jobs.diary.week import week_of
from jobs.diary.weeks import hours_by_week
from jobs.forms.bookings import HoldDayForm

AROUND = 10  # weeks whose hours are shown, from the one before on
FURTHEST = 3  # years before and after this one


@require_GET
def week(request: HttpRequest) -> HttpResponse:
    """`?week=2027-06-07` is the week of that day; anything else the week of today."""
    business = business_of(request)
    today = business.today(timezone.now())
    shown = week_of(day_of(request.GET.get("week", ""), today), business=business)
    context = {
        "week": shown, "today": today, "unsettled": unsettled(today=today),
        "earlier": shown.monday - timedelta(days=7), "later": shown.monday + timedelta(days=7),
        "is_this_week": shown.monday <= today <= shown.sunday,
        "around": hours_by_week(first=shown.monday - timedelta(days=7), weeks=AROUND, business=business),
    }  # fmt: skip
    return render(request, "jobs/diary/week.html", context)


def day_of(text: str, today: date) -> date:
    try:
        day = date.fromisoformat(text)
    except ValueError:
        return today
    return day if abs(day.year - today.year) <= FURTHEST else today


@sends
@require_http_methods(["GET", "HEAD", "POST"])
def hold_day(request: HttpRequest) -> HttpResponse:
    """Rain is coming: hold every booking of a day, after a look at which these are."""
    form = HoldDayForm(request.POST or None, initial=initial_day(request))
    if form.is_valid():
        values = form.cleaned_data
        held = bookings.hold_day(by=signed_in(request), now=timezone.now(), **values)
        count = f"{len(held)} booking{'' if len(held) == 1 else 's'}"
        messages.success(request, f"{count} of {display.weekday(values['day'])} held for the weather.")
        return to_week(values["day"])
    return render(request, "jobs/diary/hold_day.html", {"form": form})


def initial_day(request: HttpRequest) -> dict[str, Any]:
    today = business_of(request).today(timezone.now())
    return {"day": day_of(request.GET.get("day", ""), today), "crew": request.GET.get("crew"), **held_defaults()}


def held_defaults() -> dict[str, Any]:
    return {name: HoldDayForm.base_fields[name].initial for name in ("why", "tells")}


def to_week(day: date) -> HttpResponseRedirect:
    """Back to the week of this day."""
    return HttpResponseRedirect(f"{reverse('diary:week')}?{urlencode({'week': day.isoformat()})}")
