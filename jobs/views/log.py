"""Log a job: choose a deck or type a new one, then the job itself."""

import uuid
from datetime import date
from typing import cast

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from clients.models import Deck
from clients.pages import business_today, current_user, with_camera
from jobs import actions, photos, search
from jobs.actions.jobs import BookingMovedError, JobError, LoggedBeforeError, NewJob
from jobs.actions.new_decks import NewDeck
from jobs.diary import booked_work
from jobs.forms import log as forms
from jobs.forms.fields import PhotosField
from jobs.models import Crew, GradeExample, Job
from jobs.weather_ahead import read_expected_weather
from jobs.work import GENERAL_CAUTION, STRIPPER_CAUTION, closing_cautions

MAX_RECENT_DECKS = 6
MAX_FOUND_DECKS = 20


@with_camera
@require_http_methods(["GET", "HEAD", "POST"])
def log_job_page(request: HttpRequest) -> HttpResponse:
    """The page `jobs:log`; `?deck=` opens it for a deck, `?new=1` for a client who is not in the
    book."""
    today = business_today(request)
    if request.method == "POST":
        return handle_log_post(request, today)
    deck = current_deck(request.GET.get("deck", ""))
    if not deck and "new" not in request.GET:
        return choose_deck(request)
    return render_log_page(
        request, forms.new_log_forms(request, deck, today, forms.booking_of_deck(request.GET, deck))
    )


def deck_by_number(text: str) -> Deck | None:
    """The deck with that number, archived or not."""
    return (
        Deck.objects.with_owner().filter(pk=text).first()
        if text.isdecimal() and len(text) < 18
        else None
    )


def current_deck(text: str) -> Deck | None:
    deck = deck_by_number(text)
    return None if deck is None or deck.archived_at or deck.site.client.archived_at else deck


def choose_deck(request: HttpRequest) -> HttpResponse:
    """Which deck? One booked today, one this person worked on last, or a few words for another."""
    words = request.GET.get("q", "").strip()[:400]
    if "deck" in request.GET:
        messages.warning(request, "This deck is archived or not on file. Choose another.")
    own = list(Crew.objects.of_person(current_user(request)))
    crews = own or list(Crew.objects.going_out())
    today = business_today(request)
    decks = decks_matching(words) if words else recent_decks(request.user.pk)
    return render(
        request,
        "jobs/choose_deck.html",
        {
            "title": "Log a job",
            "action": reverse("jobs:log"),
            "words": words,
            "booked": [] if words else booked_work.decks_to_log(crews, day=today),
            "decks": decks,
            "is_new_possible": True,
        },
    )


def decks_matching(words: str) -> list[Deck]:
    found = search.find_decks(
        words, limit=MAX_FOUND_DECKS, filters=search.SearchFilters(archived="no")
    )
    ids = [hit.deck_id for hit in found.hits if hit.deck_id]
    decks = Deck.objects.current().with_owner().in_bulk(ids)
    return [decks[pk] for pk in ids if pk in decks]


def recent_decks(user_pk: int | None) -> list[Deck]:
    """Of the last jobs this person logged, newest first, each once."""
    logged = (
        Job.objects.filter(recorded_by=user_pk)
        .order_by("-id")
        .values_list("deck_id", flat=True)[:60]
    )
    ids = list(dict.fromkeys(logged))[:MAX_RECENT_DECKS]
    decks = Deck.objects.current().with_owner().in_bulk(ids)
    return [decks[pk] for pk in ids if pk in decks]


def render_log_page(request: HttpRequest, page: forms.LogForms) -> HttpResponse:
    page.job.show_examples(GradeExample.objects.by_kind())
    chosen = [page.shelf.products.get(str(row["product"].value())) for row in page.rows]
    context = {
        "page": page,
        "strip_cautions": [STRIPPER_CAUTION, GENERAL_CAUTION],
        "cautions": closing_cautions(product for product in chosen if product),
        "expected": expected_now(page.deck),
    }
    return render(request, "jobs/log.html", context)


def expected_now(deck: Deck | None) -> str:
    """Beside what was measured, never in its place."""
    if deck is None:
        return ""
    return read_expected_weather([deck.site], now=timezone.now()).hour_words(deck.site)


def handle_log_post(request: HttpRequest, today: date) -> HttpResponse:
    deck = deck_by_number(request.POST.get("deck", ""))
    if "add_product" in request.POST:
        page = forms.log_forms_with_row(request, deck, today)
        keep_photos(request, page.form_key)
        return render_log_page(request, page)
    page = forms.bound_log_forms(request, deck, today)
    there = Job.objects.filter(form_key=page.form_key).first() if page.form_key else None
    if there:
        return redirect_to_logged_job(request, there)
    if page.is_valid():
        try:
            return log_job_from_page(request, page)
        except LoggedBeforeError as error:
            page.twin = error.there
        except BookingMovedError as error:
            page.moved = error.booking
        except JobError as error:
            forms.add_action_error(page.job, error.field, str(error))
    keep_photos(request, page.form_key)
    return render_log_page(request, page)


def keep_photos(request: HttpRequest, form_key: uuid.UUID | None) -> None:
    """A browser sends files only once; those that are good wait here until the page is sent
    again."""
    try:
        good = PhotosField(required=False).clean(request.FILES.getlist("photos"))
    except ValidationError as error:
        messages.warning(request, f"Photos: {' '.join(error.messages)} None of them was kept.")
        return
    if form_key:
        photos.stage_photos(form_key, good)


def log_job_from_page(request: HttpRequest, page: forms.LogForms) -> HttpResponse:
    form = page.job
    now = timezone.now()
    form_key = form.cleaned_data["form_key"]
    deck = page.deck or (page.new.new_deck() if page.new else None)
    pictures = [*photos.read_staged_photos(form_key), *form.cleaned_data["photos"]]
    new = NewJob(
        deck=cast(Deck | NewDeck, deck),
        work=page.work_done(),
        form_key=form_key,
        photos=pictures,
        moment=form.cleaned_data["moment"] or "finished",
        booking=page.booking,
        may_repeat="another_job" in request.POST,
        moved_booking=request.POST.get("moved_booking", ""),
    )
    job, is_new = actions.log_job(new=new, by=current_user(request), now=now)
    photos.delete_staged_photos(form_key)
    if not is_new:
        return redirect_to_logged_job(request, job)
    messages.success(request, f"Logged: {job.get_kind_display().lower()} of {job.deck}.")
    if page.booking and (left := booked_work.unlogged_decks(page.booking)):
        messages.info(
            request, f"Still to log from this booking: {', '.join(deck.label for deck in left)}."
        )
        return redirect("diary:booking", page.booking.pk)
    return redirect("jobs:detail", job.pk)


def redirect_to_logged_job(request: HttpRequest, job: Job) -> HttpResponse:
    messages.info(request, "This job was logged already. Nothing was added.")
    return redirect("jobs:detail", job.pk)
