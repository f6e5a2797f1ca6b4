"""The page “Log a job” as one thing: the job, its products and, if need be, a new client and
deck."""

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any

from django import forms
from django.http import HttpRequest

from clients.models import Deck, Property, User, is_primary_key
from clients.pages import business_of, current_user
from jobs import photos
from jobs.actions.jobs import JobInput
from jobs.diary import booked_work
from jobs.forms import coats
from jobs.forms.formsets import PageForms
from jobs.forms.job import JobForm, job_initial_values, posted_values
from jobs.forms.new_deck import NewDeckForm
from jobs.forms.worked_hours import WorkedHoursForm, people_at_work
from jobs.models import Booking, Job
from jobs.work import CoatBuild, coat_build


@dataclass
class LogForms(PageForms):
    """What the page shows and sends; `deck` is None while a new client and deck are typed."""

    deck: Deck | None
    job: JobForm
    rows: coats.BaseCoatFormSet
    hours: WorkedHoursForm
    new: NewDeckForm | None = None
    last_job: Job | None = None
    booking: Booking | None = None
    build: CoatBuild = field(default_factory=lambda: CoatBuild(0))
    twin: Job | None = None  # a job of that deck, kind and day that the book has
    moved: Booking | None = None  # that the page was opened for, and lies on later days by now

    @property
    def shelf(self) -> coats.ProductChoices:
        shelf: coats.ProductChoices = self.rows.form_kwargs["shelf"]
        return shelf

    @property
    def form_key(self) -> uuid.UUID | None:
        try:
            return uuid.UUID(str(self.job["form_key"].value()))
        except ValueError:
            return None

    def work_done(self) -> JobInput:
        """What the page says of the job, once it is valid."""
        hours = self.hours.hours()
        return JobInput(self.job.details(), self.rows.coats(), self.job.findings(), hours)

    @property
    def photos_kept(self) -> int:
        return len(photos.staged_photo_names(self.form_key)) if self.form_key else 0

    @property
    def single_forms(self) -> Sequence[forms.BaseForm]:
        return [*([self.new] if self.new else []), self.job, self.hours]

    @property
    def formsets(self) -> list[coats.BaseCoatFormSet]:
        return [self.rows]


def job_form(
    request: HttpRequest, deck: Deck | None, today: date, *args: Any, **kwargs: Any
) -> JobForm:
    business = business_of(request)
    user = request.user
    assert isinstance(user, User)  # noqa: S101 - sign-in is the default
    return JobForm(
        *args, business=business, user=user, today=today, is_south=is_south(deck), **kwargs
    )


def hours_form(
    request: HttpRequest,
    *,
    booking: Booking | None = None,
    deck: Deck | None = None,
    job: Job | None = None,
    is_sent: bool = False,
) -> WorkedHoursForm:
    """Whose hours are asked for, and those that the job has."""
    data = request.POST if is_sent else None
    by = current_user(request)
    people = people_at_work(by, booking=booking, job=job, data=request.POST)
    planned = booked_work.planned_hours(booking, deck) if booking and deck else None
    known = {str(row.person_id): row.hours for row in job.hours_worked.all()} if job else {}
    return WorkedHoursForm(data, people=people, planned=planned, initial=known)


def is_south(deck: Deck | None) -> bool:
    """Whether its seasons are those of the south; a new deck lies where the newest property is."""
    home = deck.site if deck else Property.objects.order_by("-pk").first()
    return home is not None and home.is_south


def new_log_forms(
    request: HttpRequest, deck: Deck | None, today: date, booking: Booking | None = None
) -> LogForms:
    """The page as it opens: today, the same people as before, the products of the deck's last job.

    From a booking: its crew and day, and what its offer says about the deck.
    """
    business = business_of(request)
    last = Job.objects.last_with_coats(deck) if deck else None
    build = coat_build(deck) if deck else CoatBuild(0)
    kind = Job.Kind.RECOAT if last and not build.needs_strip else Job.Kind.STRIP
    initial = {
        "form_key": uuid.uuid4(),
        "kind": kind,
        "finished_on": today,
        "crew": usual_crew(request),
    }
    applied = last.coats_applied.all() if last else []
    rows = coats.repeated_coat_rows(applied)
    if booking and (work := booked_work.booked_deck(booking, deck)):
        initial |= booked_work.job_form_initial(booking, work, today=today)
        rows = booked_work.coat_form_initial(work) or rows
    return LogForms(
        deck,
        job_form(request, deck, today, initial=initial),
        coats.unbound_coat_formset(rows, row_choices(request, deck, booking=booking)),
        hours_form(request, booking=booking, deck=deck),
        None if deck else NewDeckForm(business=business, prefix="new"),
        None if booking else last,
        booking,
        build,
    )


def row_choices(
    request: HttpRequest,
    deck: Deck | None,
    job: Job | None = None,
    *,
    booking: Booking | None = None,
) -> coats.RowChoices:
    return coats.RowChoices.load(
        deck,
        business_of(request).units,
        job=job,
        person=current_user(request),
        planned=litres_planned(deck, job, booking),
    )


def litres_planned(
    deck: Deck | None, job: Job | None, booking: Booking | None
) -> dict[int, Decimal]:
    """By the number of a product, of a job that is corrected or a booking that is logged."""
    if job:
        return booked_work.litres_planned_for_job(job)
    return booked_work.planned_litres(booking, deck) if booking and deck else {}


def usual_crew(request: HttpRequest) -> str:
    """Who did the work the last time this person logged a job."""
    last = Job.objects.filter(recorded_by=request.user.pk).exclude(crew="").order_by("-id").first()
    return last.crew if last else current_user(request).get_full_name()


def bound_log_forms(
    request: HttpRequest, deck: Deck | None, today: date, job: Job | None = None
) -> LogForms:
    """The page as it was sent, to be checked; of a `job` that is corrected."""
    business = business_of(request)
    new = NewDeckForm(request.POST, business=business, prefix="new") if not deck else None
    booking = booking_of_deck(request.POST, deck)
    choices = row_choices(request, deck, job, booking=booking)
    rows = coats.bound_coat_formset(request.POST, choices)
    build = coat_build(deck) if deck else CoatBuild(0)
    form = job_form(request, deck, today, request.POST, request.FILES)
    hours = hours_form(request, booking=booking, deck=deck, is_sent=True)
    return LogForms(deck, form, rows, hours, new, booking=booking, build=build)


def log_forms_with_row(
    request: HttpRequest, deck: Deck | None, today: date, corrected: Job | None = None
) -> LogForms:
    """The page as it was sent, unchecked, with one more row for a product (none with the value 0:
    only a new list)."""
    business = business_of(request)
    data = request.POST
    job = job_form(request, deck, today)
    job.initial = posted_values(job, data)
    new = None
    if not deck:
        new = NewDeckForm(business=business, prefix="new")
        new.initial = posted_values(new, data)
    another: list[dict[str, Any]] = [{}] if data["add_product"] != "0" else []
    booking = booking_of_deck(data, deck)
    choices = row_choices(request, deck, corrected, booking=booking)
    rows = coats.unbound_coat_formset([*coats.posted_coat_rows(data), *another], choices)
    build = coat_build(deck) if deck else CoatBuild(0)
    hours = hours_form(request, booking=booking, deck=deck)
    hours.initial = posted_values(hours, data)
    return LogForms(deck, job, rows, hours, new, booking=booking, build=build)


def booking_of_deck(data: Mapping[str, Any], deck: Deck | None) -> Booking | None:
    """The booking that a page names, if that deck is in it and it was not called off."""
    number = str(data.get("booking", ""))
    if deck is None or not is_primary_key(number):
        return None
    rows = Booking.objects.exclude(state=Booking.State.CANCELLED).filter(pk=number, decks=deck)
    return rows.select_related("crew", "offer").first()


def log_forms_of_job(request: HttpRequest, job: Job, today: date) -> LogForms:
    """A job opened for correction."""
    form = job_form(request, job.deck, today, initial=job_initial_values(job))
    choices = row_choices(request, job.deck, job)
    rows = coats.unbound_coat_formset(coats.job_coat_rows(job), choices)
    return LogForms(job.deck, form, rows, hours_form(request, job=job))


def add_action_error(form: forms.Form, field: str, message: str) -> None:
    """Put an action's refusal beside the field it is about."""
    form.add_error(field if field in form.fields else None, message)
