"""A client and a deck that are not in the book yet, typed on the spot."""

from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from clients.forms.fields import MeasureField
from clients.models import Business, Species
from clients.notation import emails, phones
from clients.places import towns
from jobs.actions.new_decks import NewDeck


class NewDeckForm(forms.Form):
    """The least that a client and a deck need; the rest can be added in the office."""

    name = forms.CharField(
        label="Client's name", max_length=200, widget=forms.TextInput(attrs={"autocomplete": "off"})
    )
    phone = forms.CharField(
        label="Phone",
        required=False,
        max_length=40,
        widget=forms.TextInput(attrs={"type": "tel", "autocomplete": "off"}),
    )
    email = forms.EmailField(
        label="E-mail",
        required=False,
        max_length=254,
        widget=forms.EmailInput(attrs={"autocomplete": "off"}),
    )
    street = forms.CharField(label="Street and number", max_length=200)
    town = forms.CharField(
        label="Town", max_length=120, help_text="With the region if there are several of that name."
    )
    label = forms.CharField(
        label="Which deck", max_length=80, initial="Deck", help_text="Such as Back deck."
    )
    species = forms.ChoiceField(label="Wood", choices=Species.choices)

    def __init__(self, *args: Any, business: Business, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.business = business
        self.fields["area_m2"] = MeasureField(
            quantity="area",
            units=business.units,
            label="Area",
            required=False,
            help_text="Empty if you do not know it.",
            min_value=Decimal("0.1"),
            max_value=Decimal("99999"),
            error_messages={"min_value": "The area must be more than 0."},
        )

    def clean_email(self) -> str:
        text = self.cleaned_data["email"].strip()
        try:
            return emails.parse_email_address(text) if text else ""
        except emails.EmailError as error:
            raise ValidationError(str(error)) from error

    def clean_phone(self) -> str:
        text: str = self.cleaned_data["phone"].strip()
        if text:
            try:
                phones.parse_phone(text, self.business.country)
            except phones.PhoneError as error:
                raise ValidationError(str(error)) from error
        return text

    def clean_town(self) -> str:
        """A town of the table, so that the sun and the rain of the place are known."""
        written = self.cleaned_data["town"]
        answer = towns.find_town(written, country=self.business.country)
        name, _, rest = (part.strip().casefold() for part in written.partition(","))
        same = [
            town
            for town in answer.towns
            if name in {town.name.casefold(), town.ascii_name.casefold()}
        ]
        here = [town for town in same if town.country == self.business.country]
        own = [town for town in here if town.region == self.business.region]
        if not rest and len(here) > 1 and not own:
            raise ValidationError(
                f"There are several: {join_towns(here)}. Write the one you mean with its region."
            )
        meant = (same if rest else own or here)[:1]
        if not meant:
            near = join_towns([*answer.towns, *answer.suggestions])
            hint = f" Perhaps you mean {near}." if near else " Write the nearest larger town."
            raise ValidationError(f"“{written}” is not a town we know.{hint}")
        self.place = meant[0]
        return self.place.name

    def new_deck(self) -> NewDeck:
        values = self.cleaned_data
        place = self.place
        where = {
            "region": place.region,
            "country": place.country,
            "latitude": place.latitude,
            "longitude": place.longitude,
            "time_zone": place.time_zone,
        }
        return NewDeck(
            name=values["name"],
            street=values["street"],
            town=values["town"],
            place=where,
            label=values["label"],
            species=values["species"],
            area_m2=values["area_m2"],
            emails=(values["email"],) if values["email"] else (),
            phones=(values["phone"],) if values["phone"] else (),
        )


def join_towns(found: list[Any]) -> str:
    return "; ".join(f"{town.name}, {town.region}" for town in found[:3])
