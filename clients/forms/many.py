"""What may be changed on many decks at once: the same for all, or left as each has it."""

from typing import Any

from django import forms

from clients.forms.decks import DeckForm
from clients.models import Deck, Species

AS_IT_IS = [("", "Leave as it is")]
YES_NO = [("yes", "Yes"), ("no", "No")]
PLACES = [("archive", "Archive"), ("back", "Bring back")]
CHOICES: dict[str, Any] = {
    "species": [each for each in Species.choices if each[0] != Species.UNKNOWN],
    "texture": Deck.Texture.choices,
    "airflow": Deck.Airflow.choices,
    "traffic": Deck.Traffic.choices,
    "salt": Deck.Salt.choices,
    "litter": Deck.Litter.choices,
}
PERCENTS = ("roof_percent", "summer_shade_percent", "winter_shade_percent")


class ManyDecksForm(forms.Form):
    """Empty is as it is."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        named = DeckForm.base_fields
        for name, choices in CHOICES.items():
            self.add_choice(name, str(named[name].label), choices)
        for name in PERCENTS:
            self.fields[name] = forms.IntegerField(
                label=named[name].label,
                required=False,
                min_value=0,
                max_value=100,
                error_messages=named[name].error_messages,
                widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
                help_text="Empty: as it is.",
            )
        self.add_choice("pool", "Beside a pool", YES_NO)
        self.add_choice("archived", "In the book", PLACES)

    def add_choice(self, name: str, label: str, choices: Any) -> None:
        self.fields[name] = forms.ChoiceField(
            label=label, required=False, choices=[*AS_IT_IS, *choices]
        )

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        if not self.errors and not any(value not in ("", None) for value in values.values()):
            raise forms.ValidationError("Choose at least one thing to change.")
        return values

    @property
    def chosen(self) -> dict[str, Any]:
        """Fields of a deck and their new values; `is_archived` where that changes, too."""
        found = {
            name: value for name, value in self.cleaned_data.items() if value not in ("", None)
        }
        if "pool" in found:
            found["pool"] = found["pool"] == "yes"
        if "archived" in found:
            found["is_archived"] = found.pop("archived") == "archive"
        return found
