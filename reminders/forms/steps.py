"""The form of the sequence and its rules:
a row a step, channels in the order in which they are tried."""

from collections.abc import Sequence
from typing import Any

from django import forms
from django.forms import BaseFormSet, formset_factory

from clients.messaging.models import MessageText, SendingRules
from clients.models import Channel
from reminders.models import ReminderStep

PURPOSES = [
    (each.value, each.label) for each in MessageText.Purpose if each in {"first", "second", "last"}
]
OPTIONAL_CHANNELS = [("", "—"), *Channel.choices]
CHANNEL_FIELDS = ["channel", "else_1", "else_2", "else_3"]
MAX_STEPS = 5
MOST_TAKE_BACK_MINUTES = 1440


class StepForm(forms.Form):
    """One reminder of the sequence."""

    purpose = forms.ChoiceField(label="Text", choices=PURPOSES)
    offset_days = forms.IntegerField(
        label="Days", min_value=-730, max_value=730, initial=0, help_text="A minus is before."
    )
    anchor = forms.ChoiceField(label="Counted from", choices=ReminderStep.Anchor.choices)
    channel = forms.ChoiceField(label="By", choices=OPTIONAL_CHANNELS)
    else_1 = forms.ChoiceField(label="If not possible", choices=OPTIONAL_CHANNELS, required=False)
    else_2 = forms.ChoiceField(label="If not that", choices=OPTIONAL_CHANNELS, required=False)
    else_3 = forms.ChoiceField(
        label="If not that either", choices=OPTIONAL_CHANNELS, required=False
    )
    is_on = forms.BooleanField(label="In use", required=False, initial=True)
    goes_by_itself = forms.BooleanField(
        label="Send it by itself when its day comes", required=False
    )

    @classmethod
    def initial_of(cls, step: ReminderStep) -> dict[str, Any]:
        """What the row of a step shows."""
        names = ["purpose", "offset_days", "anchor", "is_on", "goes_by_itself"]
        tries = dict(zip(CHANNEL_FIELDS, step.channels, strict=False))
        return {name: getattr(step, name) for name in names} | tries

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        chosen = [values.get(name) for name in CHANNEL_FIELDS if values.get(name)]
        if len(chosen) != len(set(chosen)):
            self.add_error("channel", "Choose each way once.")
        values["channels"] = chosen
        return values

    @property
    def step(self) -> dict[str, Any]:
        """The values of the model's fields, but for the number."""
        return {
            name: value
            for name, value in self.cleaned_data.items()
            if name not in {*CHANNEL_FIELDS, "DELETE"}
        }


class BaseStepFormSet(BaseFormSet):
    """The sequence; a row stands where its word comes, and an empty one below takes a further
    step."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.extra = 1 if len(kwargs.get("initial") or ()) < MAX_STEPS else 0

    def add_fields(self, form: forms.Form, index: int | None) -> None:
        super().add_fields(form, index)
        if "DELETE" in form.fields:
            form.fields["DELETE"].label = "Remove"

    def clean(self) -> None:
        if not any(form.cleaned_data for form in self.kept_forms()):
            raise forms.ValidationError(
                "Keep at least one step; to send none, take the tick from “In use”."
            )

    def kept_forms(self) -> list[StepForm]:
        return [
            form
            for form in self.forms
            if form.is_valid() and form.cleaned_data and form not in self.deleted_forms
        ]

    @property
    def steps(self) -> list[dict[str, Any]]:
        return [form.step for form in self.kept_forms()]


# It is made from the base.
StepFormSet: type[BaseStepFormSet] = formset_factory(  # type: ignore[assignment]
    StepForm,
    formset=BaseStepFormSet,
    extra=0,
    can_delete=True,
    max_num=MAX_STEPS,
    validate_max=True,
)


def step_form_rows(steps: Sequence[ReminderStep]) -> list[dict[str, Any]]:
    return [StepForm.initial_of(step) for step in steps]


class RulesForm(forms.ModelForm):
    """When a telephone may ring, and how often clients are written to."""

    class Meta:
        model = SendingRules
        fields = [
            "quiet_from",
            "quiet_until",
            "on_sundays",
            "on_holidays",
            "most_messages",
            "most_days",
            "days_between",
            "take_back_minutes",
            "unconfirmed_hours",
        ]
        labels = {
            "quiet_from": "No text messages or calls from",
            "quiet_until": "Until",
            "unconfirmed_hours": "Hours before trying another way",
            "take_back_minutes": "Minutes to take back what was sent",
            "days_between": "Days between two messages",
            "on_sundays": "Text messages and calls on Sundays too",
            "on_holidays": "Text messages and calls on public holidays too",
        }
        widgets = {
            name: forms.TimeInput(attrs={"type": "time"}, format="%H:%M")
            for name in ("quiet_from", "quiet_until")
        }

    def clean_most_messages(self) -> int:
        return at_least_one(self.cleaned_data["most_messages"])

    def clean_most_days(self) -> int:
        return at_least_one(self.cleaned_data["most_days"])

    def clean_take_back_minutes(self) -> int:
        minutes: int = self.cleaned_data["take_back_minutes"]
        if minutes > MOST_TAKE_BACK_MINUTES:
            raise forms.ValidationError("Write at most 1440 minutes, which is a day.")
        return minutes


def at_least_one(value: int) -> int:
    if value < 1:
        raise forms.ValidationError("Write at least 1.")
    return value


class StopForm(forms.Form):
    """No reminders about the coat now on a deck."""

    words = forms.CharField(label="Why", max_length=300, required=False)
    until = forms.DateField(
        label="Until",
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        help_text="Empty means for good, until there is a new coat.",
    )
