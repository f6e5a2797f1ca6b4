"""What somebody would rather do on a deck than what is proposed, and what was measured on the
day."""

from collections.abc import Iterable, Iterator, Sequence
from decimal import Decimal
from typing import Any

from django import forms

from clients.forms.fields import MeasureField, TypedNumberField
from clients.models import Surface
from jobs.models import STRIP_ABOVE_COATS, OfferScope, Product
from jobs.scope import Override, SiteReading

DEFAULT_WEEKS_AHEAD = 2
ChoiceGroup = tuple[str, list[tuple[str, str]]]


class OverrideForm(forms.Form):
    """Empty fields leave the proposal as it is. A finish is chosen with its colour:
    product number, colon, colour."""

    work = forms.ChoiceField(
        label="Work",
        required=False,
        choices=[("", "As proposed"), *OfferScope.Work.choices],
        widget=forms.RadioSelect(attrs={"class": "segments"}),
    )
    finish = forms.ChoiceField(label="Finish and colour", required=False)
    coats = forms.IntegerField(
        label="Coats",
        required=False,
        min_value=1,
        max_value=STRIP_ABOVE_COATS,
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
    )

    without_sanding = forms.BooleanField(
        label="Without sanding",
        required=False,
        help_text="For a recoat: an oiled deck that did not fur need not be sanded.",
    )
    surfaces = forms.MultipleChoiceField(
        label="What is worked on",
        required=False,
        widget=forms.CheckboxSelectMultiple(attrs={"class": "segments"}),
    )

    def __init__(
        self, *args: Any, finishes: Iterable[Product], surfaces: Sequence[str], **kwargs: Any
    ) -> None:
        """`surfaces` are those of the deck; they are asked for where there are several."""
        super().__init__(*args, **kwargs)
        self.asks_surfaces = len(surfaces) > 1
        named = [(name, Surface(name).label) for name in surfaces]
        self.fields["surfaces"].choices = named  # type: ignore[attr-defined]
        self.finishes = {product.pk: product for product in finishes}
        choices = [
            ("", "As proposed"),
            *(finish_choice_group(product) for product in self.finishes.values()),
        ]
        self.fields["finish"].choices = choices  # type: ignore[attr-defined]

    def override(self) -> Override:
        """Of a form that is valid."""
        values = self.cleaned_data
        number, _, colour = values["finish"].partition(":")
        product = self.finishes[int(number)] if number else None
        return Override(
            work=values["work"],
            product=product,
            colour=colour,
            coats=values["coats"] or 0,
            without_sanding=values["without_sanding"],
            surfaces=values["surfaces"],
        )


def finish_choice_group(product: Product) -> ChoiceGroup:
    """The product with its colours, for a select."""
    return (product.name, list(colour_choices(product)))


def colour_choices(product: Product) -> Iterator[tuple[str, str]]:
    for colour in product.colour_list or [""]:
        yield f"{product.pk}:{colour}", f"{product.name}, {colour}" if colour else product.name


class WeeksForm(forms.Form):
    """How far to look ahead."""

    weeks = forms.TypedChoiceField(
        label="Work that begins within",
        coerce=int,
        required=False,
        empty_value=None,
        initial=DEFAULT_WEEKS_AHEAD,
        choices=[
            (1, "1 week"),
            (2, "2 weeks"),
            (4, "4 weeks"),
            (8, "8 weeks"),
            (13, "3 months"),
            (26, "half a year"),
        ],
    )


class ReadingForm(forms.Form):
    """What was measured on the day; empty fields were not."""

    humidity_percent = forms.IntegerField(
        label="Humidity, %",
        required=False,
        min_value=1,
        max_value=100,
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
    )
    moisture_percent = TypedNumberField(
        label="Wood moisture, %",
        required=False,
        min_value=0,
        max_value=200,
        decimal_places=1,
    )

    def __init__(self, *args: Any, units: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, label in (
            ("air_c", "Air temperature"),
            ("surface_c", "Boards"),
            ("night_c", "Lowest tonight, forecast"),
        ):
            self.fields[name] = MeasureField(
                label=label,
                quantity="temperature",
                units=units,
                places=1,
                required=False,
                min_value=Decimal(-60),
                max_value=Decimal(90),
                error_messages={
                    "min_value": "Nothing is that cold.",
                    "max_value": "Nothing is that hot.",
                },
            )
        self.order_fields(["air_c", "humidity_percent", "surface_c", "moisture_percent", "night_c"])

    def reading(self) -> SiteReading:
        return SiteReading(**self.cleaned_data)
