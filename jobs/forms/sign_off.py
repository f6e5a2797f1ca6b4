"""What the client fills in at the end of a job:
a name, and boxes to tick of which none is ticked beforehand."""

from collections.abc import Sequence
from typing import Any

from django import forms
from django.core.validators import ProhibitNullCharactersValidator
from django.forms import BoundField
from django.utils.translation import gettext_lazy as _

from clients.languages import StrOrPromise
from clients.models import traits_of
from jobs.work import ConsentRequest


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

    def __init__(
        self, *args: Any, asks: Sequence[ConsentRequest], has_email: bool, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.asks = asks
        for ask in asks:
            self.fields[f"may_{ask.channel}"] = forms.BooleanField(
                label=ask.wording, required=False
            )
        if has_email:
            self.fields["wants_record"] = forms.BooleanField(
                label=_("E-mail me the care record of this job."), required=False
            )

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
