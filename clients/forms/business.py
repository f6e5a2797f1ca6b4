"""Forms of the settings: the business, and what the owner knows better about the weather of a
town."""

import json
from collections.abc import Iterable
from typing import Any
from urllib.parse import urlsplit

from babel.numbers import is_currency
from django import forms
from django.core.exceptions import ValidationError
from django.core.validators import URLValidator

from clients.forms.fields import CountryField, OneEmailField, textarea
from clients.models import Business, LocalNormals, Property
from clients.notation import countries, phones
from clients.outward import mistake_of_outward_url

MONTH_NAMES = (
    "January February March April May June July August September October November December".split()
)
MAX_DAYS_IN_MONTH = [31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]
MAX_LISTED_TOWNS = 500
WEATHER_ADDRESS = URLValidator(schemes=["https", "http"])


class BusinessForm(forms.ModelForm):
    """Everything that stands in a message, and how the business writes and works."""

    country = CountryField(label="Country")
    email = OneEmailField(
        label="E-mail", required=False, help_text="A mailbox that somebody reads; answers go here."
    )
    sender_email = OneEmailField(
        label="Reminders come from",
        required=False,
        help_text="Empty means the e-mail address above.",
    )
    bounce_email = OneEmailField(
        label="Undeliverable mail returns to",
        required=False,
        help_text="Empty means the address reminders come from.",
    )
    weather_source = forms.CharField(
        label="Weather of the days ahead, from",
        required=False,
        max_length=300,
        help_text=(
            "The address of a weather service, with {lat} and {lon} where the place goes. It hears"
            " where you have work booked, to about a kilometre, and your website or e-mail address;"
            " never a client’s name or address. Empty asks nobody."
        ),
        widget=forms.TextInput(attrs={"inputmode": "url", "autocapitalize": "none"}),
    )
    website = forms.URLField(label="Website", required=False, max_length=200, assume_scheme="https")
    time_zone = forms.ChoiceField(label="Time zone")
    season_months = forms.TypedMultipleChoiceField(
        label="Months in which crews work outdoors",
        coerce=int,
        choices=[(number, month[:3]) for number, month in enumerate(MONTH_NAMES, 1)],
        widget=forms.CheckboxSelectMultiple(attrs={"class": "segments"}),
        error_messages={"required": "Tick at least one month."},
    )

    class Meta:
        model = Business
        fields = [
            "name",
            "legal_name",
            "street",
            "town",
            "region",
            "postcode",
            "country",
            "phone",
            "email",
            "website",
            "tax_number",
            "privacy_notice",
            "wants_photos",
            "sign_off_needs_photos",
            "map_link",
            "weather_source",
            "sender_email",
            "bounce_email",
            "season_months",
            "units",
            "currency",
            "locale",
            "time_zone",
        ]
        labels = {"locale": "Numbers and dates as in", "postcode": "Postal code"}
        widgets = {"privacy_notice": textarea(6)}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        zones = countries.zone_choices()
        own = self.instance.time_zone
        is_listed = any(own == name for _, towns in zones for name, _ in towns)
        choices = zones if is_listed else [(own, own), *zones]
        self.fields["time_zone"].choices = choices  # type: ignore[attr-defined]

    def clean_currency(self) -> str:
        code: str = self.cleaned_data["currency"].upper()
        if not is_currency(code):
            raise ValidationError("Write the three letters of a currency, such as CAD.")
        return code

    def clean_locale(self) -> str:
        text: str = self.cleaned_data["locale"].replace("_", "-")
        if not countries.is_locale(text):
            raise ValidationError("Write a language and a country, such as en-CA.")
        return text

    def clean_weather_source(self) -> str:
        text: str = self.cleaned_data["weather_source"].strip()
        if text and (mistake := mistake_of_weather_source(text)):
            raise ValidationError(mistake)
        return text

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        if values.get("phone") and values.get("country"):
            try:
                values["phone"] = " ".join(values["phone"].split())
                phones.parse_phone(values["phone"], values["country"])
            except phones.PhoneError as error:
                self.add_error("phone", str(error))
        return values


def mistake_of_weather_source(text: str) -> str:
    """What is wrong with the address; empty if nothing is. Where it leads is looked at each time it
    is asked (`clients/outward.py`)."""
    if any(text.count(name) != 1 for name in ("{lat}", "{lon}")):
        return "Write {lat} and {lon} once each, where the place goes in the address."
    filled = text.replace("{lat}", "44.65").replace("{lon}", "-63.57")
    try:
        WEATHER_ADDRESS(filled)
        mistake = mistake_of_outward_url(filled)
    except (ValidationError, ValueError):
        return "Write a whole address that begins with https://."
    if mistake:
        return mistake
    if "{" in f"{urlsplit(text).netloc}":
        return "The place cannot stand in the name of the machine."
    return ""


class NormalsForm(forms.Form):
    """Wet days of the twelve months of a town in which decks stand."""

    place = forms.ChoiceField(label="Town", help_text="The towns of your properties.")
    source = forms.CharField(label="Where the numbers are from", max_length=200)

    def __init__(
        self, data: Any = None, *, normals: LocalNormals | None = None, **kwargs: Any
    ) -> None:
        self.normals = normals
        kwargs["initial"] = normals_initial(normals) if normals else {}
        super().__init__(data, **kwargs)
        towns = [*([town_key(normals)] if normals else []), *self.towns_without_normals()]
        choices = [(json.dumps(key), ", ".join(filter(None, key))) for key in towns]
        self.fields["place"].choices = choices  # type: ignore[attr-defined]
        for number, (month, most) in enumerate(zip(MONTH_NAMES, MAX_DAYS_IN_MONTH, strict=True), 1):
            self.fields[f"wet_{number}"] = forms.FloatField(
                label=month,
                min_value=0,
                max_value=most,
                widget=forms.NumberInput(attrs={"step": "any"}),
                error_messages={
                    "max_value": f"{month} has {most} days.",
                    "min_value": "This cannot be negative.",
                },
            )

    def towns_without_normals(self) -> list[list[str]]:
        """Towns of the book without an entry of their own."""
        names = ["town", "region", "country"]
        taken = set(LocalNormals.objects.values_list(*names))
        towns = (
            Property.objects.order_by(*names)
            .values_list(*names)
            .distinct()[: MAX_LISTED_TOWNS + len(taken)]
        )
        return [list(town) for town in towns if town not in taken]

    @property
    def months(self) -> Iterable[forms.BoundField]:
        return [self[f"wet_{number}"] for number in range(1, 13)]

    @property
    def values(self) -> dict[str, Any]:
        town, region, country = json.loads(self.cleaned_data["place"])
        wet_days = [self.cleaned_data[f"wet_{number}"] for number in range(1, 13)]
        source = self.cleaned_data["source"]
        return {
            "town": town,
            "region": region,
            "country": country,
            "wet_days": wet_days,
            "source": source,
        }


def town_key(normals: LocalNormals) -> list[str]:
    return [normals.town, normals.region, normals.country]


def normals_initial(normals: LocalNormals) -> dict[str, Any]:
    days = {f"wet_{number}": day for number, day in enumerate(normals.wet_days, 1)}
    return {"place": json.dumps(town_key(normals)), "source": normals.source, **days}
