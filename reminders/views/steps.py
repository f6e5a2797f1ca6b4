"""The sequence of reminders and its rules, and stopping it for a deck."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from clients.messaging.models import Message, SendingRules
from clients.messaging.views.confirm import announce_sent
from clients.models import Deck
from clients.pages import FormPage, current_user, office_required, owner_required, render_form_page
from reminders import actions
from reminders.forms.steps import BaseStepFormSet, RulesForm, StepFormSet, StopForm, step_form_rows
from reminders.models import ReminderStep, Stop
from reminders.steps import save_sequence
from reminders.views.remind import report_reminders


@owner_required
@require_http_methods(["GET", "POST"])
def edit_reminder_steps(request: HttpRequest) -> HttpResponse:
    """The page `steps:rules`: the sequence, quiet times and how often is enough."""
    sequence = ReminderStep.objects.sequence()
    shown = step_form_rows(sequence)
    steps: BaseStepFormSet = StepFormSet(request.POST or None, prefix="step", initial=shown)
    form = RulesForm(request.POST or None, instance=SendingRules.current())
    if request.method == "POST" and all([steps.is_valid(), form.is_valid()]):
        save_sequence(steps=steps.steps, rules=form.instance)
        messages.success(request, "Saved. What is in the outbox already stays as it is.")
        return redirect("steps:rules")
    settings = reverse("settings:overview")
    around = FormPage(
        "Reminders",
        "One after the other about each coat, until work is booked, the client says no or stops"
        " them, or a new coat goes on.",
        back=(settings, "Settings"),
        before="reminders/_steps_problem.html",
        fields="reminders/_steps_fields.html",
        cancel=settings,
    )
    return render_form_page(request, around, sequence=sequence, steps=steps, form=form)


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
    if actions.lift_reminder_stops(deck_ids=[get_object_or_404(Deck, pk=pk).pk]):
        messages.success(request, "Reminders about this coat may go again.")
    return redirect("decks:detail", pk)


@office_required
@require_POST
def resend_unconfirmed(request: HttpRequest, pk: int) -> HttpResponse:
    """The action `steps:otherwise`: what may not have gone out is said by another channel."""
    message = get_object_or_404(Message.objects.filter(reminders__isnull=False).distinct(), pk=pk)
    now = timezone.now()
    result = actions.resend_by_other_channel(message=message, by=current_user(request), now=now)
    report_reminders(request, result)
    announce_sent(request, result.queued, now=now)
    if not result.queued and not result.left_out:
        messages.warning(
            request, "Nothing was changed: it is not unconfirmed, or not for long enough."
        )
    return redirect("decks:detail", message.reminders.all()[0].deck_id)
