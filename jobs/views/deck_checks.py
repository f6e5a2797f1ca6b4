"""A check without work: record it, correct it."""

import uuid
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from clients.actions.receiving import receive_once, typed_form_key
from clients.models import Deck
from clients.pages import FormPage, business_of, business_today, current_user, render_form_page
from jobs import actions
from jobs.actions.jobs import JobError
from jobs.forms.findings import CheckForm
from jobs.forms.log import add_action_error
from jobs.models import Visit
from jobs.views.log import deck_by_number


@require_http_methods(["GET", "HEAD", "POST"])
def new_check(request: HttpRequest) -> HttpResponse:
    deck = deck_by_number(request.POST.get("deck") or request.GET.get("deck", ""))
    if deck is None:
        raise Http404("There is no such deck.")
    today = business_today(request)
    initial = {
        "visited_on": today,
        "reason": Visit.Reason.ROUTINE,
        "found_by": current_user(request).get_full_name(),
    }
    form = CheckForm(request.POST if request.method == "POST" else None, initial=initial)
    if form.is_bound and form.is_valid() and submit_check(request, deck, form):
        return redirect("decks:detail", deck.pk)
    key = typed_form_key(request.POST) or uuid.uuid4()
    return render_check_form(request, deck, form, title="Check a deck", form_key=key)


@require_http_methods(["GET", "HEAD", "POST"])
def edit_check(request: HttpRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(Visit.objects.select_related("deck__site__client", "job"), pk=pk)
    if hasattr(row, "job"):
        return redirect("jobs:edit", row.job.pk)  # a job's own grades are corrected with it
    initial = {name: getattr(row, name) for name in CheckForm.base_fields}
    form = CheckForm(request.POST if request.method == "POST" else None, initial=initial)
    if form.is_bound and form.is_valid() and submit_check_correction(request, row, form):
        return redirect("decks:detail", row.deck_id)
    return render_check_form(request, row.deck, form, title="Change a check")


def submit_check(request: HttpRequest, deck: Deck, form: CheckForm) -> bool:
    try:
        is_new = save_check_once(request, deck, form)
    except JobError as error:
        add_action_error(form, error.field, str(error))
        return False
    said = (
        "The check was recorded."
        if is_new
        else "This check was recorded already. Nothing was added."
    )
    messages.success(request, said)
    return True


def save_check_once(request: HttpRequest, deck: Deck, form: CheckForm) -> bool:
    """Whether this check was not recorded before, by this form or in the same words."""
    by = current_user(request)
    now = timezone.now()
    made = []

    def write() -> str:
        _, is_new = actions.record_visit(
            deck=deck, by=by, now=now, business=business_of(request), **check_values(form)
        )
        made.append(is_new)
        return reverse("decks:detail", args=[deck.pk])

    receive_once(form_key=typed_form_key(request.POST), by=by, now=now, write=write)
    return any(made)


def submit_check_correction(request: HttpRequest, row: Visit, form: CheckForm) -> bool:
    try:
        actions.change_visit(
            visit=row, now=timezone.now(), business=business_of(request), **check_values(form)
        )
    except JobError as error:
        add_action_error(form, error.field, str(error))
        return False
    messages.success(request, "The check was changed.")
    return True


def check_values(form: CheckForm) -> dict[str, Any]:
    return {"visited_on": form.cleaned_data["visited_on"], "findings": form.findings()}


def render_check_form(
    request: HttpRequest,
    deck: Deck,
    form: CheckForm,
    *,
    title: str,
    form_key: uuid.UUID | None = None,
) -> HttpResponse:
    home = deck.site
    page = FormPage(
        title,
        f"{home.client.name} · {deck.label}, {home.street}. What you found, without any work.",
        fields="jobs/_check_fields.html",
        button="Save the check",
        cancel=reverse("decks:detail", args=[deck.pk]),
        is_checked_by_browser=False,
        kept=f"{title}: {home.client.name}, {deck.label}" if form_key else "",
    )
    crumbs = {"client": home.client, "home": home, "deck": deck, "leaf": "Check"}
    return render_form_page(request, page, form=form, deck=deck, crumbs=crumbs, form_key=form_key)
