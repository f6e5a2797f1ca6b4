"""How long what comes back is kept, and how long the page of an answered offer opens."""

from typing import Any

from django import forms

from clients.models import Business

MAX_MONTHS = 120  # ten years


class RetentionForm(forms.ModelForm):
    """Whole months, at least one."""

    class Meta:
        model = Business
        fields = ["raw_months", "answered_link_months"]
        labels = {
            "raw_months": "Months to keep message contents",
            "answered_link_months": "Months an offer link works",
        }
        help_texts = {
            "raw_months": (
                "Then they are emptied each night. What came, when, about which message and what"
                " was made of it stays."
            ),
            "answered_link_months": (
                "Counted from the answer, from the last day of the visit if that is later, or from "
                "the last day of an offer that nobody answered. You see the offer for good."
            ),
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in self.fields:
            words = f"Write whole months from 1 to {MAX_MONTHS}."
            self.fields[name] = forms.IntegerField(
                label=self.Meta.labels[name],
                help_text=self.Meta.help_texts[name],
                min_value=1,
                max_value=MAX_MONTHS,
                error_messages={"min_value": words, "max_value": words, "invalid": words},
            )
