"""A check without work: record it, correct it."""

import uuid
from collections.abc import Sequence
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from clients.actions.receiving import receive_once, typed_form_key
from clients.models import Deck
from clients.pages import FormPage, business_of, business_today, current_user, render_form_page
from jobs import actions, photos
from jobs.actions.jobs import JobError
from jobs.forms.findings import CheckForm, NewCheckForm
from jobs.forms.log import add_action_error
from jobs.forms.photo import PhotosForm
from jobs.models import GradeExample, Photo, Visit
from jobs.views.log import deck_by_number, keep_photos
from jobs.views.photos import sent_photos


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
    is_sent = request.method == "POST"
    data, files = (request.POST, request.FILES) if is_sent else (None, None)
    form = NewCheckForm(data, files, initial=initial)
    key = typed_form_key(request.POST) or uuid.uuid4()
    if is_sent:
        if form.is_valid() and submit_check(request, deck, form, key):
            return redirect("decks:detail", deck.pk)
        keep_photos(request, key)
    return render_check_form(request, deck, form, title="Check a deck", form_key=key)


@require_POST
def check_photos(request: HttpRequest) -> HttpResponse:
    """A photograph that follows the form of its check (`form_key`), which was sent before."""
    if (key := typed_form_key(request.POST)) is None:
        raise Http404("Without the key of its form nobody knows of which check it is.")
    visit = get_object_or_404(Visit.objects.select_related("deck"), form_key=key)
    form = PhotosForm({"moment": Photo.Moment.FOUND}, sent_photos(request))
    if not form.is_valid():
        return HttpResponse(form.errors.as_text(), status=422, content_type="text/plain")
    add_photos_of(visit, form.cleaned_data["photos"])
    return redirect("decks:detail", visit.deck_id)


def add_photos_of(visit: Visit, files: Sequence[photos.NormalizedPhoto]) -> None:
    """They show the deck as it was found on that day."""
    new = actions.FilesInput([("", file) for file in files], taken_on=visit.visited_on)
    actions.keep_with_deck(deck=visit.deck, new=new, now=timezone.now())


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


def submit_check(request: HttpRequest, deck: Deck, form: NewCheckForm, key: uuid.UUID) -> bool:
    try:
        is_new = save_check_once(request, deck, form, key)
    except JobError as error:
        add_action_error(form, error.field, str(error))
        return False
    photos.delete_staged_photos(key)
    said = (
        "The check was recorded."
        if is_new
        else "This check was recorded already. Nothing was added."
    )
    messages.success(request, said)
    return True


def save_check_once(request: HttpRequest, deck: Deck, form: NewCheckForm, key: uuid.UUID) -> bool:
    """Whether this check was not recorded before, by this form or in the same words."""
    by = current_user(request)
    now = timezone.now()
    made = []

    def write() -> str:
        visit, is_new = actions.record_visit(
            deck=deck, by=by, now=now, form_key=key, **check_values(form)
        )
        made.append(is_new)
        add_photos_of(visit, [*photos.read_staged_photos(key), *form.cleaned_data["photos"]])
        return reverse("decks:detail", args=[deck.pk])

    receive_once(form_key=key, by=by, now=now, write=write)
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
    form.show_examples(GradeExample.objects.by_kind())
    home = deck.site
    page = FormPage(
        title,
        "What you found, without any work.",
        fields="jobs/_check_fields.html",
        button="Save the check",
        cancel=reverse("decks:detail", args=[deck.pk]),
        is_checked_by_browser=False,
        has_files=form_key is not None,
        kept=f"{title}: {home.client.name}, {deck.label}" if form_key else "",
        photos_to=reverse("jobs:check_photos") if form_key else "",
    )
    return render_form_page(
        request,
        page,
        form=form,
        deck=deck,
        crumbs={"client": home.client, "home": home, "deck": deck, "leaf": "Check"},
        form_key=form_key,
        photos_kept=len(photos.staged_photo_names(form_key)) if form_key else 0,
    )
