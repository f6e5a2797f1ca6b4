"""The words due in a month before anything is queued, queueing them, the sequence, and stopping it
for a deck."""

from datetime import date

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from clients.access import (
    business_of,
    business_today,
    current_user,
    office_required,
    owner_required,
)
from clients.messaging.models import Message, SendingRules
from clients.models import Deck
from reminders import actions
from reminders.forms.steps import BaseStepFormSet, RulesForm, StepFormSet, StopForm, step_form_rows
from reminders.models import ReminderStep, Stop
from reminders.months import MonthError, month_key, month_of, parse_month, shift_months
from reminders.steps import ReminderRequest, preview, save_sequence
from reminders.views.remind import report_reminders

PAGE_SIZE = 50
# messages a click; more would keep the browser waiting for longer than a person does
MAX_AT_ONCE = 1000
MAX_NAMED = 25  # decks of a reason on the page; ?kind= shows all of one


@office_required
@require_GET
def show_reminder_plan(request: HttpRequest) -> HttpResponse:
    """The page `steps:plan`: everything that is due for a word until the end of `?month=`, and who
    is left out."""
    month = requested_month(request.GET.get("month", ""), request)
    kind = request.GET.get("kind", "")
    seen = preview.preview_whole_book(
        business=business_of(request),
        now=timezone.now(),
        until=shift_months(month, 1),
        limit=MAX_AT_ONCE,
    )
    context = {
        "month": month,
        "written": month_key(month),
        "before": month_key(shift_months(month, -1)),
        "after": month_key(shift_months(month, 1)),
        "preview": seen,
        "kind": kind,
        "groups": preview.group_left_out_by_kind(
            seen.left_out, limit=None if kind else MAX_NAMED, kind=kind
        ),
        "page": Paginator(seen.drafts, PAGE_SIZE).get_page(request.GET.get("page")),
    }
    return render(request, "reminders/steps_plan.html", context)


def requested_month(text: str, request: HttpRequest) -> date:
    """The month in the address; the present one without."""
    if not text:
        return month_of(business_today(request))
    try:
        return parse_month(text)
    except MonthError as error:
        raise Http404(str(error)) from error


@office_required
@require_POST
def queue_month_reminders(request: HttpRequest) -> HttpResponse:
    """The action `steps:queue`: what the preview showed, if it is still the same."""
    month = requested_month(request.POST.get("month", ""), request)
    back = f"{reverse('steps:plan')}?month={month_key(month)}"
    try:
        result = actions.queue_reminders(
            asked=ReminderRequest(shift_months(month, 1)),
            by=current_user(request),
            now=timezone.now(),
            limit=MAX_AT_ONCE,
            agreed_fingerprint=request.POST.get("agreed") or "nothing",
        )
    except actions.PlanChanged as changed:
        messages.warning(request, str(changed))
        return redirect(back)
    report_reminders(request, result)
    return redirect(back)


@owner_required
@require_http_methods(["GET", "POST"])
def edit_reminder_steps(request: HttpRequest) -> HttpResponse:
    """The page `steps:rules`: the sequence, quiet times and how often is enough."""
    shown = step_form_rows(ReminderStep.objects.sequence())
    steps: BaseStepFormSet = StepFormSet(request.POST or None, prefix="step", initial=shown)
    form = RulesForm(request.POST or None, instance=SendingRules.current())
    if request.method == "POST" and all([steps.is_valid(), form.is_valid()]):
        save_sequence(steps=steps.steps, rules=form.instance)
        messages.success(request, "Saved. What is in the outbox already stays as it is.")
        return redirect("steps:rules")
    return render(request, "reminders/steps_rules.html", {"steps": steps, "form": form})


@office_required
@require_POST
def stop_deck_reminders(request: HttpRequest, pk: int) -> HttpResponse:
    """The action `steps:stop`: no reminders about the coat now on a deck, and none that waits goes
    out."""
    deck = get_object_or_404(Deck, pk=pk)
    form = StopForm(request.POST)
    if not form.is_valid():
        messages.error(
            request, " ".join(str(error) for errors in form.errors.values() for error in errors)
        )
    elif actions.stop_reminders(
        deck_ids=[deck.pk],
        why=Stop.Why.BY_HAND,
        by=current_user(request),
        now=timezone.now(),
        **form.cleaned_data,
    ):
        messages.success(request, "Reminders about this coat are stopped.")
    else:
        messages.warning(request, "No coat is logged on this deck, so there is nothing to stop.")
    return redirect("decks:detail", pk)


@office_required
@require_POST
def lift_deck_stop(request: HttpRequest, pk: int) -> HttpResponse:
    """The action `steps:lift`."""
    if actions.lift_reminder_stop(deck=get_object_or_404(Deck, pk=pk)):
        messages.success(request, "Reminders about this coat may go again.")
    return redirect("decks:detail", pk)


@office_required
@require_POST
def resend_unconfirmed(request: HttpRequest, pk: int) -> HttpResponse:
    """The action `steps:otherwise`: what may not have gone out is said by another channel."""
    message = get_object_or_404(Message.objects.filter(reminders__isnull=False).distinct(), pk=pk)
    result = actions.resend_by_other_channel(
        message=message, by=current_user(request), now=timezone.now()
    )
    report_reminders(request, result)
    if not result.queued and not result.left_out:
        messages.warning(
            request, "Nothing was changed: it is not unconfirmed, or not for long enough."
        )
    return redirect("decks:detail", message.reminders.all()[0].deck_id)
