"""Chosen decks are left alone for some weeks or for the season, or let go again."""

from datetime import date, timedelta

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_POST

from clients import display
from clients.models import Business, primary_keys
from clients.pages import business_of, business_today, current_user, office_required, redirect_back
from reminders import actions
from reminders.models import Stop
from reminders.months import last_day_of_season

MAX_STOPPED_AT_ONCE = 500
MAX_WEEKS = 104


@office_required
@require_POST
def stop_chosen_decks(request: HttpRequest) -> HttpResponse:
    """The action `reminders:stop_chosen`: `until` is `weeks` (so many of them), `season`, or
    `lift`."""
    deck_ids = primary_keys(request.POST.getlist("deck"))
    if not deck_ids or len(deck_ids) > MAX_STOPPED_AT_ONCE:
        messages.error(request, f"Choose at least one deck and at most {MAX_STOPPED_AT_ONCE}.")
        return redirect_back(request, "today")
    if request.POST.get("until") == "lift":
        count = actions.lift_reminder_stops(deck_ids=deck_ids)
        messages.success(request, f"{decks_in_words(count)} may be reminded again.")
        return redirect_back(request, "today")
    until = requested_end(request, business_of(request), business_today(request))
    if until is None:
        messages.error(request, f"Write for how many weeks, 1 to {MAX_WEEKS}. Nothing was changed.")
        return redirect_back(request, "today")
    count = actions.stop_reminders(
        deck_ids=deck_ids,
        why=Stop.Why.BY_HAND,
        until=until,
        by=current_user(request),
        now=timezone.now(),
    )
    messages.success(
        request,
        f"{decks_in_words(count)} put off: no reminder until {display.format_day(until)}."
        " “Not this year” lists them.",
    )
    return redirect_back(request, "today")


def requested_end(request: HttpRequest, business: Business, today: date) -> date | None:
    """The last day without reminders; None if the form does not say one."""
    if request.POST.get("until") == "season":
        return last_day_of_season(today, business.season_months)
    weeks = request.POST.get("weeks", "")
    if not (weeks.isascii() and weeks.isdecimal() and 1 <= int(weeks[:4]) <= MAX_WEEKS):
        return None
    return today + timedelta(weeks=int(weeks))


def decks_in_words(count: int) -> str:
    return f"{count} deck{'' if count == 1 else 's'}"
