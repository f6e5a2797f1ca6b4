"""The packs a product is sold in and the tins that are left of it, in the business's units."""

import uuid
from datetime import date
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from clients.forms.fields import MeasureField, TypedNumberField
from jobs.models import Pack, Product, StockTin

MAX_TIN_LITRES = Decimal(1_000)


def litres_field(label: str, units: str, *, places: int, minimum: Decimal) -> MeasureField:
    return MeasureField(
        label=label,
        quantity="volume",
        units=units,
        places=places,
        maximum=MAX_TIN_LITRES,
        min_value=minimum,
        error_messages={
            "min_value": "Write how much it holds." if minimum else "This cannot be negative."
        },
    )


def price_field(currency: str) -> forms.DecimalField:
    return TypedNumberField(
        label=f"Price, {currency}",
        min_value=0,
        max_digits=10,
        decimal_places=2,
    )


class PackForm(forms.Form):
    """A size in which the product is sold."""

    def __init__(self, *args: Any, units: str, currency: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["litres"] = litres_field("Pack holds", units, places=3, minimum=Decimal("0.01"))
        self.fields["price"] = price_field(currency)


class PackChangeForm(forms.Form):
    """What a pack costs now, and whether it is still sold."""

    def __init__(self, data: Any = None, *, pack: Pack, currency: str) -> None:
        super().__init__(
            data,
            prefix=f"pack-{pack.pk}",
            initial={"price": pack.price, "is_active": pack.is_active},
        )
        self.pack = pack
        self.fields["price"] = price_field(currency)
        self.fields["is_active"] = forms.BooleanField(label="Still sold", required=False)


class TinForm(forms.Form):
    """A tin on the shelf; its colour is one of the product's, its batch may be new."""

    form_key = forms.UUIDField(widget=forms.HiddenInput, initial=uuid.uuid4)
    colour = forms.ChoiceField(label="Colour", required=False)
    batch = forms.CharField(label="Batch on the can", required=False, max_length=60)

    def __init__(self, *args: Any, product: Product, units: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        colours = product.colour_list
        choices = [("", "Choose…"), *((colour, colour) for colour in colours)]
        self.fields["colour"].choices = choices  # type: ignore[attr-defined]
        self.fields["colour"].required = len(colours) > 1
        self.fields["litres"] = litres_field("Left in it", units, places=2, minimum=Decimal("0.01"))
        if not colours:
            del self.fields["colour"]

    def clean_batch(self) -> str:
        code: str = self.cleaned_data["batch"]
        if "\x00" in code:
            raise ValidationError("This holds a character that cannot be stored.")
        return code


class TinChangeForm(forms.Form):
    """What is left in a tin."""

    def __init__(self, data: Any = None, *, tin: StockTin, units: str, today: date) -> None:
        super().__init__(data, prefix=f"tin-{tin.pk}", initial={"litres": tin.litres})
        self.tin = tin
        self.is_expired = tin.is_expired(today=today)
        self.is_stale = tin.is_stale(today=today)
        self.fields["litres"] = litres_field("Left", units, places=2, minimum=Decimal(0))
