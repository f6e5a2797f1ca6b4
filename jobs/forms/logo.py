"""The logo of the business."""

from typing import Any

from django import forms

from jobs.forms.fields import PHOTO_TYPES
from jobs.photos import PhotoError, normalize_logo


class LogoForm(forms.Form):
    logo = forms.FileField(
        label="Picture",
        help_text="JPEG, HEIC, PNG or WebP. It is made small, and stands on white.",
        error_messages={"required": "Choose a picture."},
        widget=forms.FileInput(attrs={"accept": PHOTO_TYPES}),
    )

    def clean_logo(self) -> Any:
        try:
            return normalize_logo(self.cleaned_data["logo"])
        except PhotoError as error:
            raise forms.ValidationError(str(error)) from error
