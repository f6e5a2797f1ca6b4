"""Pacing: the plan as a picture and by week, planning anew, and putting one household into another week."""

from datetime import date
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from clients import display
from clients.access import business_of, sends
from clients.models import Property
from jobs.diary import monday_of
from reminders.forms.pacing import LEAVE_OUT, LET_PLAN_CHOOSE, PlanForm, WeekForm
from reminders.pacing import page
from reminders.pacing.actions import choose_week, let_plan_choose, make_plan
from reminders.pacing.book import Horizon, PaceError
from reminders.pacing.page import Line, Shown

NONE = "none"  # in the address: those not in the plan


def today_of(request: HttpRequest) -> date:
    return business_of(request).today(timezone.now())


@sends
@require_http_methods(["GET", "POST"])
def plan(request: HttpRequest) -> HttpResponse:
    """The page `pacing:plan`; POST plans anew."""
    today = today_of(request)
    form = PlanForm(request.POST or None, today=today, chosen=horizon_asked(request, today))
    if request.method == "POST" and form.is_valid():
        try:
            made = make_plan(horizon=form.horizon(), now=timezone.now())
        except PaceError as problem:
            form.add_error(None, str(problem))
        else:
            count = Shown(made).reminders
            messages.success(request, f"The plan is made: {count} reminder{'' if count == 1 else 's'} in their weeks.")
            return redirect(address(made.book.horizon))
    return show(request, form, today)


def address(chosen: Horizon, **more: str) -> str:
    asked = {"from": chosen.first.isoformat(), "weeks": chosen.weeks, "percent": chosen.percent} | more
    return f"{reverse('pacing:plan')}?{urlencode(asked)}"


def horizon_asked(request: HttpRequest, today: date) -> Horizon:
    """From the address; what is missing or nonsense there falls back on the plan that is kept."""
    kept = page.kept_horizon(business_of(request), today=today)
    try:
        first = date.fromisoformat(request.GET.get("from", kept.first.isoformat()))
        weeks, percent = int(request.GET.get("weeks", kept.weeks)), int(request.GET.get("percent", 100))
        found = Horizon(first, weeks, percent)
    except (ValueError, PaceError):
        return kept
    return found if first.weekday() == 0 and 0 <= (first - monday_of(today)).days < 800 else kept


def show(request: HttpRequest, form: PlanForm, today: date) -> HttpResponse:
    chosen = horizon_asked(request, today)
    context: dict[str, Any] = {"form": form, "horizon": chosen}
    try:
        shown = page.kept_plan(chosen, today=today, business=business_of(request))
    except PaceError as problem:
        context["problem"] = str(problem)
        return render(request, "reminders/pacing.html", context)
    found = page.lines(shown.made)
    week = week_asked(request, shown)
    context |= {
        "shown": shown, "rules": shown.book.rules, "learned": shown.book.learned, "week": week,
        "lines": [line for line in found if line.week == week],
        "not_planned": sum(1 for line in found if line.week is None),
        "asked": urlencode({"from": chosen.first.isoformat(), "weeks": chosen.weeks, "percent": chosen.percent}),
    }  # fmt: skip
    return render(request, "reminders/pacing.html", context)


def week_asked(request: HttpRequest, shown: Shown) -> date | None:
    """The week whose list is open: the one asked for, else the first with reminders."""
    text = request.GET.get("week", "")
    if text == NONE:
        return None
    filled = [week.monday for week in shown.weeks if week.reminders]
    return next(
        (monday for monday in shown.book.horizon.mondays if monday.isoformat() == text), next(iter(filled), None)
    )


@sends
@require_http_methods(["GET", "POST"])
def household(request: HttpRequest, pk: int) -> HttpResponse:
    """The page `pacing:household`: one property, and its week by hand."""
    place = get_object_or_404(Property.objects.select_related("client"), pk=pk)
    today = today_of(request)
    chosen = horizon_asked(request, today)
    try:
        shown = page.kept_plan(chosen, today=today, business=business_of(request))
    except PaceError as problem:
        raise Http404(str(problem)) from problem
    row = shown.book.row_of.get(pk)
    if row is None:
        messages.info(request, "No deck of this property can be reminded in these weeks, so there is nothing to move.")
        return redirect(address(chosen))
    line = page.line_of(shown.made, row)
    form = WeekForm(request.POST or None, weeks=weeks_of(shown), chosen=standing_of(line))
    if request.method == "POST" and form.is_valid():
        return decide(request, place, form.cleaned_data["week"], chosen)
    return render(request, "reminders/pacing_household.html", {
        "form": form, "line": line, "place": place, "back": address(chosen), "horizon": chosen,
    })  # fmt: skip


def weeks_of(shown: Shown) -> list[tuple[date, str]]:
    """Each week of the plan with what it holds already."""
    return [
        (week.monday, f"{display.day(week.monday)}: {holds(week)}") for week in shown.weeks[: shown.book.horizon.weeks]
    ]


def holds(week: page.Week) -> str:
    if not week.reminders:
        return "nobody yet"
    return f"{week.reminders} reminder{'' if week.reminders == 1 else 's'}, {week.hours_to_come:.0f} h to come of them"


def standing_of(line: Line) -> str:
    if not line.is_by_hand:
        return LET_PLAN_CHOOSE
    return line.week.isoformat() if line.week else LEAVE_OUT


def decide(request: HttpRequest, place: Property, answer: str, chosen: Horizon) -> HttpResponse:
    now = timezone.now()
    try:
        if answer == LET_PLAN_CHOOSE:
            let_plan_choose(property_id=place.pk, now=now)
            messages.success(request, f"The next plan chooses the week of {place.client}.")
        else:
            week = None if answer == LEAVE_OUT else date.fromisoformat(answer)
            choose_week(property_id=place.pk, week=week, now=now)
            words = f"is reminded in the week of {display.day(week)}" if week else "is left out of every plan"
            messages.success(
                request, f"{place.client} {words}. The others stay where they are; plan anew to fit them in."
            )
    except PaceError as problem:
        messages.error(request, str(problem))
    return redirect(address(chosen))
