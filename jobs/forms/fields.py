"""Fields that several forms of this app share: as-found grades, days, photographs."""

from collections.abc import Mapping
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.core.validators import ProhibitNullCharactersValidator
from django.urls import reverse
from django.utils.html import format_html
from django.utils.translation import gettext_lazy as _

from jobs import kept_files, photos

# In the sense of the words of ISO 4628-1 for the intensity of a change.
GRADE_LABELS = ["like new", "barely visible", "slight", "clear", "strong", "worn out"]
MAX_PHOTOS = 12
PHOTO_TYPES = "image/jpeg,image/heic,image/heif,image/png,image/webp"


class GradeChoices(forms.RadioSelect):
    """Grades side by side; with `photo_ids` (grade → a photograph of the business) each of these
    shows it small, and a fold shows them large."""

    template_name = "jobs/_grade_choices.html"

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.photo_ids: Mapping[int, int] = {}

    def get_context(self, name: str, value: Any, attrs: dict[str, Any] | None) -> dict[str, Any]:
        context = super().get_context(name, value, attrs)
        shown = sorted(self.photo_ids.items())
        context["widget"]["examples"] = [(n, GRADE_LABELS[n], photo_id) for n, photo_id in shown]
        return context

    def create_option(self, name: str, value: Any, label: Any, *args: Any, **kwargs: Any) -> Any:
        photo_id = self.photo_ids.get(int(value)) if value else None
        if photo_id:
            label = format_html('{} <img src="{}?tiny" alt="">', label, photo_url(photo_id))
        return super().create_option(name, value, label, *args, **kwargs)


def photo_url(photo_id: int) -> str:
    return reverse("jobs:photo", args=[photo_id])


class GradeField(forms.TypedChoiceField):
    """One as-found grade from 0 to 5, or none."""

    def __init__(self, *, label: str, help_text: str = "") -> None:
        words = "<small>{}</small>" if help_text else '<span class="visually-hidden">{}</span>'
        numbers = [
            (str(n), format_html("{} " + words, n, word)) for n, word in enumerate(GRADE_LABELS)
        ]
        skip = ("", format_html("– " + words, "not graded"))
        super().__init__(
            label=label,
            help_text=help_text,
            choices=[*numbers, skip],
            coerce=int,
            empty_value=None,
            required=False,
            widget=GradeChoices(attrs={"class": "grades"}),
            error_messages={"invalid_choice": "Grades go from 0 (like new) to 5 (worn out)."},
        )


class DayField(forms.DateField):
    """A day by the calendar control, or typed as year-month-day."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}))
        wrong = "This is not a day of the calendar. Write it as year-month-day, such as 2027-05-14."
        super().__init__(input_formats=["%Y-%m-%d"], error_messages={"invalid": wrong}, **kwargs)


def client_name_field() -> forms.CharField:
    """Who of the client's side answers, on a page that they open themselves."""
    return forms.CharField(
        label=_("Your name"),
        max_length=200,
        error_messages={"required": _("Write your name, so that we know who answered.")},
        widget=forms.TextInput(attrs={"autocomplete": "name"}),
        validators=[ProhibitNullCharactersValidator()],
    )


class PhotosInput(forms.ClearableFileInput):
    allow_multiple_selected = True


class SeveralFilesField(forms.FileField):
    """Up to `MAX_PHOTOS` files, each checked by `read`, which raises `PhotoError`."""

    accepted = PHOTO_TYPES
    none_words = "Choose at least one photo."
    many_words = f"Send at most {MAX_PHOTOS} photos at a time; add the others on the job's page."

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", PhotosInput(attrs={"accept": self.accepted}))
        super().__init__(**kwargs)

    def read(self, upload: Any) -> Any:
        raise NotImplementedError

    def clean(self, data: Any, initial: Any = None) -> list[Any]:
        uploads = [each for each in (data if isinstance(data, list | tuple) else [data]) if each]
        if self.required and not uploads:
            raise ValidationError(self.none_words)
        if len(uploads) > MAX_PHOTOS:
            raise ValidationError(self.many_words)
        try:
            return [self.read(upload) for upload in uploads]
        except photos.PhotoError as error:
            raise ValidationError(str(error)) from error


class PhotosField(SeveralFilesField):
    """Several photographs, each checked, shrunk and freed of location data."""

    def read(self, upload: Any) -> photos.NormalizedPhoto:
        return photos.normalize_photo(upload)


class KeptFilesField(SeveralFilesField):
    """Several photographs and PDFs; each with the name that it was sent under."""

    accepted = f"application/pdf,{PHOTO_TYPES}"
    none_words = "Choose at least one photo or PDF."
    many_words = f"Send at most {MAX_PHOTOS} files at a time."

    def read(self, upload: Any) -> tuple[str, kept_files.KeptFile]:
        return kept_files.title_of(upload.name), kept_files.check_kept_file(upload)
