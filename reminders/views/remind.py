"""Reminding the chosen decks: first a page that says exactly what goes to whom, then, on a second
click, the outbox."""

from datetime import date

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from clients.access import business_of, business_today, current_user, office_required
from clients.models import primary_keys
from reminders import actions
from reminders.months import MonthError, month_key, month_of, parse_month, shift_months
from reminders.steps import ReminderRequest, preview

MAX_CHOSEN = 500
MAX_REPORTED = 5


@office_required
@require_POST
def remind_chosen_decks(request: HttpRequest) -> HttpResponse:
    """The action `reminders:remind`: without `confirm` a preview that writes nothing, with it the
    reminders are queued."""
    month = posted_month(request)
    deck_ids = primary_keys(request.POST.getlist("deck"))
    if not deck_ids or len(deck_ids) > MAX_CHOSEN:
        how_many = f"at most {MAX_CHOSEN} decks at a time" if deck_ids else "at least one deck"
        messages.error(request, f"Choose {how_many}, then send.")
        return redirect("reminders:due_month", month_key(month))
    if "confirm" not in request.POST:
        return render_reminder_preview(request, month, deck_ids)
    try:
        result = actions.queue_reminders(
            asked=ReminderRequest(
                shift_months(month, 1), deck_ids, at_once="at_once" in request.POST
            ),
            by=current_user(request),
            now=timezone.now(),
            agreed_fingerprint=request.POST.get("agreed", ""),
        )
    except actions.PlanChanged as changed:
        messages.warning(request, str(changed))
        return render_reminder_preview(request, month, deck_ids)
    report_reminders(request, result)
    return redirect("reminders:due_month", month_key(month))


def posted_month(request: HttpRequest) -> date:
    """The month of the list that was sent; the present one if that is no month."""
    try:
        return parse_month(request.POST.get("month", ""))
    except MonthError:
        return month_of(business_today(request))


def render_reminder_preview(request: HttpRequest, month: date, deck_ids: list[int]) -> HttpResponse:
    at_once = "at_once" in request.POST
    seen = preview.preview_chosen_decks(
        deck_ids,
        business=business_of(request),
        now=timezone.now(),
        until=shift_months(month, 1),
        at_once=at_once,
    )
    context = {
        "month": month,
        "written": month_key(month),
        "deck_ids": deck_ids,
        "at_once": at_once,
        "preview": seen,
    }
    return render(request, "reminders/remind.html", context)


def report_reminders(request: HttpRequest, result: actions.RemindResult) -> None:
    """What was queued, and who was left out and why."""
    count = len(result.queued)
    left_out = len(result.left_out)
    if count:
        messages.success(
            request,
            f"{count} reminder{'s' if count > 1 else ''} queued. See the outbox for what follows.",
        )
    for each in result.left_out[:MAX_REPORTED]:
        messages.warning(request, f"{each.client}, {each.deck}: nothing was queued. {each.why}")
    if left_out > MAX_REPORTED:
        messages.warning(
            request, f"{left_out - MAX_REPORTED} more decks were left out; the list shows why."
        )
