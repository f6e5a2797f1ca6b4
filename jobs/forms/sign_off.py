"""What the client fills in at the end of a job:
a name, and boxes to tick of which none is ticked beforehand."""

import hashlib
from collections.abc import Sequence
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.core.validators import ProhibitNullCharactersValidator
from django.forms import BoundField
from django.utils.translation import gettext_lazy as _

from clients.models import traits_of
from clients.notation import StrOrPromise
from jobs.work import ConsentRequest, is_drawn_path


class NoPhotosForm(forms.Form):
    because = forms.CharField(
        label="Why there are none",
        max_length=200,
        error_messages={"required": "Say why, or add the photos."},
        help_text="Kept with the notes of the job.",
        validators=[ProhibitNullCharactersValidator()],
    )


class SignOffForm(forms.Form):
    """One box a channel; its label is the very wording that is kept."""

    use_required_attribute = False
    name = forms.CharField(
        label=_("Your name"),
        max_length=200,
        error_messages={"required": _("The client writes their name here.")},
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "words"}),
        validators=[ProhibitNullCharactersValidator()],
    )

    drawn = forms.CharField(
        required=False, widget=forms.HiddenInput(attrs={"data-drawing": True}), max_length=8_000
    )
    words_read = forms.CharField(required=False, widget=forms.HiddenInput, max_length=64)

    def __init__(
        self,
        *args: Any,
        asks: Sequence[ConsentRequest],
        wording: str,
        has_email: bool,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.asks = asks
        words = "\n".join([wording, *(ask.wording for ask in asks)])
        self.words_shown = hashlib.sha256(words.encode()).hexdigest()
        self.fields["words_read"].initial = self.words_shown
        for ask in asks:
            self.fields[f"may_{ask.channel}"] = forms.BooleanField(
                label=ask.wording, required=False
            )
        if has_email:
            self.fields["wants_record"] = forms.BooleanField(
                label=_("E-mail me the care record of this job."), required=False
            )

    def clean_drawn(self) -> str:
        drawn: str = self.cleaned_data["drawn"]
        if not is_drawn_path(drawn):
            raise ValidationError(_("The drawing did not arrive whole. Please sign again."))
        return drawn

    def clean(self) -> dict[str, Any]:
        """Who signs on a phone without a signal has read the words of that hour."""
        values = super().clean() or self.cleaned_data
        if values.get("words_read") not in ("", self.words_shown):
            raise ValidationError(
                _("These words have changed since they were read. Please read them and sign again.")
            )
        return values

    @property
    def boxes(self) -> list[tuple[StrOrPromise, BoundField]]:
        """“By e-mail”, and the box; for each channel."""
        return [
            (traits_of(ask.channel).consent_label, self[f"may_{ask.channel}"]) for ask in self.asks
        ]

    @property
    def agreed(self) -> list[ConsentRequest]:
        """What was ticked."""
        return [ask for ask in self.asks if self.cleaned_data[f"may_{ask.channel}"]]
