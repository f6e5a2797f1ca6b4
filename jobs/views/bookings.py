"""A booking: book it, look at it, move it, hold it for the weather, release it, call it off."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Any

from django import forms
from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from clients import display
from clients.messaging.views.confirm import unticked_boxes
from clients.pages import (
    FormPage,
    business_of,
    business_today,
    current_user,
    office_required,
    redirect_back,
    render_form_page,
)
from clients.tables import attachment_response
from clients.views.editing import FormsOfPage, RecordEdit, edit_record, opened_context
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
from jobs.forecast_summary import NearbyLook, nearby_looks
from jobs.forms.bookings import (
    OTHER_DAY,
    ArrivalForm,
    BookingForm,
    CallOffForm,
    HoldForm,
    MoveForm,
    NextVisitForm,
    NotesForm,
)
from jobs.models import Booking, Defect
from jobs.scope import booked_scopes, map_url, read_visits_weather
from jobs.views.diary import redirect_to_week
from jobs.views.log import decks_matching
from jobs.views.telling import (
    NEW_BOX,
    DiaryChange,
    ask_who_is_told,
    make_change,
    report_told,
)

NEXT_VISIT_IDS = "next_%s"


@require_GET
def show_booking(request: HttpRequest, pk: int) -> HttpResponse:
    return render_booking(request, booking_or_404(pk))


def render_booking(
    request: HttpRequest, row: Booking, *, next_visit: NextVisitForm | None = None
) -> HttpResponse:
    """The page of a booking; `next_visit` is a form that could not be taken."""
    notes = notes_page(row, None)
    arrival = FormsOfPage([ArrivalForm(initial=arrival_initial(row), auto_id="arrival_%s")])
    facts = booking_facts(row)
    now = timezone.now()
    today = business_today(request)
    scopes = booked_scopes([row], today=today)
    days = [(row, part.crew_day.day) for part in row.days.all()]
    context = {
        "booking": row,
        "weather": read_visits_weather(days, today=today, now=now, scopes=scopes),
        "work": [(each, scopes.get(each.deck.pk)) for each in booked_decks(row)],
        "map_url": map_url(row),
        "next_visit_form": next_visit or NextVisitForm(auto_id=NEXT_VISIT_IDS),
        "looks": looks_on_the_way(row, today),
        "defects": list(Defect.objects.open_on([deck.pk for deck in row.decks.all()])),
        "told": booking_messages.messages_about_booking(row).order_by("-id"),
        "is_untold": booking_messages.is_untold(row, now=now),
        "today": today,
        "hold_form": HoldForm(auto_id="hold_%s"),
        "call_off_form": CallOffForm(auto_id="call_off_%s"),
        "notes_form": notes.only_form,
        "arrival_form": arrival.only_form,
        "notes_opened": opened_context(notes, {})["opened"],
        "arrival_opened": opened_context(arrival, facts)["opened"],
        "hold_opened": opened_context(FormsOfPage([HoldForm()]), facts)["opened"],
        "call_off_opened": opened_context(FormsOfPage([CallOffForm()]), facts)["opened"],
    }
    return render(request, "jobs/diary/booking.html", context)


def looks_on_the_way(row: Booking, today: date) -> list[NearbyLook]:
    """Decks near by that the crew had better look at too, while the visit is still to come."""
    is_to_come = row.state in {Booking.State.BOOKED, Booking.State.HELD} and row.last_on >= today
    return nearby_looks(row.site, today=today) if is_to_come else []


def notes_page(row: Booking, data: QueryDict | None) -> FormsOfPage:
    return FormsOfPage([NotesForm(data, initial={"notes": row.notes})])


def booking_facts(row: Booking) -> dict[str, str]:
    """What its forms rest on and do not set; whoever changes it must have seen it."""
    days = display.format_weekday(row.first_on)
    if row.last_on != row.first_on:
        days = f"{days} to {display.format_weekday(row.last_on)}"
    return {"Day": days, "Crew": row.crew.name, "State": row.get_state_display()}


def booking_page(row: Booking) -> str:
    return reverse("diary:booking", args=[row.pk])


def arrival_initial(row: Booking) -> dict[str, Any]:
    return {"arrives_from": row.arrives_from, "arrives_to": row.arrives_to, "notify_client": True}


def bookings_with_all() -> QuerySet[Booking]:
    rows = Booking.objects.select_related("client", "site", "crew", "offer", "created_by")
    return rows.prefetch_related("decks", "days__crew_day", "client__contact_points")


def booking_or_404(pk: int) -> Booking:
    return get_object_or_404(bookings_with_all(), pk=pk)


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
            "jobs/choose_deck.html",
            {
                "title": "Book work",
                "action": reverse("diary:new"),
                "back": (reverse("diary:week"), "Diary"),
                "words": words,
                "decks": decks_matching(words) if words else [],
            },
        )
    form = booking_form(request, asked)
    if "again" not in request.POST and form.is_valid():
        answer = run_or_add_error(form, lambda: submit_booking(request, form, asked))
        if answer:
            return answer
    offer = f" · offer {asked.offer.reference}" if asked.offer else ""
    page = FormPage(
        "Book work",
        f"{asked.site.client.name} · {asked.site.address}{offer}",
        back=(reverse("diary:week"), "Diary"),
        before="jobs/_defects.html",
        fields="jobs/diary/_booking_fields.html",
        button="Book it",
        busy="Booking…",
        cancel=reverse("diary:week"),
        is_checked_by_browser=False,
    )
    defects = list(Defect.objects.open_on([deck.pk for deck in asked.decks]))
    return render_form_page(request, page, form=form, asked=asked, defects=defects)


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


def submit_booking(request: HttpRequest, form: BookingForm, asked: BookingRequest) -> HttpResponse:
    """Ask who is told, then book. Raises `BookingError`."""
    values = form.cleaned_data
    now = timezone.now()
    names = ("hours", "first_day", "crew", "notes", "on_any_day", "arrival")
    work = actions.NewBooking(
        site=asked.site,
        decks=list(values["decks"]),
        offer=asked.offer,
        **{name: values[name] for name in names},
    )

    def book(untold: frozenset[int] | None) -> list[Booking]:
        tells = untold is not None and NEW_BOX not in untold
        return [
            actions.book_work(work=work, by=current_user(request), now=now, notify_client=tells)
        ]

    change = DiaryChange(
        act=book,
        title=f"Book it and tell {asked.site.client}?",
        button="Book it",
        back=(reverse("diary:week"), "Diary"),
        notifies=values["notify_client"],
        is_new=True,
        can_change=True,
    )
    if page := ask_who_is_told(request, change):
        return page
    told = make_change(request, change, now)
    row = told[0].booking
    report_told(request, f"Booked: {display.format_weekday(row.first_on)}, {row.crew}.", told)
    return redirect("diary:booking", row.pk)


@office_required
@require_http_methods(["GET", "HEAD", "POST"])
def booking_move(request: HttpRequest, pk: int) -> HttpResponse:
    """Another day; `?day=` and `?crew=` come from dragging a booking over the week."""

    def save(row: Booking, page: FormsOfPage) -> HttpResponse | None:
        form = page.only_form
        return run_or_add_error(form, lambda: submit_booking_move(request, form, row))

    def show(row: Booking, page: FormsOfPage, opened: dict[str, str]) -> HttpResponse:
        return render_move_form(request, page.only_form, row, **opened)

    edit = RecordEdit(
        bookings_with_all(),
        lambda row, data: FormsOfPage([move_form(request, row, data)]),
        save,
        show,
        back=booking_page,
        facts=booking_facts,
        is_unchecked=lambda: "again" in request.POST,
    )
    return edit_record(request, pk, edit)


def render_move_form(
    request: HttpRequest, form: MoveForm, row: Booking, **opened: str
) -> HttpResponse:
    days = [display.format_weekday(day) for day in dict.fromkeys([row.first_on, row.last_on])]
    page = FormPage(
        "Move the booking",
        f"{row.site.address} · now {' to '.join(days)}, {row.crew.name}",
        back=(booking_page(row), row.client.name),
        fields="jobs/diary/_move_fields.html",
        button="Move the booking",
        busy="Moving…",
        cancel=f"{reverse('diary:week')}?week={row.first_on}",
        is_checked_by_browser=False,
    )
    return render_form_page(request, page, form=form, booking=row, **opened)


def move_form(request: HttpRequest, row: Booking, data: QueryDict | None) -> MoveForm:
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
    return MoveForm(data, suggested=suggested, initial=initial)


def submit_booking_move(request: HttpRequest, form: MoveForm, row: Booking) -> HttpResponse:
    """Ask who is told, then move it. Raises `BookingError`."""
    names = ("hours", "first_day", "crew", "why", "on_any_day", "arrival")
    move = actions.BookingMove(**{name: form.cleaned_data[name] for name in names})
    now = timezone.now()

    def move_it(untold: frozenset[int] | None) -> list[Booking]:
        return [
            actions.move_booking(
                booking=row,
                move=move,
                by=current_user(request),
                now=now,
                notify_client=untold is not None and row.pk not in untold,
            )
        ]

    change = DiaryChange(
        act=move_it,
        title=f"Move it and tell {row.client}?",
        button="Move it",
        back=(reverse("diary:booking", args=[row.pk]), row.client.name),
        notifies=form.cleaned_data["notify_client"],
        can_change=True,
    )
    if page := ask_who_is_told(request, change):
        return page
    told = make_change(request, change, now)
    moved = told[0].booking
    done = f"{moved.client}: {display.format_weekday(moved.first_on)}, {moved.crew}."
    if (moved.first_on, moved.arrival()) != (row.first_on, row.arrival()):
        report_told(request, done, told)
    else:
        messages.success(request, done)
    return redirect_to_week(moved.first_on)


def run_or_add_error(form: forms.Form, action: Callable[[], HttpResponse]) -> HttpResponse | None:
    """What the action refuses stands beside the field it is about."""
    try:
        return action()
    except BookingError as error:
        form.add_error(error.field if error.field in form.fields else None, str(error))
        return None


@require_POST
def booking_notes(request: HttpRequest, pk: int) -> HttpResponse:
    """Everybody may add to them: the crew hears things on site."""

    def save(row: Booking, page: FormsOfPage) -> HttpResponse:
        notes = page.only_form.cleaned_data["notes"]
        actions.change_booking_notes(booking=row, notes=notes)
        messages.success(request, "The notes were saved.")
        return redirect("diary:booking", pk)

    def show(row: Booking, page: FormsOfPage, opened: dict[str, str]) -> HttpResponse:
        messages.error(request, form_error_text(page.only_form))
        return redirect("diary:booking", pk)

    edit = RecordEdit(bookings_with_all(), notes_page, save, show, back=booking_page)
    return edit_record(request, pk, edit)


@dataclass(frozen=True)
class BookingButton:
    """A button of a booking's page: its form, what it does, and the words before and after."""

    form: type[forms.Form]
    action: Callable[..., Booking]
    question: str
    label: str
    done: str


BOOKING_BUTTONS = {
    "arrival": BookingButton(
        ArrivalForm,
        actions.change_booking_arrival,
        "Save the time and tell {client}?",
        "Save the time",
        "The time of arrival was saved.",
    ),
    "hold": BookingButton(
        HoldForm,
        actions.hold_booking,
        "Hold it for the weather and tell {client}?",
        "Hold it",
        "Held for the weather.",
    ),
    "release": BookingButton(
        forms.Form,
        actions.release_booking,
        "Let it stand and tell {client}?",
        "Let it stand",
        "Released: the visit goes ahead.",
    ),
    "call_off": BookingButton(
        CallOffForm,
        actions.cancel_booking,
        "Cancel the booking and tell {client}?",
        "Cancel the booking",
        "Cancelled. The hours are free again.",
    ),
}


@office_required
@require_POST
def press_booking_button(request: HttpRequest, pk: int, button: str) -> HttpResponse:
    """One action, after a look at who is told; then its page again."""
    pressed = BOOKING_BUTTONS[button]

    def build(row: Booking, data: QueryDict | None) -> FormsOfPage:
        return FormsOfPage([pressed.form(data, initial=arrival_initial(row))])

    def save(row: Booking, page: FormsOfPage) -> HttpResponse:
        try:
            return run_booking_button(request, row, pressed, page.only_form.cleaned_data)
        except BookingError as error:
            messages.error(request, str(error))
            return redirect("diary:booking", pk)

    def show(row: Booking, page: FormsOfPage, opened: dict[str, str]) -> HttpResponse:
        messages.error(request, form_error_text(page.only_form))
        return redirect("diary:booking", pk)

    edit = RecordEdit(
        bookings_with_all(), build, save, show, back=booking_page, facts=booking_facts
    )
    return edit_record(request, pk, edit)


def run_booking_button(
    request: HttpRequest, row: Booking, pressed: BookingButton, values: dict[str, Any]
) -> HttpResponse:
    now = timezone.now()
    notifies = values.pop("notify_client", True)

    def act(untold: frozenset[int] | None) -> list[Booking]:
        tells = untold is not None and row.pk not in untold
        return [
            pressed.action(
                booking=row, by=current_user(request), now=now, notify_client=tells, **values
            )
        ]

    change = DiaryChange(
        act=act,
        title=pressed.question.format(client=row.client),
        button=pressed.label,
        back=(reverse("diary:booking", args=[row.pk]), row.client.name),
        notifies=notifies,
    )
    if page := ask_who_is_told(request, change):
        return page
    report_told(request, pressed.done, make_change(request, change, now))
    return redirect("diary:booking", row.pk)


@office_required
@require_POST
def tell_client(request: HttpRequest, pk: int) -> HttpResponse:
    """The action `diary:tell`: tell the client how the booking is now."""
    row = booking_or_404(pk)
    now = timezone.now()
    change = DiaryChange(
        act=lambda untold: [
            actions.tell_client_of_booking(booking=row, by=current_user(request), now=now)
        ],
        title=f"Tell {row.client}?",
        button=f"Tell {row.client}",
        back=(reverse("diary:booking", args=[row.pk]), row.client.name),
        notifies=True,
    )
    try:
        if page := ask_who_is_told(request, change):
            return page
        if unticked_boxes(request):
            return redirect("diary:booking", pk)
        report_told(request, "", make_change(request, change, now))
    except BookingError as error:
        messages.error(request, str(error))
    return redirect_back(request, "diary:booking", pk)


def form_error_text(form: forms.Form) -> str:
    return " ".join(str(error) for errors in form.errors.values() for error in errors)


@require_GET
def booking_calendar_file(request: HttpRequest, pk: int) -> HttpResponse:
    """The booking as a file, for whoever asks for it on the telephone."""
    content = icalendar_files.client_calendar_file(
        booking_or_404(pk), business_of(request), now=timezone.now()
    )
    return attachment_response(content, "text/calendar; charset=utf-8", "visit.ics")
