"""Forms of crews and days off."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from clients.forms.fields import NamedByAction
from clients.models import User
from jobs.forms.fields import DayField
from jobs.models import Crew, DayOff

WEEKDAYS = [(1, "Mon"), (2, "Tue"), (3, "Wed"), (4, "Thu"), (5, "Fri"), (6, "Sat"), (7, "Sun")]


class CrewForm(NamedByAction, forms.ModelForm):
    """Who goes out together, when, and for how long."""

    works_on = forms.TypedMultipleChoiceField(
        label="Goes out on",
        coerce=int,
        choices=WEEKDAYS,
        widget=forms.CheckboxSelectMultiple(attrs={"class": "segments"}),
        error_messages={"required": "Tick at least one day of the week."},
    )

    class Meta:
        model = Crew
        fields = ["name", "hours_a_day", "works_on", "people", "position", "is_active"]
        widgets = {"people": forms.CheckboxSelectMultiple}
        labels = {"hours_a_day": "Hours a day", "position": "Place in the diary"}
        help_texts = {
            "hours_a_day": "Of all its people together: two people for eight hours are 16.",
            "people": "They see this crew's day first.",
            "position": "Crews stand in this order.",
            "is_active": "A crew that is not working keeps its history.",
        }
        error_messages = {"hours_a_day": {"max_digits": "At most 999 hours."}}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        people = self.fields["people"]
        people.queryset = User.objects.filter(is_active=True)  # type: ignore[attr-defined]
        self.fields["hours_a_day"].widget.attrs.update({"step": "any", "inputmode": "decimal"})

    def clean_hours_a_day(self) -> Any:
        hours = self.cleaned_data["hours_a_day"]
        if hours <= 0:
            raise ValidationError("A crew has more than 0 hours a day.")
        return hours


class DayOffForm(forms.ModelForm):
    """Days on which a crew, or everybody, stays at home."""

    first_on = DayField(label="From")
    last_on = DayField(label="To", required=False, help_text="Empty means one day.")

    class Meta:
        model = DayOff
        fields = ["crew", "first_on", "last_on", "why"]
        labels = {"why": "Why"}
        help_texts = {"crew": ""}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["crew"].empty_label = "All crews"  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        first = values.get("first_on")
        last = values.get("last_on")
        if first and not last:
            values["last_on"] = first
        elif first and last and last < first:
            self.add_error("last_on", "The last day comes before the first.")
        return values
