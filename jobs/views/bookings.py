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
from clients.access import business_of, business_today, current_user, office_required
from jobs.actions import booking_messages
from jobs.actions import bookings as actions
from jobs.actions.bookings import BookingError
from jobs.diary import (
    BookingRequest,
    booked_decks,
    find_booking_request,
    icalendar_files,
    placement_suggestions,
)
from jobs.forms.bookings import (
    OTHER_DAY,
    ArrivalForm,
    BookingForm,
    CallOffForm,
    HoldForm,
    MoveForm,
    NotesForm,
)
from jobs.models import Booking
from jobs.views.diary import redirect_to_week
from jobs.views.log import decks_matching


@require_GET
def show_booking(request: HttpRequest, pk: int) -> HttpResponse:
    row = booking_or_404(pk)
    context = {
        "booking": row,
        "work": booked_decks(row),
        "told": booking_messages.messages_about_booking(row).order_by("-id"),
        "today": business_today(request),
        "hold_form": HoldForm(),
        "call_off_form": CallOffForm(),
        "notes_form": NotesForm(initial={"notes": row.notes}),
        "arrival_form": ArrivalForm(initial=arrival_initial(row)),
    }
    return render(request, "jobs/diary/booking.html", context)


def arrival_initial(row: Booking) -> dict[str, Any]:
    return {"arrives_from": row.arrives_from, "arrives_to": row.arrives_to, "notify_client": True}


def booking_or_404(pk: int) -> Booking:
    rows = Booking.objects.select_related("client", "site", "crew", "offer", "created_by")
    return get_object_or_404(
        rows.prefetch_related("decks", "days__crew_day", "client__contact_points"), pk=pk
    )


@office_required
@require_http_methods(["GET", "HEAD", "POST"])
def new_booking(request: HttpRequest) -> HttpResponse:
    """`?offer=` or `?deck=` says what is to be booked; without either a deck is looked up."""
    asked = find_booking_request(
        deck=request.GET.get("deck", ""), offer=request.GET.get("offer", "")
    )
    if asked is None:
        words = request.GET.get("q", "").strip()[:400]
        return render(
            request,
            "jobs/diary/choose.html",
            {"words": words, "decks": decks_matching(words) if words else []},
        )
    form = booking_form(request, asked)
    if form.is_valid() and (row := submit_booking(request, form, asked)):
        report_booking_change(
            request, row, f"Booked: {display.format_weekday(row.first_on)}, {row.crew}."
        )
        return redirect("diary:booking", row.pk)
    return render(request, "jobs/diary/new.html", {"form": form, "asked": asked})


def booking_form(request: HttpRequest, asked: BookingRequest) -> BookingForm:
    today = business_today(request)
    business = business_of(request)
    suggested = placement_suggestions(
        hours=asked.hours_or_default, site=asked.site, business=business, today=today
    )
    first = suggested[0].value if suggested else OTHER_DAY
    initial = {"decks": asked.decks, "hours": asked.hours, "when": first, "notify_client": True}
    return BookingForm(
        request.POST or None, decks=asked.selectable_decks, suggested=suggested, initial=initial
    )


def submit_booking(
    request: HttpRequest, form: BookingForm, asked: BookingRequest
) -> Booking | None:
    values = form.cleaned_data
    names = ("hours", "first_day", "crew", "notes", "on_any_day", "arrival")
    work = actions.NewBooking(
        site=asked.site,
        decks=list(values["decks"]),
        offer=asked.offer,
        **{name: values[name] for name in names},
    )
    return run_or_add_error(
        form,
        lambda: actions.book_work(
            work=work,
            by=current_user(request),
            now=timezone.now(),
            notify_client=values["notify_client"],
        ),
    )


@office_required
@require_http_methods(["GET", "HEAD", "POST"])
def booking_move(request: HttpRequest, pk: int) -> HttpResponse:
    """Another day; `?day=` and `?crew=` come from dragging a booking over the week."""
    row = booking_or_404(pk)
    form = move_form(request, row)
    if form.is_valid() and (moved := submit_booking_move(request, form, row)):
        done = f"{moved.client}: {display.format_weekday(moved.first_on)}, {moved.crew}."
        is_news = (moved.first_on, moved.arrival()) != (row.first_on, row.arrival())
        report_booking_change(request, moved, done, is_needed=is_news)
        return redirect_to_week(moved.first_on)
    return render(request, "jobs/diary/move.html", {"form": form, "booking": row})


def move_form(request: HttpRequest, row: Booking) -> MoveForm:
    business = business_of(request)
    today = business.today(timezone.now())
    suggested = placement_suggestions(
        hours=row.hours, site=row.site, business=business, today=today, booking=row
    )
    asked = {"when": OTHER_DAY, "first_day": request.GET["day"]} if "day" in request.GET else {}
    initial = {
        "hours": row.hours,
        "crew": request.GET.get("crew", row.crew_id),
        **arrival_initial(row),
        **asked,
    }
    return MoveForm(request.POST or None, suggested=suggested, initial=initial)


def submit_booking_move(request: HttpRequest, form: MoveForm, row: Booking) -> Booking | None:
    names = ("hours", "first_day", "crew", "why", "on_any_day", "arrival")
    move = actions.BookingMove(**{name: form.cleaned_data[name] for name in names})
    return run_or_add_error(
        form,
        lambda: actions.move_booking(
            booking=row,
            move=move,
            by=current_user(request),
            now=timezone.now(),
            notify_client=form.cleaned_data["notify_client"],
        ),
    )


def run_or_add_error(form: forms.Form, action: Callable[[], Booking]) -> Booking | None:
    """What the action refuses stands beside the field it is about."""
    try:
        return action()
    except BookingError as error:
        form.add_error(error.field if error.field in form.fields else None, str(error))
        return None


@require_POST
def booking_notes(request: HttpRequest, pk: int) -> HttpResponse:
    """Everybody may add to them: the crew hears things on site."""
    form = NotesForm(request.POST)
    if form.is_valid():
        actions.change_booking_notes(booking=booking_or_404(pk), notes=form.cleaned_data["notes"])
        messages.success(request, "The notes were saved.")
    else:
        messages.error(request, form_error_text(form))
    return redirect("diary:booking", pk)


@office_required
@require_POST
def booking_arrival(request: HttpRequest, pk: int) -> HttpResponse:
    return run_booking_action(
        request,
        pk,
        ArrivalForm(request.POST),
        actions.change_booking_arrival,
        "The time of arrival was saved.",
    )


@office_required
@require_POST
def booking_hold(request: HttpRequest, pk: int) -> HttpResponse:
    return run_booking_action(
        request, pk, HoldForm(request.POST), actions.hold_booking, "Held for the weather."
    )


@office_required
@require_POST
def booking_release(request: HttpRequest, pk: int) -> HttpResponse:
    return run_booking_action(
        request, pk, forms.Form(request.POST), actions.release_booking, "The booking stands."
    )


@office_required
@require_POST
def booking_call_off(request: HttpRequest, pk: int) -> HttpResponse:
    return run_booking_action(
        request,
        pk,
        CallOffForm(request.POST),
        actions.cancel_booking,
        "Called off. The hours are free again.",
    )


def run_booking_action(
    request: HttpRequest, pk: int, form: forms.Form, action: Callable[..., Booking], done: str
) -> HttpResponse:
    """One action, then its page again."""
    row = booking_or_404(pk)
    if not form.is_valid():
        messages.error(request, form_error_text(form))
        return redirect("diary:booking", pk)
    try:
        row = action(booking=row, by=current_user(request), now=timezone.now(), **form.cleaned_data)
    except BookingError as error:
        messages.error(request, str(error))
    else:
        report_booking_change(request, row, done)
    return redirect("diary:booking", pk)


def form_error_text(form: forms.Form) -> str:
    return " ".join(str(error) for errors in form.errors.values() for error in errors)


@require_GET
def booking_calendar_file(request: HttpRequest, pk: int) -> HttpResponse:
    """The booking as a file, for whoever asks for it on the telephone."""
    content = icalendar_files.client_calendar_file(
        booking_or_404(pk), business_of(request), now=timezone.now()
    )
    headers = {"Content-Disposition": 'attachment; filename="visit.ics"'}
    return HttpResponse(content, content_type="text/calendar; charset=utf-8", headers=headers)


def report_booking_change(
    request: HttpRequest, row: Booking, done: str, *, is_needed: bool = True
) -> None:
    """What happened, and whether the client learns of it."""
    told = booking_messages.newest_booking_message(row)
    if not is_needed:
        messages.success(request, done)
    elif told is None:
        messages.warning(request, f"{done} No message goes to {row.client}: tell them yourself.")
    elif told.traits.is_spoken:
        messages.success(
            request,
            f"{done} {row.client} has no e-mail address and stands on the list of calls to make.",
        )
    else:
        messages.success(request, f"{done} An e-mail to {row.client} is in the outbox.")
