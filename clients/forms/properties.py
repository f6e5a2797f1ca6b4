"""The form of a property: an address whose town is known, or a spot on the map."""

from typing import Any

from django import forms

from clients import display
from clients.forms.fields import CountryField, TypedNumberField, needed_with_others, textarea
from clients.models import Business, Place, Property
from clients.notation import countries
from clients.places import towns
from clients.places.public_holidays import HolidayPlace, loses_regional_holidays

MAX_SUGGESTIONS = 5
LOCATION_FIELDS = ["town", "region", "country", "latitude", "longitude", "time_zone"]


def degrees_field(label: str, most: int, help_text: str) -> forms.FloatField:
    return needed_with_others(
        forms.FloatField(
            label=label,
            required=False,
            min_value=-most,
            max_value=most,
            help_text=help_text,
            widget=forms.NumberInput(attrs={"step": "any", "inputmode": "text"}),
            error_messages={"invalid": "Write degrees as a number with a point, such as 44.38."},
        )
    )


class PropertyForm(forms.Form):
    """Street and town; the town gives latitude, longitude and time zone, unless they are given
    themselves."""

    street = forms.CharField(label="Street and number", max_length=200)
    town = forms.CharField(label="Town", max_length=120)
    region = forms.CharField(
        label="Province, state or region",
        required=False,
        max_length=120,
        help_text="Only if there are several such towns.",
    )
    postcode = forms.CharField(label="Postal code", required=False, max_length=20)
    country = CountryField(label="Country")
    latitude = degrees_field("Latitude", 90, "Degrees, south negative.")
    longitude = degrees_field("Longitude", 180, "Degrees, west negative.")
    time_zone = forms.ChoiceField(label="Time zone", required=False)
    access_notes = forms.CharField(
        label="Access",
        required=False,
        max_length=5_000,
        widget=textarea(2),
        help_text="Gate, dog, water tap, power.",
    )
    travel_km = TypedNumberField(
        label="Distance by road, km",
        required=False,
        min_value=0,
        max_value=9_999,
        decimal_places=1,
        help_text="One way from the yard, for the travel price. Empty means an estimate.",
    )
    place = forms.IntegerField(required=False, widget=forms.HiddenInput)
    place_for = forms.CharField(required=False, max_length=120, widget=forms.HiddenInput)

    def __init__(
        self, data: Any = None, *, business: Business, home: Property | None = None, **kwargs: Any
    ) -> None:
        self.business = business
        self.home = home
        self.suggestions: list[Place] = []
        kwargs["initial"] = property_initial(home) if home else {"country": business.country}
        super().__init__(data, **kwargs)
        zones = [("", "That of the place"), *countries.zone_choices()]
        self.fields["time_zone"].choices = zones  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        if any(name in self.errors for name in LOCATION_FIELDS):
            return values
        latitude = values.get("latitude")
        longitude = values.get("longitude")
        if (latitude is None) != (longitude is None):
            missing = "latitude" if latitude is None else "longitude"
            self.add_error(
                missing, "Latitude and longitude belong together: write both or neither."
            )
        elif latitude is not None and longitude is not None and not self.has_stale_coordinates():
            values["time_zone"] = (
                values["time_zone"] or towns.nearest_zone(latitude, longitude).time_zone
            )
        else:
            self.fill_from_town(values)
        return values

    def has_stale_coordinates(self) -> bool:
        """The town was changed but the coordinates are still those of the old one."""
        moved = {"town", "region", "country"} & set(self.changed_data)
        return bool(self.home and moved and not {"latitude", "longitude"} & set(self.changed_data))

    def fill_from_town(self, values: dict[str, Any]) -> None:
        place = self.chosen_place(values) or self.find_place(values)
        if place is None:
            return
        values.update(
            region=place.region,
            country=place.country,
            latitude=place.latitude,
            longitude=place.longitude,
        )
        values["town"] = place.name if self.chosen_place(values) else values["town"]
        values["time_zone"] = place.time_zone

    def chosen_place(self, values: dict[str, Any]) -> Place | None:
        """The suggestion that was picked, unless the town was rewritten since."""
        if values.get("place") is None or values.get("place_for") != values["town"]:
            return None
        return Place.objects.filter(pk=values["place"]).first()

    def find_place(self, values: dict[str, Any]) -> Place | None:
        town = values["town"]
        country = values["country"]
        asked = ", ".join(filter(None, [town, values.get("region")]))
        answer = towns.find_town(asked, country=country, near=self.near(country))
        meant = [place for place in answer.towns if is_matching_place(place, values)]
        if len(meant) == 1:
            return meant[0]
        near = meant or sorted(
            [*answer.towns, *answer.suggestions], key=lambda place: place.country != country
        )
        self.suggestions = near[:MAX_SUGGESTIONS]
        self.add_error("town", self.town_error(town, several=bool(meant)))
        return None

    def near(self, country: str) -> tuple[float, float] | None:
        """A property of the business's other clients, so that the nearest of several towns comes
        first."""
        known = (
            Property.objects.filter(country=country).values_list("latitude", "longitude").first()
        )
        return known or None

    def town_error(self, town: str, *, several: bool) -> str:
        if several:
            return f"There are several places called {town}. Choose one below, or write its region."
        if self.suggestions:
            return (
                f"“{town}” is not a town we know in that country. Choose one below, or give"
                " latitude and longitude."
            )
        return (
            f"“{town}” is not a town we know in that country. Write a larger town near it, or"
            " latitude and longitude."
        )

    @property
    def values(self) -> dict[str, Any]:
        """What the action takes."""
        return {
            name: value
            for name, value in self.cleaned_data.items()
            if name not in {"place", "place_for"}
        }

    @property
    def warnings(self) -> list[str]:
        """What was saved and has a consequence that nobody would see."""
        region, country = self.cleaned_data["region"], self.cleaned_data["country"]
        if not loses_regional_holidays(HolidayPlace(country, region)):
            return []
        lost = f"“{region}” is not known" if region else "No province or state is given"
        whole = display.format_country(country)
        return [f"{lost}, so only public holidays of all of {whole} are kept free there."]

    @property
    def has_coordinates(self) -> bool:
        """Whether the part about coordinates must not be folded away."""
        names = ["latitude", "longitude", "time_zone"]
        return any(self[name].errors or (self.is_bound and self[name].value()) for name in names)


def is_matching_place(place: Place, values: dict[str, Any]) -> bool:
    """The very town that was written, in the country and (if one was written) the region."""
    town, _, rest = values["town"].partition(",")
    region = (values.get("region") or rest).strip().casefold()
    is_named = town.strip().casefold() in {place.name.casefold(), place.ascii_name.casefold()}
    return (
        is_named
        and place.country == values["country"]
        and (not region or is_matching_region(place.region, region))
    )


def is_matching_region(name: str, written: str) -> bool:
    """By its name, its beginning or its initials."""
    initials = "".join(word[0] for word in name.split()).casefold()
    return name.casefold().startswith(written) or initials == written


def property_initial(home: Property) -> dict[str, Any]:
    names = ["street", "postcode", "access_notes", "travel_km", *LOCATION_FIELDS]
    return {name: getattr(home, name) for name in names}
