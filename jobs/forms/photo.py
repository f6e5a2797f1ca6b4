"""More photographs for a job, what one of them shows, and what is kept without a job."""

from datetime import date
from typing import Any

from django import forms

from jobs.forms.fields import DayField, KeptFilesField, PhotosField
from jobs.models import Photo


class PhotosForm(forms.Form):
    photos = PhotosField(label="Photos")
    moment = forms.ChoiceField(
        label="They show the deck",
        choices=Photo.Moment.choices,
        initial=Photo.Moment.FINISHED,
        widget=forms.RadioSelect(attrs={"class": "segments"}),
    )
    caption = forms.CharField(
        label="What they show",
        required=False,
        max_length=200,
        help_text="In words, for those who cannot see it.",
    )


class ProductDocumentsForm(forms.Form):
    """Data sheets and the like."""

    uploads = KeptFilesField(label="Files")
    words = forms.CharField(
        label="What it is",
        required=False,
        max_length=200,
        help_text="Else the name of the file.",
    )


class DeckFilesForm(ProductDocumentsForm):
    """Photographs and papers of a deck that belong to no job."""

    moment = forms.ChoiceField(
        label="Photos show the deck",
        choices=[(Photo.Moment.FOUND, "As found"), (Photo.Moment.FINISHED, "Finished")],
        initial=Photo.Moment.FOUND,
        widget=forms.RadioSelect(attrs={"class": "segments"}),
    )
    taken_on = DayField(label="Photos are of")
    shows_people = forms.BooleanField(
        label="Somebody can be recognised",
        required=False,
        help_text="Then the photos go when the client is erased.",
    )

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["taken_on"].initial = today
        self.today = today

    def clean_taken_on(self) -> date:
        day: date = self.cleaned_data["taken_on"]
        if day > self.today:
            raise forms.ValidationError("This day is still to come. Enter the day of the photos.")
        return day
