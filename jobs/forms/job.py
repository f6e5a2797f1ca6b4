"""The form of a job, and the bundle of forms that the page “Log a job” sends."""

import uuid
from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from clients import display
from clients.forms.fields import LongText, MeasureField, TypedNumberField
from clients.models import Business, User
from clients.notation import QUANTITIES
from jobs.forms.fields import DayField, PhotosField
from jobs.forms.findings import FindingsForm
from jobs.models import Job, Photo
from jobs.partial_dates import (
    AUTUMN,
    EARLIEST_JOB_DAY,
    SPRING,
    SUMMER,
    WINTER,
    DaySpan,
    EdtfError,
    Precision,
    parse_edtf,
)

JOB_FIELDS = [
    "kind",
    "finished_from",
    "finished_on",
    "crew",
    "air_c",
    "humidity_percent",
    "sky",
    "notes",
    "amount",
]
SEASON_LABELS = {SPRING: "Spring", SUMMER: "Summer", AUTUMN: "Autumn", WINTER: "Winter"}


class JobForm(FindingsForm):
    """Everything about a job but its products."""

    form_key = forms.UUIDField(label="Form", widget=forms.HiddenInput, initial=uuid.uuid4)
    kind = forms.ChoiceField(
        label="What was done",
        choices=Job.Kind.choices,
        widget=forms.RadioSelect(attrs={"class": "segments"}),
        error_messages={"required": "Choose what was done."},
    )
    finished_on = DayField(label="Finished on")
    known_year = forms.IntegerField(
        label="Year",
        required=False,
        min_value=EARLIEST_JOB_DAY.year,
        max_value=2200,
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
        error_messages=dict.fromkeys(
            ("min_value", "max_value", "invalid"), "Write a year with four digits, from 1950 on."
        ),
    )
    known_part = forms.ChoiceField(
        label="Month or season",
        required=False,
        help_text="A season over New Year counts to the year in which it begins.",
    )
    kept_span = forms.CharField(required=False, widget=forms.HiddenInput, max_length=40)
    crew = forms.CharField(label="Done by", required=False, max_length=120)
    humidity_percent = forms.IntegerField(
        label="Humidity, %",
        required=False,
        min_value=0,
        max_value=100,
        widget=forms.NumberInput(attrs={"inputmode": "numeric", "data-told-as": "% humidity"}),
        error_messages={
            "min_value": "Humidity goes from 0 to 100 %%.",
            "max_value": "Humidity goes from 0 to 100 %%.",
        },
    )
    sky = forms.ChoiceField(
        label="Weather", required=False, choices=[("", "Choose…"), *Job.Sky.choices]
    )
    amount = TypedNumberField(
        label="Price charged",
        required=False,
        min_value=0,
        max_digits=10,
        decimal_places=2,
    )
    notes = forms.CharField(
        label="Notes",
        required=False,
        max_length=20_000,
        widget=LongText({"rows": 2, "class": "grows"}),
    )
    photos = PhotosField(label="Photos", required=False)
    moment = forms.ChoiceField(
        label="They show the deck",
        choices=Photo.Moment.choices,
        initial=Photo.Moment.FINISHED,
        required=False,
        widget=forms.RadioSelect(attrs={"class": "segments"}),
    )

    def __init__(
        self,
        *args: Any,
        business: Business,
        user: User,
        today: date,
        is_south: bool = False,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.today = today
        self.is_south = is_south
        self.fields["finished_on"].required = not self.data.get("known_year")
        parts = self.fields["known_part"]
        parts.choices = part_of_year_choices()  # type: ignore[attr-defined]
        self.fields["finished_on"].widget.attrs["max"] = today.isoformat()
        self.fields["air_c"] = MeasureField(
            quantity="temperature",
            units=business.units,
            places=1,
            label="Air temperature",
            required=False,
            min_value=Decimal(-60),
            max_value=Decimal(60),
            error_messages={
                "min_value": "No deck is that cold.",
                "max_value": "No air is that hot.",
            },
        )
        degrees = QUANTITIES["temperature"].symbol(business.units)
        self.fields["air_c"].widget.attrs["data-told-as"] = degrees
        if not user.may_see_money:
            del self.fields["amount"]
        else:
            self.fields["amount"].label = f"Price charged, {business.currency}"

    def clean_finished_on(self) -> date | None:
        on: date | None = self.cleaned_data["finished_on"]
        if on and on > self.today:
            raise ValidationError(
                "This day is in the future. Write the day on which the work was finished."
            )
        if on and on < EARLIEST_JOB_DAY:
            raise ValidationError("Write a day from 1950 on.")
        return on

    def clean(self) -> dict[str, Any]:
        """The day, or the days that are possible where only month, season or year are known: a year
        that is written goes before the day."""
        values = super().clean()
        if self.errors.keys() & {"finished_on", "known_year", "known_part"}:
            return values
        try:
            span = self.known_span(values)
        except ValidationError as error:
            self.add_error("known_year", error)
            return values
        if span:
            values |= {"finished_from": span.from_day, "finished_on": span.last}
        else:
            values["finished_from"] = None
        return values

    def known_span(self, values: dict[str, Any]) -> DaySpan | None:
        """The month, season or year that was written; None if none was."""
        year, part = values["known_year"], values["known_part"]
        if not year:
            if part:
                raise ValidationError("Write the year too.")
            return self.unchanged_span(values)
        text = f"{year}-{part}" if part else str(year)
        span = parse_edtf(text, is_south=self.is_south)
        if span.first > self.today:
            raise ValidationError("This is in the future. Write when the work was finished.")
        return span.until(self.today)

    def unchanged_span(self, values: dict[str, Any]) -> DaySpan | None:
        """Days that are neither month, season nor year and that nobody has touched."""
        try:
            span = parse_edtf(values["kept_span"], is_south=self.is_south)
        except EdtfError:
            return None
        return span if span.last == values["finished_on"] else None

    @property
    def is_day_unknown(self) -> bool:
        """Whether month, season or year are written, or were written wrongly."""
        names = ("known_year", "known_part")
        return any(self[name].value() or self[name].errors for name in names)

    @property
    def is_weather_wrong(self) -> bool:
        return any(self[name].errors for name in ("air_c", "humidity_percent", "sky"))

    def details(self) -> dict[str, Any]:
        """The fields of Job; the price only from those who may see it."""
        return {name: self.cleaned_data[name] for name in JOB_FIELDS if name in self.cleaned_data}


class JobRemovalForm(forms.Form):
    """Why a job is taken out of the book."""

    reason = forms.CharField(label="Why is it removed?", max_length=300)


def part_of_year_choices() -> list[Any]:
    """By the second half of a date as ISO 8601-2 writes it: 01 to 12 and 21 to 24."""
    months = [
        (f"{month:02d}", display.format_month_name(date(2000, month, 1))) for month in range(1, 13)
    ]
    seasons = [(str(code), label) for code, label in SEASON_LABELS.items()]
    return [("", "Only the year is known"), ("Season", seasons), ("Month", months)]


def known_day_values(job: Job) -> dict[str, Any]:
    """What is known of the day as the form asks for it; a span that is none of these shows its last
    day."""
    if job.span.precision == Precision.SPAN:
        return {"kept_span": job.edtf}
    if job.span.precision == Precision.DAY:
        return {}
    year, _, part = job.edtf.partition("-")
    return {"finished_on": None, "known_year": year, "known_part": part}


def posted_values(form: forms.Form, data: Mapping[str, Any]) -> dict[str, Any]:
    """What was typed into a form, unchecked, to show it again without complaints."""
    sent = {name: form.add_prefix(name) for name in form.fields}
    return {name: data[posted] for name, posted in sent.items() if posted in data}


def job_initial_values(job: Job) -> dict[str, Any]:
    """A job and its visit as they are edited."""
    values = {name: getattr(job, name) for name in JOB_FIELDS} | known_day_values(job)
    if job.visit:
        values |= {name: getattr(job.visit, name) for name in FindingsForm.base_fields}
    return values
