"""A booking: book it, look at it, move it, hold it for the weather, release it, call it off."""

from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from clients import display
from clients.access import business_of, sends, signed_in
from clients.models.channel import Channel
from jobs.actions import booking_messages
from jobs.actions import bookings as actions
from jobs.actions.bookings import BookingError
from jobs.diary import calendar
from jobs.diary.booked_work import Wanted, wanted, work_of
from jobs.diary.suggesting import suggestions
from jobs.forms.bookings import OTHER, ArrivalForm, BookForm, CallOffForm, HoldForm, MoveForm, NotesForm
from jobs.models import Booking
from jobs.views.diary import to_week
from jobs.views.log import found_decks


@require_GET
def booking(request: HttpRequest, pk: int) -> HttpResponse:
    row = row_of(pk)
    context = {
        "booking": row, "work": work_of(row), "told": booking_messages.messages_of(row).order_by("-id"),
        "today": business_of(request).today(timezone.now()), "hold_form": HoldForm(), "call_off_form": CallOffForm(),
        "notes_form": NotesForm(initial={"notes": row.notes}), "arrival_form": ArrivalForm(initial=times_of(row)),
    }  # fmt: skip
    return render(request, "jobs/diary/booking.html", context)


def times_of(row: Booking) -> dict[str, Any]:
    return {"arrives_from": row.arrives_from, "arrives_to": row.arrives_to, "tells": True}


def row_of(pk: int) -> Booking:
    rows = Booking.objects.select_related("client", "property", "crew", "offer", "created_by")
    return get_object_or_404(rows.prefetch_related("decks", "days__crew_day", "client__contact_points"), pk=pk)


@sends
@require_http_methods(["GET", "HEAD", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    """`?offer=` or `?deck=` says what is to be booked; without either a deck is looked up."""
    asked = wanted(deck=request.GET.get("deck", ""), offer=request.GET.get("offer", ""))
    if asked is None:
        words = request.GET.get("q", "").strip()[:400]
        return render(request, "jobs/diary/choose.html", {"words": words, "decks": found_decks(words) if words else []})
    form = book_form(request, asked)
    if form.is_valid() and (row := booked(request, form, asked)):
        say_told(request, row, f"Booked: {display.weekday(row.first_on)}, {row.crew}.")
        return redirect("diary:booking", row.pk)
    return render(request, "jobs/diary/new.html", {"form": form, "asked": asked})


def book_form(request: HttpRequest, asked: Wanted) -> BookForm:
    today, business = business_of(request).today(timezone.now()), business_of(request)
    suggested = suggestions(hours=asked.hours_or_guess, property=asked.property, business=business, today=today)
    first = suggested[0].value if suggested else OTHER
    initial = {"decks": asked.decks, "hours": asked.hours, "when": first, "tells": True}
    return BookForm(request.POST or None, decks=asked.choice, suggested=suggested, initial=initial)


def booked(request: HttpRequest, form: BookForm, asked: Wanted) -> Booking | None:
    values = form.cleaned_data
    names = ("hours", "first_day", "crew", "notes", "on_any_day", "arrival", "tells")
    return attempt(form, lambda: actions.book(
        property=asked.property, decks=list(values["decks"]), week=None, offer=asked.offer, by=signed_in(request),
        now=timezone.now(), **{name: values[name] for name in names},
    ))  # fmt: skip


@sends
@require_http_methods(["GET", "HEAD", "POST"])
def move(request: HttpRequest, pk: int) -> HttpResponse:
    """Another day; `?day=` and `?crew=` come from dragging a booking over the week."""
    row = row_of(pk)
    form = move_form(request, row)
    if form.is_valid() and (moved := moved_to(request, form, row)):
        done = f"{moved.client}: {display.weekday(moved.first_on)}, {moved.crew}."
        is_news = (moved.first_on, moved.arrival()) != (row.first_on, row.arrival())
        say_told(request, moved, done, is_needed=is_news)
        return to_week(moved.first_on)
    return render(request, "jobs/diary/move.html", {"form": form, "booking": row})


def move_form(request: HttpRequest, row: Booking) -> MoveForm:
    business = business_of(request)
    today = business.today(timezone.now())
    suggested = suggestions(hours=row.hours, property=row.property, business=business, today=today, booking=row)
    asked = {"when": OTHER, "first_day": request.GET["day"]} if "day" in request.GET else {}
    initial = {"hours": row.hours, "crew": request.GET.get("crew", row.crew_id), **times_of(row), **asked}
    return MoveForm(request.POST or None, suggested=suggested, initial=initial)


def moved_to(request: HttpRequest, form: MoveForm, row: Booking) -> Booking | None:
    names = ("hours", "first_day", "crew", "why", "on_any_day", "arrival", "tells")
    values = {name: form.cleaned_data[name] for name in names}
    return attempt(form, lambda: actions.move(booking=row, by=signed_in(request), now=timezone.now(), **values))


def attempt(form: forms.Form, deed: Callable[[], Booking]) -> Booking | None:
    """What the action refuses stands beside the field it is about."""
    try:
        return deed()
    except BookingError as error:
        form.add_error(error.field if error.field in form.fields else None, str(error))
        return None


@require_POST
def notes(request: HttpRequest, pk: int) -> HttpResponse:
    """Everybody may add to them: the crew hears things on site."""
    form = NotesForm(request.POST)
    if form.is_valid():
        actions.change_notes(booking=row_of(pk), notes=form.cleaned_data["notes"])
        messages.success(request, "The notes were saved.")
    else:
        messages.error(request, mistakes(form))
    return redirect("diary:booking", pk)


@sends
@require_POST
def arrival(request: HttpRequest, pk: int) -> HttpResponse:
    return act(request, pk, ArrivalForm(request.POST), actions.change_arrival, "The time of arrival was saved.")


@sends
@require_POST
def hold(request: HttpRequest, pk: int) -> HttpResponse:
    return act(request, pk, HoldForm(request.POST), actions.hold, "Held for the weather.")


@sends
@require_POST
def release(request: HttpRequest, pk: int) -> HttpResponse:
    return act(request, pk, forms.Form(request.POST), actions.release, "The booking stands.")


@sends
@require_POST
def call_off(request: HttpRequest, pk: int) -> HttpResponse:
    return act(request, pk, CallOffForm(request.POST), actions.cancel, "Called off. The hours are free again.")


def act(request: HttpRequest, pk: int, form: forms.Form, deed: Callable[..., Booking], done: str) -> HttpResponse:
    """One deed, then its page again."""
    row = row_of(pk)
    if not form.is_valid():
        messages.error(request, mistakes(form))
        return redirect("diary:booking", pk)
    try:
        row = deed(booking=row, by=signed_in(request), now=timezone.now(), **form.cleaned_data)
    except BookingError as error:
        messages.error(request, str(error))
    else:
        say_told(request, row, done)
    return redirect("diary:booking", pk)


def mistakes(form: forms.Form) -> str:
    return " ".join(str(error) for errors in form.errors.values() for error in errors)


@require_GET
def calendar_file(request: HttpRequest, pk: int) -> HttpResponse:
    """The booking as a file, for whoever asks for it on the telephone."""
    content = calendar.client_file(row_of(pk), business_of(request), now=timezone.now())
    headers = {"Content-Disposition": 'attachment; filename="visit.ics"'}
    return HttpResponse(content, content_type="text/calendar; charset=utf-8", headers=headers)


def say_told(request: HttpRequest, row: Booking, done: str, *, is_needed: bool = True) -> None:
    """What happened, and whether the client learns of it."""
    told = booking_messages.newest(row)
    if not is_needed:
        messages.success(request, done)
    elif told is None:
        messages.warning(request, f"{done} No message goes to {row.client}: tell them yourself.")
    elif told.channel == Channel.CALL:
        messages.success(request, f"{done} {row.client} has no e-mail address and stands on the list of calls to make.")
    else:
        messages.success(request, f"{done} An e-mail to {row.client} is in the outbox.")
