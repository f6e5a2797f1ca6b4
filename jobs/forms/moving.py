"""Forms for a house that is sold and a deck that stands elsewhere."""

from datetime import date
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from clients.forms.fields import OneEmailField, needed_with_others
from clients.notation import emails, phones
from jobs.forms.fields import DayField


class SaleForm(forms.Form):
    """When it was sold, and who has it now as far as anybody knows."""

    sold_on = DayField(label="Sold on")
    name = needed_with_others(
        forms.CharField(
            label="New owner",
            required=False,
            max_length=200,
            help_text="Empty if nobody knows yet.",
            widget=forms.TextInput(attrs={"autocomplete": "off"}),
        )
    )
    phone = forms.CharField(
        label="Phone",
        required=False,
        max_length=40,
        widget=forms.TextInput(attrs={"type": "tel", "autocomplete": "off"}),
    )
    email = OneEmailField(label="E-mail", required=False)

    def __init__(self, *args: Any, country: str, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.country = country
        self.today = today

    def clean_sold_on(self) -> date:
        day: date = self.cleaned_data["sold_on"]
        if day > self.today:
            raise ValidationError("This day is in the future. Enter the sale once it is done.")
        return day

    def clean_phone(self) -> str:
        text: str = self.cleaned_data["phone"]
        try:
            return phones.parse_phone(text, self.country).e164 if text else ""
        except phones.PhoneError as error:
            raise ValidationError(str(error)) from error

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        has_reach = values.get("phone") or values.get("email")
        if has_reach and not values.get("name") and "name" not in self.errors:
            self.add_error("name", "Write whose number or address this is.")
        return values

    @property
    def contacts(self) -> list[str]:
        """As they are compared."""
        values = self.cleaned_data
        found = [values["phone"], values["email"] and emails.parse_email_address(values["email"])]
        return [text.lower() for text in found if text]
