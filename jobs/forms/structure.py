"""What was found on the structure of a deck, that it is repaired, and that the client knows."""

from typing import Any

from django import forms
from django.core.validators import ProhibitNullCharactersValidator

from clients.forms.fields import needed_with_others, textarea
from jobs.actions.structure import FoundDefect
from jobs.forms.fields import DayField, PhotosField, client_name_field
from jobs.models import Defect

NOTHING = ("", "Nothing found")


class StructureForm(forms.Form):
    """One look, and one defect if there was any."""

    kind = needed_with_others(
        forms.ChoiceField(
            label="What did you find?",
            required=False,
            choices=[NOTHING, *Defect.Kind.choices],
            widget=forms.RadioSelect,
        )
    )
    severity = needed_with_others(
        forms.ChoiceField(
            label="How bad is it?",
            required=False,
            choices=Defect.Severity.choices,
            widget=forms.RadioSelect,
            help_text="Dangerous: stop, keep people off and tell the client before you write.",
        )
    )
    place = needed_with_others(
        forms.CharField(
            label="Where?",
            required=False,
            max_length=120,
            help_text="Such as stairs, second tread from below.",
            validators=[ProhibitNullCharactersValidator()],
        )
    )
    words = forms.CharField(
        label="In your words",
        required=False,
        max_length=2_000,
        widget=textarea(3),
        help_text="The client reads it as you write it.",
        validators=[ProhibitNullCharactersValidator()],
    )
    photos = PhotosField(label="Photos", required=False)
    checked_on = DayField(label="Date")
    checked_by = forms.CharField(label="Who looked", required=False, max_length=120)

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        if values.get("kind"):
            if not values.get("severity"):
                self.add_error("severity", "Choose how bad it is.")
            if not values.get("place"):
                self.add_error("place", "Say where it is, so that somebody finds it.")
        elif any(values.get(name) for name in ("severity", "place", "words", "photos")):
            self.add_error("kind", "Choose what you found.")
        return values

    def found(self) -> FoundDefect | None:
        values = self.cleaned_data
        if not values["kind"]:
            return None
        names = ("kind", "severity", "place", "words", "photos")
        return FoundDefect(**{name: values[name] for name in names})


class AcknowledgeForm(forms.Form):
    """The client has read the report."""

    use_required_attribute = False
    name = client_name_field()


class DefectFixedForm(forms.Form):
    fixed_on = DayField(label="Repaired on")
    words = forms.CharField(
        label="By whom, and how",
        required=False,
        max_length=300,
        validators=[ProhibitNullCharactersValidator()],
    )


class WayForm(forms.Form):
    """By which way a report goes."""

    channel = forms.ChoiceField(label="How", widget=forms.RadioSelect)

    def __init__(self, *args: Any, ways: list[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["channel"].choices = ways  # type: ignore[attr-defined]
