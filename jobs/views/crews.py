"""Crews, their days off, and the links to their calendars."""

from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from clients.actions.saving import NameTakenError
from clients.pages import (
    FormPage,
    business_today,
    office_required,
    owner_required,
    render_form_page,
)
from clients.views.editing import FormsOfPage, RecordEdit, edit_record
from jobs.actions import crews as actions
from jobs.actions.crew_days import BookingError
from jobs.forms.crews import CrewForm, DayOffForm
from jobs.models import Crew, DayOff

FEED_LINK_KEY = "crew_feed_link"


@office_required
@require_GET
def list_crews(request: HttpRequest) -> HttpResponse:
    return render_crews(request, DayOffForm())


def render_crews(request: HttpRequest, form: DayOffForm) -> HttpResponse:
    """A link that was just made is shown once: only its hash is kept."""
    today = business_today(request)
    context = {
        "crews": Crew.objects.order_by("-is_active", "position", "id"),
        "form": form,
        "days_off": DayOff.objects.filter(last_on__gte=today).select_related("crew"),
        "link": request.session.pop(FEED_LINK_KEY, None),
    }
    return render(request, "jobs/diary/crews.html", context)


@owner_required
@require_http_methods(["GET", "HEAD", "POST"])
def new_crew(request: HttpRequest) -> HttpResponse:
    form = CrewForm(request.POST or None, instance=Crew(position=Crew.objects.count() + 1))
    if form.is_valid():
        answer = save_crew_form(request, form, lambda values: actions.add_crew(values=values))
        if answer:
            return answer
    return render_crew_form(request, form, "New crew")


def save_crew_form(
    request: HttpRequest, form: CrewForm, save: Callable[[dict[str, Any]], Crew]
) -> HttpResponse | None:
    """Save a valid form and go to the list; what the action refuses stands beside its field."""
    try:
        kept = save(form.cleaned_data)
    except (BookingError, NameTakenError) as error:
        form.add_error(error.field, str(error))
        return None
    messages.success(request, f"{kept} was saved.")
    return redirect("diary:crews")


@owner_required
@require_http_methods(["GET", "HEAD", "POST"])
def edit_crew(request: HttpRequest, pk: int) -> HttpResponse:
    def build(crew: Crew, data: QueryDict | None) -> FormsOfPage:
        return FormsOfPage([CrewForm(data, instance=crew)])

    def save(crew: Crew, page: FormsOfPage) -> HttpResponse | None:
        now = timezone.now()
        return save_crew_form(
            request,
            page.only_form,
            lambda values: actions.change_crew(crew=crew, values=values, now=now),
        )

    def show(crew: Crew, page: FormsOfPage, opened: dict[str, str]) -> HttpResponse:
        return render_crew_form(request, page.only_form, crew.name, **opened)

    rows = Crew.objects.all()
    edit = RecordEdit(rows, build, save, show, back=lambda crew: reverse("diary:crews"))
    return edit_record(request, pk, edit)


def render_crew_form(
    request: HttpRequest, form: CrewForm, title: str, **context: Any
) -> HttpResponse:
    crews = reverse("diary:crews")
    page = FormPage(
        title,
        back=(crews, "Crews and days off"),
        cancel=crews,
        is_checked_by_browser=False,
    )
    return render_form_page(request, page, form=form, **context)


@owner_required
@require_POST
def crew_feed(request: HttpRequest, pk: int) -> HttpResponse:
    """A new calendar link, or (with `close`) none."""
    crew = get_object_or_404(Crew, pk=pk)
    if "close" in request.POST:
        actions.close_crew_feed(crew=crew)
        messages.success(request, f"The calendar link of {crew} leads nowhere from now on.")
    else:
        token = actions.open_crew_feed(crew=crew)
        url = settings.BASE_URL + reverse("crew_calendar", args=[token])
        request.session[FEED_LINK_KEY] = {"crew": crew.name, "url": url}
    return redirect("diary:crews")


@office_required
@require_POST
def day_off_add(request: HttpRequest) -> HttpResponse:
    form = DayOffForm(request.POST)
    if not form.is_valid():
        return render_crews(request, form)
    there = actions.add_day_off(off=form.instance)
    if there:
        bookings = "1 booking lies" if there == 1 else f"{there} days of work lie"
        messages.warning(request, f"Saved. {bookings} on it: the diary lists what to move.")
    else:
        messages.success(request, "Saved.")
    return redirect("diary:crews")


@office_required
@require_POST
def day_off_remove(request: HttpRequest, pk: int) -> HttpResponse:
    """Gone already is as good."""
    if off := DayOff.objects.filter(pk=pk).first():
        actions.remove_day_off(off=off)
        messages.success(request, "The days off were removed.")
    return redirect("diary:crews")
