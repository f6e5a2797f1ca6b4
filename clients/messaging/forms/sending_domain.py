"""The names of the keys that sign the business's mail."""

import re

from django import forms
from django.core.exceptions import ValidationError

from clients.models import Business

SELECTOR_PATTERN = re.compile(r"[a-z0-9](?:[a-z0-9_.-]{0,61}[a-z0-9])?", re.IGNORECASE)
MAX_SELECTORS = 5


class SelectorsForm(forms.ModelForm):
    """One or more selectors, separated by commas."""

    class Meta:
        model = Business
        fields = ["dkim_selectors"]
        labels = {"dkim_selectors": "Names of the keys that sign your mail (selectors)"}
        help_texts = {
            "dkim_selectors": (
                "Your mail provider shows them. Separated by commas, such as mail1, mail2."
            )
        }

    def clean_dkim_selectors(self) -> str:
        names = [
            name.strip() for name in self.cleaned_data["dkim_selectors"].split(",") if name.strip()
        ]
        wrong = [name for name in names if not SELECTOR_PATTERN.fullmatch(name)]
        if wrong:
            raise ValidationError(
                f"“{wrong[0]}” is no name of a key: letters, figures, dots and hyphens only."
            )
        if len(names) > MAX_SELECTORS:
            raise ValidationError(f"At most {MAX_SELECTORS} names, please.")
        return ", ".join(names)
