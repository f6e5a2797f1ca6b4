"""Fields that several forms share: measures in the business's units, as-found grades, days, photographs."""

from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.utils.html import format_html

from clients.units import QUANTITIES
from jobs import photos

# In the sense of the words of ISO 4628-1 for the intensity of a change.
GRADE_WORDS = ["like new", "just seen", "slight", "clear", "strong", "worn out"]
MOST_PHOTOS = 12
TOO_LARGE = Decimal(10) ** 9
PRECISE = Decimal("0.000001")


class MeasureField(forms.DecimalField):
    """A measure typed in the business's units; its value is SI, rounded as the column keeps it."""

    def __init__(self, *, quantity: str, units: str, places: int = 2, **kwargs: Any) -> None:
        self.quantity, self.units, self.places = QUANTITIES[quantity], units, places
        label = kwargs.pop("label")
        kwargs.setdefault("widget", forms.NumberInput(attrs={"step": "any", "inputmode": "decimal"}))
        super().__init__(label=f"{label}, {self.quantity.symbol(units)}", **kwargs)

    def prepare_value(self, value: Any) -> Any:
        """SI from the database as it is read on screen; what was typed stays as it is."""
        if not isinstance(value, Decimal):
            return value
        shown = self.quantity.shown(value, self.units).quantize(Decimal(1).scaleb(-self.places)).normalize()
        return f"{shown:f}"

    def to_python(self, value: Any) -> Decimal | None:  # type: ignore[override] # as DecimalField does
        number = super().to_python(value)
        if number is None or not number.is_finite():
            return number
        if abs(number) > TOO_LARGE:
            raise ValidationError("This number is too large. Check the decimal point.")
        si = self.quantity.to_si(number.quantize(PRECISE), self.units)
        return si.quantize(Decimal(1).scaleb(-self.places))


class GradeField(forms.TypedChoiceField):
    """One as-found grade from 0 to 5, or none."""

    def __init__(self, *, label: str, help_text: str = "") -> None:
        words = "<small>{}</small>" if help_text else '<span class="visually-hidden">{}</span>'
        numbers = [(str(n), format_html("{} " + words, n, word)) for n, word in enumerate(GRADE_WORDS)]
        skip = ("", format_html("– " + words, "not graded"))
        super().__init__(
            label=label, help_text=help_text, choices=[*numbers, skip], coerce=int, empty_value=None, required=False,
            widget=forms.RadioSelect(attrs={"class": "grades"}),
            error_messages={"invalid_choice": "Grades go from 0 (like new) to 5 (worn out)."},
        )  # fmt: skip


class DayField(forms.DateField):
    """A day by the calendar control, or typed as year-month-day."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}))
        wrong = "This is not a day of the calendar. Write it as year-month-day, such as 2027-05-14."
        super().__init__(input_formats=["%Y-%m-%d"], error_messages={"invalid": wrong}, **kwargs)


class PhotosInput(forms.ClearableFileInput):
    allow_multiple_selected = True


class PhotosField(forms.FileField):
    """Several photographs, each checked, shrunk and freed of location data."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", PhotosInput(attrs={"accept": "image/jpeg,image/png,image/webp"}))
        super().__init__(**kwargs)

    def clean(self, data: Any, initial: Any = None) -> list[ContentFile]:
        uploads = [upload for upload in (data if isinstance(data, list | tuple) else [data]) if upload]
        if self.required and not uploads:
            raise ValidationError("Choose at least one photo.")
        if len(uploads) > MOST_PHOTOS:
            raise ValidationError(f"Send at most {MOST_PHOTOS} photos at a time; add the others on the job's page.")
        try:
            return [photos.prepared(upload) for upload in uploads]
        except photos.PhotoError as error:
            raise ValidationError(str(error)) from error
