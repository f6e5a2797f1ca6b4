"""A product with the figures of its data sheet, in the business's units, and the dates of a batch."""

from decimal import Decimal
from typing import Any

from django import forms

from jobs.forms.fields import DayField, MeasureField
from jobs.models import Batch, Product

SHEET = [
    "name", "maker", "kind", "finish_class", "base", "pigment", "colours", "coats_usual", "recoat_hours", "walk_hours",
    "furniture_days", "dwell_minutes", "data_sheet_url", "cautions", "is_active",
]  # fmt: skip
MEASURES = {
    "spread_m2_per_l": ("spread", "Spread rate a coat", 2, Decimal("0.1"), Decimal("100")),
    "minimum_c": ("temperature", "Lowest temperature", 1, Decimal("-30"), Decimal("60")),
    "maximum_c": ("temperature", "Highest temperature", 1, Decimal("-30"), Decimal("60")),
}


class ProductForm(forms.ModelForm):
    """A finish needs its class; the others have none."""

    data_sheet_url = forms.URLField(label="Data sheet (address)", required=False, assume_scheme="https")

    class Meta:
        model = Product
        fields = SHEET
        widgets = {
            "kind": forms.RadioSelect(attrs={"class": "segments"}),
            "cautions": forms.Textarea(attrs={"rows": 3}),
        }
        labels = {"coats_usual": "Usual number of coats", "dwell_minutes": "Minutes to act"}
        help_texts = {
            "finish_class": "For finishes only: how it protects and fails. The forecast's first question.",
            "cautions": "What could hurt somebody, in the words of the data sheet.",
        }

    def __init__(self, *args: Any, units: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["coats_usual"].min_value = 1  # type: ignore[attr-defined]
        for name, (quantity, label, places, least, most) in MEASURES.items():
            self.fields[name] = MeasureField(
                quantity=quantity, units=units, label=label, places=places, required=False, min_value=least,
                max_value=most, initial=getattr(self.instance, name),
                error_messages={"min_value": "Too little to be right.", "max_value": "Too much to be right."},
            )  # fmt: skip

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        if values.get("kind") != Product.Kind.FINISH:
            values["finish_class"] = ""
        elif not values.get("finish_class") and "finish_class" not in self.errors:
            self.add_error("finish_class", "Choose how this finish protects.")
        least, most = values.get("minimum_c"), values.get("maximum_c")
        if least is not None and most is not None and least > most:
            self.add_error("maximum_c", "The highest temperature must be above the lowest.")
        for name in MEASURES:
            setattr(self.instance, name, values.get(name))
        return values


class BatchForm(forms.ModelForm):
    """When a batch came and when it expires."""

    received_on = DayField(label="Received on", required=False)
    expires_on = DayField(label="Expires on", required=False)

    class Meta:
        model = Batch
        fields = ["received_on", "expires_on"]
