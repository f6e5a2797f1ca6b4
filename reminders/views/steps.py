"""The words due in a month before anything is queued, queueing them, the sequence, and stopping it for a deck."""

from datetime import date

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from clients.access import business_of, manages, sends, signed_in
from clients.messaging.models import Message, SendingRules
from clients.models import Deck
from reminders import actions
from reminders.forms.steps import BaseStepFormSet, RulesForm, StepFormSet, StopForm, rows_of
from reminders.models import ReminderStep, Stop
from reminders.months import MonthError, month_of, months_on, parse_month, written
from reminders.steps import preview
from reminders.steps.settings import keep_sequence
from reminders.views.remind import tell

A_PAGE = 50
MOST_AT_ONCE = 1000  # messages a click; more would keep the browser waiting for longer than a person does
MOST_NAMED = 25  # decks of a reason on the page; ?kind= shows all of one


@sends
@require_GET
def plan(request: HttpRequest) -> HttpResponse:
    """The page `steps:plan`: everything that is due for a word until the end of `?month=`, and who is left out."""
    month, kind = month_asked(request.GET.get("month", ""), request), request.GET.get("kind", "")
    seen = preview.of_book(
        business=business_of(request), now=timezone.now(), until=months_on(month, 1), most=MOST_AT_ONCE
    )
    context = {
        "month": month,
        "written": written(month),
        "before": written(months_on(month, -1)),
        "after": written(months_on(month, 1)),
        "preview": seen,
        "kind": kind,
        "groups": preview.grouped(seen.left_out, most=None if kind else MOST_NAMED, kind=kind),
        "page": Paginator(seen.drafts, A_PAGE).get_page(request.GET.get("page")),
    }
    return render(request, "reminders/steps_plan.html", context)


def month_asked(text: str, request: HttpRequest) -> date:
    """The month in the address; the present one without."""
    if not text:
        return month_of(business_of(request).today(timezone.now()))
    try:
        return parse_month(text)
    except MonthError as error:
        raise Http404(str(error)) from error


@sends
@require_POST
def queue(request: HttpRequest) -> HttpResponse:
    """The door `steps:queue`: what the preview showed, if it is still the same."""
    month = month_asked(request.POST.get("month", ""), request)
    back = f"{reverse('steps:plan')}?month={written(month)}"
    try:
        result = actions.remind(
            deck_ids=None, until=months_on(month, 1), by=signed_in(request), now=timezone.now(),
            most=MOST_AT_ONCE, agreed=request.POST.get("agreed") or "nothing",
        )  # fmt: skip
    except actions.PlanChanged as changed:
        messages.warning(request, str(changed))
        return redirect(back)
    tell(request, result)
    return redirect(back)


@manages
@require_http_methods(["GET", "POST"])
def rules(request: HttpRequest) -> HttpResponse:
    """The page `steps:rules`: the sequence, quiet times and how often is enough."""
    shown = rows_of(ReminderStep.objects.sequence())
    steps: BaseStepFormSet = StepFormSet(request.POST or None, prefix="step", initial=shown)
    form = RulesForm(request.POST or None, instance=SendingRules.current())
    if request.method == "POST" and all([steps.is_valid(), form.is_valid()]):
        keep_sequence(steps=steps.steps, rules=form.instance)
        messages.success(request, "Saved. What is in the outbox already stays as it is.")
        return redirect("steps:rules")
    return render(request, "reminders/steps_rules.html", {"steps": steps, "form": form})


@sends
@require_POST
def stop(request: HttpRequest, pk: int) -> HttpResponse:
    """The door `steps:stop`: no reminders about the coat now on a deck, and none that waits goes out."""
    deck = get_object_or_404(Deck, pk=pk)
    form = StopForm(request.POST)
    if not form.is_valid():
        messages.error(request, " ".join(str(error) for errors in form.errors.values() for error in errors))
    elif actions.stop(
        deck_ids=[deck.pk], why=Stop.Why.BY_HAND, by=signed_in(request), now=timezone.now(), **form.cleaned_data
    ):
        messages.success(request, "Reminders about this coat are stopped.")
    else:
        messages.warning(request, "No coat is logged on this deck, so there is nothing to stop.")
    return redirect("decks:detail", pk)


@sends
@require_POST
def lift(request: HttpRequest, pk: int) -> HttpResponse:
    """The door `steps:lift`."""
    if actions.lift_stop(deck=get_object_or_404(Deck, pk=pk)):
        messages.success(request, "Reminders about this coat may go again.")
    return redirect("decks:detail", pk)


@sends
@require_POST
def otherwise(request: HttpRequest, pk: int) -> HttpResponse:
    """The door `steps:otherwise`: what nobody knows to have gone out is said by another channel."""
    message = get_object_or_404(Message.objects.filter(reminders__isnull=False).distinct(), pk=pk)
    result = actions.say_otherwise(message=message, by=signed_in(request), now=timezone.now())
    tell(request, result)
    if not result.queued and not result.left_out:
        messages.warning(request, "Nothing was changed: it is not unconfirmed, or not for long enough.")
    return redirect("decks:detail", message.reminders.all()[0].deck_id)
