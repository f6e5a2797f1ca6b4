"""What could not be finished, and the next visit, in one press of whoever stands there."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from clients import display
from clients.pages import current_user
from jobs.actions.crew_days import BookingError
from jobs.actions.next_visit import Unfinished, book_next_visit
from jobs.forms.bookings import NextVisitForm
from jobs.models import Booking
from jobs.views.bookings import (
    NEXT_VISIT_IDS,
    booking_or_404,
    form_error_text,
    render_booking,
)
from jobs.views.telling import DiaryChange, ask_who_is_told, make_change, report_told


@require_POST
def next_visit(request: HttpRequest, pk: int) -> HttpResponse:
    """The action `diary:next_visit`, for everybody; asks first who is told."""
    row = booking_or_404(pk)
    form = NextVisitForm(request.POST, auto_id=NEXT_VISIT_IDS)
    if not form.is_valid():
        messages.error(request, form_error_text(form))
        return render_booking(request, row, next_visit=form)
    try:
        return take_to_next_day(request, row, form)
    except BookingError as error:
        messages.error(request, str(error))
        return render_booking(request, row, next_visit=form)


def take_to_next_day(request: HttpRequest, row: Booking, form: NextVisitForm) -> HttpResponse:
    now = timezone.now()
    values = form.cleaned_data

    def act(untold: frozenset[int] | None) -> list[Booking]:
        return [
            book_next_visit(
                booking=row,
                unfinished=Unfinished(values["left"], values["hours_left"]),
                by=current_user(request),
                now=now,
                notify_client=untold is not None and not untold,
            )
        ]

    change = DiaryChange(
        act=act,
        title=f"Come again, and tell {row.client}?",
        button="Book the next visit",
        back=(reverse("diary:booking", args=[row.pk]), row.client.name),
        notifies=values["notify_client"],
        is_new=True,
    )
    if page := ask_who_is_told(request, change):
        return page
    told = make_change(request, change, now)
    again = told[0].booking
    done = f"Next visit: {display.format_weekday(again.first_on)}, {again.crew}."
    if values["notify_client"]:
        report_told(request, done, told)
    else:
        messages.success(request, done)
    return redirect("diary:booking", again.pk)
