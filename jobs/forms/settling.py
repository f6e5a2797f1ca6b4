"""All jobs before a day are paid."""

from datetime import date
from typing import Any

from django import forms

from jobs.forms.fields import DayField


class PaidBeforeForm(forms.Form):
    before = DayField(label="Done before")

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today = today

    def clean_before(self) -> date:
        before: date = self.cleaned_data["before"]
        if before > self.today:
            raise forms.ValidationError("Choose today or a day before it.")
        return before
