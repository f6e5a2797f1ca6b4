"""The texts that stand on every offer, in one language."""

from typing import Any

from django import forms

from clients.forms.fields import textarea
from jobs.models import RIGHT_TO_CANCEL, TERM_HEADINGS, OfferTerms


class OfferTermsForm(forms.ModelForm):
    """The statement of a right to cancel is asked for only where the law gives one."""

    class Meta:
        model = OfferTerms
        fields = [*TERM_HEADINGS, RIGHT_TO_CANCEL]
        widgets = {name: textarea(4) for name in TERM_HEADINGS} | {RIGHT_TO_CANCEL: textarea(8)}
        labels = {name: str(words) for name, words in TERM_HEADINGS.items()}

    def __init__(self, *args: Any, may_be_cancelled: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not may_be_cancelled:
            del self.fields[RIGHT_TO_CANCEL]
