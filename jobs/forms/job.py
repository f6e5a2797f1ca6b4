"""The form of a job, and the bundle of forms that the page “Log a job” sends."""

import uuid
from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from clients.forms.fields import MeasureField
from clients.models import Business, User
from jobs.actions.jobs import EARLIEST_JOB_DAY
from jobs.forms.fields import DayField, PhotosField
from jobs.forms.findings import FindingsForm
from jobs.models import Job, Photo

JOB_FIELDS = ["kind", "finished_on", "crew", "air_c", "humidity_percent", "sky", "notes", "amount"]


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
    crew = forms.CharField(label="Who did it", required=False, max_length=120)
    humidity_percent = forms.IntegerField(
        label="Humidity, %",
        required=False,
        min_value=0,
        max_value=100,
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
        error_messages={
            "min_value": "Humidity goes from 0 to 100 %%.",
            "max_value": "Humidity goes from 0 to 100 %%.",
        },
    )
    sky = forms.ChoiceField(
        label="Sky", required=False, choices=[("", "Choose…"), *Job.Sky.choices]
    )
    amount = forms.DecimalField(
        label="Price charged",
        required=False,
        min_value=0,
        max_digits=10,
        decimal_places=2,
        widget=forms.NumberInput(attrs={"step": "any", "inputmode": "decimal"}),
    )
    notes = forms.CharField(
        label="Notes", required=False, max_length=20_000, widget=forms.Textarea(attrs={"rows": 3})
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
        self, *args: Any, business: Business, user: User, today: date, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.today = today
        self.fields["finished_on"].widget.attrs["max"] = today.isoformat()
        self.fields["air_c"] = MeasureField(
            quantity="temperature",
            units=business.units,
            places=1,
            label="Air",
            required=False,
            min_value=Decimal(-60),
            max_value=Decimal(60),
            error_messages={
                "min_value": "No deck is that cold.",
                "max_value": "No air is that hot.",
            },
        )
        if not user.may_see_money:
            del self.fields["amount"]
        else:
            self.fields["amount"].label = f"Price charged, {business.currency}"

    def clean_finished_on(self) -> date:
        on: date = self.cleaned_data["finished_on"]
        if on > self.today:
            raise ValidationError(
                "This day is in the future. Write the day on which the work was finished."
            )
        if on < EARLIEST_JOB_DAY:
            raise ValidationError("Write a day from 1950 on.")
        return on

    def details(self) -> dict[str, Any]:
        """The fields of Job; the price only from those who may see it."""
        return {name: self.cleaned_data[name] for name in JOB_FIELDS if name in self.cleaned_data}


class JobRemovalForm(forms.Form):
    """Why a job is taken out of the book."""

    reason = forms.CharField(label="Why is it removed?", max_length=300)


def posted_values(form: forms.Form, data: Mapping[str, Any]) -> dict[str, Any]:
    """What was typed into a form, unchecked, to show it again without complaints."""
    return {name: data[name] for name in form.fields if name in data}


def job_initial_values(job: Job) -> dict[str, Any]:
    """A job and its visit as they are edited."""
    values = {name: getattr(job, name) for name in JOB_FIELDS}
    if job.visit:
        values |= {name: getattr(job.visit, name) for name in FindingsForm.base_fields}
    return values
