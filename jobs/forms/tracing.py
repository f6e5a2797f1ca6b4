"""What is traced, and what those are told whose decks it went on."""

from collections.abc import Mapping
from typing import Any

from django import forms

from clients.forms.fields import textarea
from jobs.forms.fields import DayField
from jobs.models import Batch, Product

MAX_NOTICE_LENGTH = 1_000  # of a text message at most seven parts


class TraceForm(forms.Form):
    """What is traced, as fields of an address; without a batch code it is every batch."""

    product = forms.ModelChoiceField(
        queryset=Product.objects.order_by("name", "maker"), required=False, empty_label="Any"
    )
    batch = forms.ModelChoiceField(
        queryset=Batch.objects.select_related("product"),
        required=False,
        widget=forms.HiddenInput,
        error_messages={"invalid_choice": "This batch is not on file. Choose it from its product."},
    )
    first_day = DayField(label="Finished from", required=False)
    last_day = DayField(label="Until", required=False)

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        first, last = values.get("first_day"), values.get("last_day")
        if first and last and first > last:
            self.add_error("last_day", "The last day must not be before the first.")
        batch = values.get("batch")
        if batch and values.get("product") not in {None, batch.product}:
            self.add_error("product", f"Batch {batch.code} is of {batch.product}.")
        return values


class RecallForm(forms.Form):
    """What clients are told: a field for each language that they read."""

    def __init__(self, data: Any, *, languages: Mapping[str, str]) -> None:
        super().__init__(data)
        self.languages = languages
        for code, name in languages.items():
            label = "What they have to know and to do"
            self.fields[f"notice_{code}"] = forms.CharField(
                label=f"{label}, in {name}" if len(languages) > 1 else label,
                max_length=MAX_NOTICE_LENGTH,
                widget=textarea(4, lang=code),
                help_text="What is wrong, whether the deck can be used, and what happens next.",
                error_messages={"required": "Write what these clients have to know."},
            )

    @property
    def notices(self) -> dict[str, str]:
        return {code: self.cleaned_data[f"notice_{code}"] for code in self.languages}
