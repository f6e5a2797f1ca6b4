"""Reminding the chosen decks: first a page that says exactly what goes to whom, then, on a second
click, the outbox."""

from collections.abc import Sequence
from datetime import date, datetime

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from clients import display
from clients.messaging.confirming import ConfirmPage, RowToSend, recent_contact_warnings
from clients.messaging.views.confirm import (
    announce_sent,
    is_confirmed,
    render_confirm_page,
    unticked_boxes,
)
from clients.models import primary_keys
from clients.pages import (
    business_of,
    business_today,
    current_user,
    office_required,
    posted_back,
    redirect_back,
)
from reminders import actions
from reminders.months import MonthError, month_key, month_of, parse_month, shift_months
from reminders.steps import Draft, ReminderRequest, preview

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
        return redirect_back(request, "reminders:due_month", month_key(month))
    if not is_confirmed(request):
        return render_reminder_preview(request, month, deck_ids)
    now = timezone.now()
    asked = ReminderRequest(
        shift_months(month, 1),
        deck_ids,
        at_once="at_once" in request.POST,
        without_clients=primary_keys(unticked_boxes(request)),
    )
    try:
        result = actions.queue_reminders(
            asked=asked,
            by=current_user(request),
            now=now,
            agreed_fingerprint=request.POST.get("agreed", ""),
        )
    except actions.PlanChanged as changed:
        messages.warning(request, str(changed))
        return render_reminder_preview(request, month, deck_ids)
    report_reminders(request, result)
    announce_sent(request, result.queued, now=now)
    return redirect_back(request, "reminders:due_month", month_key(month))


def posted_month(request: HttpRequest) -> date:
    """The month of the list that was sent; the present one if that is no month."""
    try:
        return parse_month(request.POST.get("month", ""))
    except MonthError:
        return month_of(business_today(request))


def render_reminder_preview(request: HttpRequest, month: date, deck_ids: list[int]) -> HttpResponse:
    at_once = "at_once" in request.POST
    now = timezone.now()
    seen = preview.preview_chosen_decks(
        deck_ids,
        business=business_of(request),
        now=now,
        until=shift_months(month, 1),
        at_once=at_once,
    )
    written = month_key(month)
    hidden = [("month", written), ("agreed", seen.fingerprint)]
    hidden += [("at_once", "yes")] if at_once else []
    back = posted_back(request)
    hidden += [("back", back)] if back else []
    count = len(seen.drafts)
    reminders = f"{count} reminder{'s' if count > 1 else ''}"
    page = ConfirmPage(
        title=f"Send {reminders}?" if count else "Nothing to send",
        action=reverse("reminders:remind"),
        hidden=[*hidden, *(("deck", str(pk)) for pk in deck_ids)],
        rows=rows_of_drafts(seen.drafts, now),
        button=f"Send {reminders}" if count else "",
        back=list_chosen_from(month, back),
        notes=[] if count else [why_nothing_goes(month, at_once)],
    )
    return render_confirm_page(
        request,
        page,
        template="reminders/remind.html",
        written=written,
        came_from=back,
        deck_ids=deck_ids,
        at_once=at_once,
        preview=seen,
    )


def list_chosen_from(month: date, back: str) -> tuple[str, str]:
    """Its address and its name."""
    if back.partition("?")[0] == reverse("today"):
        return back, "Today"
    address = reverse("reminders:due_month", args=[month_key(month)])
    return back or address, f"Due in {display.format_month(month)}"


def why_nothing_goes(month: date, at_once: bool) -> str:
    when = "now" if at_once else f"by the end of {display.format_month(month)}"
    return f"None of the chosen decks can be reminded {when}."


def rows_of_drafts(drafts: Sequence[Draft], now: datetime) -> list[RowToSend]:
    warnings = recent_contact_warnings([each.planned.client_id for each in drafts], now=now)
    return [row_of_draft(each, warnings.get(each.planned.client_id)) for each in drafts]


def row_of_draft(draft: Draft, warning: str | None) -> RowToSend:
    planned = draft.planned
    about = ", ".join(
        f"{step.coat.label} (due {display.format_month(step.coat.due_on)})"
        for step in planned.due_steps
    )
    day = f"{display.format_day(planned.local_day)}, {display.format_clock(planned.local)}"
    return RowToSend(
        box=str(planned.client_id),
        client=planned.client,
        channel=planned.route.channel,
        address=planned.route.address,
        subject=draft.written.subject,
        text=draft.shown_text,
        about=f"{planned.step.label.capitalize()}: {about}",
        allowed_by=planned.route.permission.allowed_by,
        passed_over=planned.passed_over,
        goes="" if planned.is_now else f"{day} at the property",
        parts=draft.written.parts,
        warnings=[warning] if warning else [],
    )


def report_reminders(request: HttpRequest, result: actions.RemindResult) -> None:
    """Who was left out and why."""
    left_out = len(result.left_out)
    for each in result.left_out[:MAX_REPORTED]:
        messages.warning(request, f"{each.client}, {each.deck}: nothing was queued. {each.why}")
    if left_out > MAX_REPORTED:
        messages.warning(
            request, f"{left_out - MAX_REPORTED} more decks were left out; the list shows why."
        )
