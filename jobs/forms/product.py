"""A product with the figures of its data sheet, in the business's units, and the dates of a
batch."""

from decimal import Decimal
from typing import Any

from babel import Locale
from django import forms
from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import ProhibitNullCharactersValidator

from clients import display
from clients.forms.fields import MeasureField, NamedByAction, TypedNumberField, textarea
from clients.notation import supported_language
from jobs.can_codes import CanCodeError, printed_can_code, read_can_code
from jobs.forms.fields import DayField
from jobs.models import Batch, CanCode, Product

PRODUCT_FIELDS = [
    "name",
    "maker",
    "supplier",
    "kind",
    "finish_class",
    "base",
    "pigment",
    "colours",
    "coats_usual",
    "recoat_hours",
    "walk_hours",
    "furniture_days",
    "dwell_minutes",
    "film_mm",
    "loss_percent",
    "data_sheet_url",
    "cautions",
    "is_active",
]
FINISH_FIELDS = {
    "finish_class",
    "pigment",
    "colours",
    "coats_usual",
    "recoat_hours",
    "walk_hours",
    "furniture_days",
}
CHEMICAL_FIELDS = {"film_mm", "dwell_minutes"}
PRODUCT_MEASURES = {
    "spread_m2_per_l": ("spread", "Coverage per coat", 2, Decimal("0.1"), Decimal("100")),
    "minimum_c": ("temperature", "Lowest temperature", 1, Decimal("-30"), Decimal("60")),
    "maximum_c": ("temperature", "Highest temperature", 1, Decimal("-30"), Decimal("60")),
}


def duration_field(label: str, largest: int = 9999) -> forms.DecimalField:
    return TypedNumberField(
        label=label, required=False, min_value=0, max_value=largest, decimal_places=1
    )


def other_languages() -> list[tuple[str, str]]:
    """Code and name of each language of clients beside the one the business writes."""
    own = supported_language(display.current_business().locale)
    return [
        (code, str(Locale(code).get_display_name(settings.LANGUAGE_CODE)))
        for code, _ in settings.LANGUAGES
        if code != own
    ]


def caution_field(code: str) -> str:
    return f"cautions_{code}"


class ProductForm(NamedByAction, forms.ModelForm):
    """What a data sheet says of that kind of product; what does not belong to it is not asked."""

    coats_usual = forms.IntegerField(
        label="Usual number of coats", min_value=1, max_value=10, initial=2
    )
    recoat_hours = duration_field("Hours between coats")
    walk_hours = duration_field("Hours before walking")
    furniture_days = duration_field("Days before furniture", largest=999)
    film_mm = TypedNumberField(
        label="Wet film of one application, mm",
        required=False,
        min_value=Decimal("0.01"),
        max_value=Decimal(10),
        decimal_places=2,
        help_text=("1 mm (39 mil) is 1 litre per square metre."),
    )
    loss_percent = forms.IntegerField(
        label="Lost in tray and tool, %",
        required=False,
        min_value=0,
        max_value=90,
        initial=0,
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
        help_text="Brush and roller often 10 to 15, airless spray about 30.",
    )
    can_codes = forms.CharField(
        label="Codes on its cans",
        required=False,
        max_length=600,
        help_text="The digits under the bars, a code for each size, separated by commas.",
    )
    data_sheet_url = forms.URLField(
        label="Data sheet (address)", required=False, assume_scheme="https"
    )

    class Meta:
        model = Product
        fields = PRODUCT_FIELDS
        widgets = {
            "kind": forms.HiddenInput,
            "cautions": textarea(3),
        }
        labels = {"dwell_minutes": "Minutes to act"}
        help_texts = {
            "finish_class": ("How it protects and fails. The forecast's first question."),
            "cautions": "What could hurt somebody, in the words of the data sheet.",
        }

    def __init__(self, *args: Any, units: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, (quantity, label, places, least, most) in PRODUCT_MEASURES.items():
            self.fields[name] = MeasureField(
                quantity=quantity,
                units=units,
                label=label,
                places=places,
                required=False,
                min_value=least,
                max_value=most,
                initial=getattr(self.instance, name),
                error_messages={
                    "min_value": "Too little to be right.",
                    "max_value": "Too much to be right.",
                },
            )
        if self.instance.pk:
            gtins = self.instance.can_codes.values_list("gtin", flat=True)
            self.fields["can_codes"].initial = ", ".join(map(printed_can_code, gtins))
        for name in CHEMICAL_FIELDS if self.is_finish else FINISH_FIELDS:
            del self.fields[name]
        if self.is_finish:
            self.fields["finish_class"].required = True
            message = "Choose how this finish protects."
            self.fields["finish_class"].error_messages["required"] = message
        for code, name in other_languages():
            self.fields[caution_field(code)] = forms.CharField(
                label=f"Cautions in {name}",
                required=False,
                max_length=2_000,
                widget=textarea(3),
                initial=self.instance.cautions_translated.get(code, ""),
                help_text="For clients who read it.",
                validators=[ProhibitNullCharactersValidator()],
            )

    @property
    def is_finish(self) -> bool:
        """By the kind that was sent, else by the one that the product has."""
        return self["kind"].value() not in set(Product.Kind) - {Product.Kind.FINISH}

    @property
    def translated_cautions(self) -> list[forms.BoundField]:
        return [self[caution_field(code)] for code, _ in other_languages()]

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        values["cautions_translated"] = {
            code: words
            for code, _ in other_languages()
            if (words := values.pop(caution_field(code), ""))
        }
        if not self.is_finish:
            values["finish_class"] = ""
        least = values.get("minimum_c")
        most = values.get("maximum_c")
        if least is not None and most is not None and least > most:
            self.add_error("maximum_c", "The highest temperature must be above the lowest.")
        for name in PRODUCT_MEASURES:
            setattr(self.instance, name, values.get(name))
        return values

    def clean_can_codes(self) -> list[str]:
        typed = self.cleaned_data["can_codes"].replace(";", ",").split(",")
        try:
            gtins = [read_can_code(code) for code in typed if code.strip()]
        except CanCodeError as error:
            raise ValidationError(str(error)) from error
        taken = CanCode.objects.filter(gtin__in=gtins).exclude(product=self.instance.pk)
        if other := taken.select_related("product").first():
            raise ValidationError(f"The code {other.printed} is of {other.product}.")
        return gtins

    def clean_loss_percent(self) -> int:
        return self.cleaned_data["loss_percent"] or 0


class BatchForm(forms.ModelForm):
    """When a batch came and when it expires."""

    received_on = DayField(label="Received on", required=False)
    expires_on = DayField(label="Expires on", required=False)

    class Meta:
        model = Batch
        fields = ["received_on", "expires_on"]
