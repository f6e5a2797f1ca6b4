"""The texts that stand on every offer, in one language."""

from django import forms

from clients.forms.fields import textarea
from jobs.models import TERM_HEADINGS, OfferTerms


class OfferTermsForm(forms.ModelForm):
    class Meta:
        model = OfferTerms
        fields = list(TERM_HEADINGS)
        widgets = {name: textarea(4) for name in TERM_HEADINGS}
        labels = {name: str(words) for name, words in TERM_HEADINGS.items()}
