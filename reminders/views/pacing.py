"""Pacing: the plan as a picture and by week, planning again, and putting one household into another
week."""

from datetime import date, timedelta
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from clients import display
from clients.models import Property
from clients.pages import FormPage, business_of, business_today, office_required, render_form_page
from clients.templatetags import formatting
from jobs.diary import keep_expected_hours, monday_of
from reminders.forms.pacing import LEAVE_OUT, PLAN_CHOOSES, PlanForm, WeekForm
from reminders.months import month_key, month_of
from reminders.pacing import (
    Horizon,
    HouseholdLine,
    PacingError,
    PlanSummary,
    choose_week,
    clear_chosen_week,
    save_pacing_plan,
    summary,
)

NOT_PLANNED = "none"  # in the address: those not in the plan


@office_required
@require_http_methods(["GET", "POST"])
def show_pacing_plan(request: HttpRequest) -> HttpResponse:
    """The page `pacing:plan`; POST plans again."""
    today = business_today(request)
    form = PlanForm(request.POST or None, today=today, chosen=requested_horizon(request, today))
    if request.method == "POST" and form.is_valid():
        try:
            made = save_pacing_plan(horizon=form.horizon(), now=timezone.now())
        except PacingError as problem:
            form.add_error(None, str(problem))
        else:
            count = PlanSummary(made).reminders
            messages.success(
                request,
                f"The plan is made: {count} reminder{'' if count == 1 else 's'} in their weeks.",
            )
            return redirect(pacing_plan_url(made.inputs.horizon))
    return render_pacing_plan(request, form, today)


def pacing_plan_url(chosen: Horizon, **more: str) -> str:
    asked = {
        "from": chosen.first.isoformat(),
        "weeks": chosen.weeks,
        "percent": chosen.percent,
    } | more
    return f"{reverse('pacing:plan')}?{urlencode(asked)}"


def requested_horizon(request: HttpRequest, today: date) -> Horizon:
    """From the address; what is missing or nonsense there falls back on the plan that is kept."""
    kept = summary.stored_horizon(business_of(request), today=today)
    try:
        first = date.fromisoformat(request.GET.get("from", kept.first.isoformat()))
        weeks = int(request.GET.get("weeks", kept.weeks))
        percent = int(request.GET.get("percent", 100))
        found = Horizon(first, weeks, percent)
    except (ValueError, PacingError):
        return kept
    return found if first.weekday() == 0 and 0 <= (first - monday_of(today)).days < 800 else kept


def render_pacing_plan(request: HttpRequest, form: PlanForm, today: date) -> HttpResponse:
    chosen = requested_horizon(request, today)
    context: dict[str, Any] = {"form": form, "horizon": chosen}
    try:
        shown = summary.stored_plan_summary(chosen, today=today, business=business_of(request))
    except PacingError as problem:
        context["problem"] = str(problem)
        return render(request, "reminders/pacing.html", context)
    keep_expected_hours({week.monday: week.hours_expected for week in shown.weeks})
    found = summary.household_lines(shown.plan)
    week = requested_week(request, shown)
    context |= {
        "shown": shown,
        "rules": shown.inputs.rules,
        "learned": shown.inputs.response_rates,
        "week": week,
        "written": month_key(month_of(week or today)),
        "lines": [line for line in found if line.week == week],
        "not_planned": sum(1 for line in found if line.week is None),
        "asked": urlencode(
            {"from": chosen.first.isoformat(), "weeks": chosen.weeks, "percent": chosen.percent}
        ),
    }
    return render(request, "reminders/pacing.html", context)


def requested_week(request: HttpRequest, shown: PlanSummary) -> date | None:
    """The week whose list is open: the one asked for, else the first with reminders."""
    text = request.GET.get("week", "")
    if text == NOT_PLANNED:
        return None
    filled = [week.monday for week in shown.weeks if week.reminders]
    if filled and (aimed := week_to_remind(request.GET.get("fill", ""), shown)):
        return min(filled, key=lambda monday: abs(monday - aimed))
    return next(
        (monday for monday in shown.inputs.horizon.mondays if monday.isoformat() == text),
        next(iter(filled), None),
    )


def week_to_remind(text: str, shown: PlanSummary) -> date | None:
    """When to remind so that the work falls into the week `?fill=`: the usual weeks before it."""
    lead = shown.inputs.response_rates.lead
    try:
        return date.fromisoformat(text) - timedelta(weeks=(lead.first + lead.last) / 2)
    except ValueError:
        return None


@office_required
@require_http_methods(["GET", "POST"])
def edit_household_week(request: HttpRequest, pk: int) -> HttpResponse:
    """The page `pacing:household`: one property, and its week by hand."""
    place = get_object_or_404(Property.objects.select_related("client"), pk=pk)
    today = business_today(request)
    chosen = requested_horizon(request, today)
    try:
        shown = summary.stored_plan_summary(chosen, today=today, business=business_of(request))
    except PacingError as problem:
        raise Http404(str(problem)) from problem
    row = shown.inputs.row_by_property.get(pk)
    if row is None:
        messages.info(
            request,
            "No deck of this property can be reminded in these weeks, so there is nothing to move.",
        )
        return redirect(pacing_plan_url(chosen))
    line = summary.household_line(shown.plan, row)
    form = WeekForm(request.POST or None, weeks=week_choices(shown), chosen=week_form_value(line))
    if request.method == "POST" and form.is_valid():
        return save_week_choice(request, place, form.cleaned_data["week"], chosen)
    page = FormPage(
        f"When to remind {place.client}",
        f"{', '.join(line.decks)}, {place.street}, {place.town} · due"
        f" {display.format_month(line.household.due_on)} · {formatting.percent(line.chance)}"
        f" chance, {display.format_number(line.hours)} hours",
        back=(pacing_plan_url(chosen), "The plan"),
        fields="reminders/_household_fields.html",
        cancel=pacing_plan_url(chosen),
    )
    return render_form_page(request, page, form=form, line=line)


def week_choices(shown: PlanSummary) -> list[tuple[date, str]]:
    """Each week of the plan with what it holds already."""
    return [
        (week.monday, f"{display.format_day(week.monday)}: {week_summary(week)}")
        for week in shown.weeks[: shown.inputs.horizon.weeks]
    ]


def week_summary(week: summary.PlanWeek) -> str:
    if not week.reminders:
        return "nobody yet"
    return (
        f"{week.reminders} reminder{'' if week.reminders == 1 else 's'}, {week.hours_to_come:.0f} h"
        " to come of them"
    )


def week_form_value(line: HouseholdLine) -> str:
    if not line.is_by_hand:
        return PLAN_CHOOSES
    return line.week.isoformat() if line.week else LEAVE_OUT


def save_week_choice(
    request: HttpRequest, place: Property, answer: str, chosen: Horizon
) -> HttpResponse:
    now = timezone.now()
    try:
        if answer == PLAN_CHOOSES:
            clear_chosen_week(site_id=place.pk, now=now)
            messages.success(request, f"The next plan chooses the week of {place.client}.")
        else:
            week = None if answer == LEAVE_OUT else date.fromisoformat(answer)
            choose_week(site_id=place.pk, week=week, now=now)
            words = (
                f"is reminded in the week of {display.format_day(week)}"
                if week
                else "is left out of every plan"
            )
            messages.success(
                request,
                f"{place.client} {words}. The others stay where they are; plan again to fit"
                " them in.",
            )
    except PacingError as problem:
        messages.error(request, str(problem))
    return redirect(pacing_plan_url(chosen))
