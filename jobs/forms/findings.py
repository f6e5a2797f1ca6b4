"""What was found on a deck: grades, why somebody came, wood moisture.
Shared by a job and by a check without work."""

from collections.abc import Mapping
from typing import Any

from django import forms

from clients.forms.fields import TypedNumberField, needed_with_others, textarea
from jobs.forms.fields import DayField, GradeField, PhotosField
from jobs.models import GRADE_FIELDS, GradeExample, Visit


class FindingsForm(forms.Form):
    """The part about what was found; both forms below and the job form are made of it."""

    overall = needed_with_others(
        GradeField(
            label="As found, before any work", help_text="Judge the worst square metre people see."
        )
    )
    greying = GradeField(label="Fading or greying")
    beading = GradeField(label="Water no longer beads")
    flaking = GradeField(label="Peeling")
    cracking = GradeField(label="Cracking")
    mould = GradeField(label="Mould or algae")
    reason = needed_with_others(
        forms.ChoiceField(
            label="Why were you there?",
            required=False,
            choices=[("", "Choose…"), *Visit.Reason.choices],
        )
    )
    moisture_percent = TypedNumberField(
        label="Wood moisture, %",
        required=False,
        min_value=0,
        max_value=200,
        max_digits=4,
        decimal_places=1,
    )

    def show_examples(self, examples: Mapping[str, Mapping[int, GradeExample]]) -> None:
        """The business's own photographs beside the grades: kind → grade → example."""
        for name in GRADE_FIELDS:
            shown = {grade: each.photo_id for grade, each in examples.get(name, {}).items()}
            self.fields[name].widget.photo_ids = shown

    def findings(self) -> dict[str, Any]:
        return {
            name: self.cleaned_data[name] for name in [*GRADE_FIELDS, "reason", "moisture_percent"]
        }

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        if not values.get("reason") and any(values.get(name) is not None for name in GRADE_FIELDS):
            self.add_error("reason", "Choose why you were there; a grade means little without it.")
        return values

    @property
    def defects(self) -> list[forms.BoundField]:
        return [self[name] for name in GRADE_FIELDS[1:]]

    @property
    def has_defects(self) -> bool:
        """Whether one of them has a value or an error, so that it must not be folded away."""
        return any(field.errors or field.value() not in (None, "") for field in self.defects)


class CheckForm(FindingsForm):
    """A check without work."""

    visited_on = DayField(label="Date")
    found_by = forms.CharField(label="Who looked", required=False, max_length=120)
    notes = forms.CharField(label="Notes", required=False, max_length=20_000, widget=textarea(3))

    def clean(self) -> dict[str, Any]:
        values = super().clean()
        if (
            all(values.get(name) is None for name in [*GRADE_FIELDS, "moisture_percent"])
            and not self.errors
        ):
            self.add_error(
                "overall", "Grade the deck as you found it: a check without a grade tells nothing."
            )
        return values

    def findings(self) -> dict[str, Any]:
        return {
            **super().findings(),
            "found_by": self.cleaned_data["found_by"],
            "notes": self.cleaned_data["notes"],
        }


class NewCheckForm(CheckForm):
    """With photographs of the deck as it was found."""

    photos = PhotosField(label="Photos", required=False)
