"""The form of a deck: what it needs, and what wears it with sensible defaults."""

from datetime import date
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Model

from clients.forms.fields import MeasureField, textarea
from clients.models import Business, Deck, Property, Species, with_both_shades

MIN_BUILT_YEAR = 1700
COMPASS_CHOICES = [
    ("", "Open all round"),
    ("0", "North"),
    ("45", "North-east"),
    ("90", "East"),
    ("135", "South-east"),
    ("180", "South"),
    ("225", "South-west"),
    ("270", "West"),
    ("315", "North-west"),
]
WEAR_FIELDS = [
    "roof_percent",
    "summer_shade_percent",
    "winter_shade_percent",
    "orientation_deg",
    "airflow",
    "traffic",
    "salt",
    "litter",
    "pool",
    "texture",
]
MEASURE_FIELDS = ["area_m2", "rail_m", "screen_m2", "height_m"]
SIZE_FIELDS = ["rail_m", "stair_treads", "screen_m2", "height_m", "built_year"]


def percent_field(
    label: str, help_text: str = "", initial: int | None = None
) -> forms.IntegerField:
    return forms.IntegerField(
        label=f"{label}, %",
        required=False,
        min_value=0,
        max_value=100,
        initial=initial,
        help_text=help_text,
        error_messages=dict.fromkeys(
            ("min_value", "max_value", "invalid"), "Write a whole number from 0 to 100."
        ),
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
    )


class PresetField(forms.ChoiceField):
    """A choice that is made already; if none arrives, the default of the column stands."""

    def __init__(self, label: str, choices: Any, initial: str) -> None:
        widget = forms.RadioSelect(attrs={"class": "segments"})
        super().__init__(label=label, choices=choices, initial=initial, widget=widget)

    def clean(self, value: Any) -> Any:
        return super().clean(value) if value else ""


class DeckForm(forms.Form):
    """Label and timber; the rest may wait, the area too."""

    label = forms.CharField(
        label="Which deck", max_length=80, initial="Deck", help_text="Such as Back deck."
    )
    species = forms.ChoiceField(label="Wood", choices=[("", "Choose the wood…"), *Species.choices])
    stair_treads = forms.IntegerField(
        label="Stair treads", required=False, min_value=0, max_value=500, initial=0
    )
    built_year = forms.IntegerField(label="Year built", required=False)
    roof_percent = percent_field("Under a roof", initial=0)
    summer_shade_percent = percent_field(
        "Shade in summer", "Of the sun, taken away by trees or walls. Empty if you do not know it."
    )
    winter_shade_percent = percent_field("Shade in winter")
    orientation_deg = forms.TypedChoiceField(
        label="Open side faces",
        choices=COMPASS_CHOICES,
        coerce=int,
        empty_value=None,
        required=False,
    )
    airflow = PresetField("Air below", Deck.Airflow.choices, "open")
    traffic = PresetField("Use", Deck.Traffic.choices, "household")
    salt = PresetField("Sea air", Deck.Salt.choices, "none")
    litter = PresetField("Leaves", Deck.Litter.choices, "none")
    texture = PresetField("Surface", Deck.Texture.choices, "smooth")
    pool = forms.BooleanField(label="Beside a pool", required=False)
    notes = forms.CharField(label="Notes", required=False, max_length=20_000, widget=textarea(3))

    def __init__(
        self,
        data: Any = None,
        *,
        business: Business,
        today: date,
        home: Property | None = None,
        deck: Deck | None = None,
        **kwargs: Any,
    ) -> None:
        self.home = home
        self.deck = deck
        self.today = today
        if deck:
            kwargs["initial"] = {
                name: getattr(deck, name) for name in [*self.base_fields, *MEASURE_FIELDS]
            }
        super().__init__(data, **kwargs)
        self.add_measures(business.units)
        self.add_imported_bearing()

    def add_measures(self, units: str) -> None:
        self.fields["area_m2"] = MeasureField(
            label="Area",
            quantity="area",
            units=units,
            maximum=Decimal(50_000),
            min_value=Decimal("0.01"),
            required=False,
            error_messages={"min_value": "The area must be more than 0."},
            help_text="Deck boards only. Empty if you do not know it.",
        )
        for name, quantity, label, most in (
            ("rail_m", "length", "Rail length", 5_000),
            ("screen_m2", "area", "Privacy screens, both sides", 5_000),
            ("height_m", "length", "Height above ground", 100),
        ):
            self.fields[name] = MeasureField(
                label=label,
                quantity=quantity,
                units=units,
                maximum=Decimal(most),
                required=False,
                min_value=Decimal(0),
                error_messages={"min_value": "This cannot be negative."},
            )

    def add_imported_bearing(self) -> None:
        """A bearing between the eight points, from an import, stays as it is."""
        bearing = self.deck.orientation_deg if self.deck else None
        if bearing is not None and str(bearing) not in dict(COMPASS_CHOICES):
            self.fields["orientation_deg"].choices = [  # type: ignore[attr-defined]
                *COMPASS_CHOICES,
                (str(bearing), f"{bearing}°"),
            ]

    def clean_label(self) -> str:
        label = " ".join(self.cleaned_data["label"].split())
        others = self.home.decks.filter(label__iexact=label) if self.home else Deck.objects.none()
        if (others.exclude(pk=self.deck.pk) if self.deck else others).exists():
            raise ValidationError(
                f"This property already has a deck called {label}. Give this one another name."
            )
        return label

    def clean_built_year(self) -> int | None:
        year: int | None = self.cleaned_data["built_year"]
        if year is not None and not MIN_BUILT_YEAR <= year <= self.today.year + 1:
            raise ValidationError(f"Write a year from {MIN_BUILT_YEAR} to {self.today.year + 1}.")
        return year

    def clean(self) -> dict[str, Any]:
        """What was left empty is the default of its column."""
        values = super().clean() or self.cleaned_data
        for name, value in values.items():
            if value in ("", None):
                values[name] = column_default(Deck, name)
        return values | with_both_shades(values)

    @property
    def has_wear_errors(self) -> bool:
        """So that the folded part opens when something in it is wrong."""
        return any(name in self.errors for name in [*WEAR_FIELDS, *SIZE_FIELDS])


def column_default(model: type[Model], name: str) -> Any:
    field: Any = model._meta.get_field(name)
    return field.get_default()
