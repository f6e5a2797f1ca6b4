"""More photographs for a job, and what one of them shows."""

from django import forms

from jobs.forms.fields import PhotosField
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
