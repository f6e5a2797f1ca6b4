"""A price list with its rates, zones and taxes, in the units of the business."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from typing import Any, cast

from django import forms
from django.forms.formsets import formset_factory

from clients.forms.business import MONTH_NAMES
from clients.forms.fields import MeasureField, NamedByAction, needed_with_others
from clients.models import Business
from clients.notation import QUANTITIES
from jobs.actions.prices import PriceListRows
from jobs.forms.fields import DayField
from jobs.forms.formsets import MAX_FORM_ROWS, BaseRowFormSet, PageForms, amount_field, posted_rows
from jobs.models import PriceList, Rate

RATE_QUANTITIES = {"m2": "area", "m": "length", "screen": "area"}
UNIT_SUFFIXES = {"m": " rail", "screen": " screen"}
TRIMMED_FIELDS = [
    "high_percent",
    "markup_percent",
    "off_season_percent",
    "early_percent",
    "travel_free_km",
    "deposit_percent",
]
UNITS_BY_TASK = {
    "set_up": {"m2", "job", "hour"},
    "rails": {"job"},
    "stairs": {"job"},
    "hourly": {"hour"},
}
MAIN_TASKS = {"clean", "strip", "coat"}
DEFAULT_TASK_UNITS = set(Rate.Per)
# A list to begin with: what is usually charged for, prices still to be written.
BLANK_RATES = [
    ("set_up", "job"),
    ("clean", "m2"),
    ("strip", "m2"),
    ("brighten", "m2"),
    ("sand", "m2"),
    ("coat", "m2"),
]


def percentage_form_field(
    label: str, maximum: Decimal | int = Decimal("999"), help_text: str = ""
) -> forms.DecimalField:
    return amount_field(
        label, places=3, maximum=Decimal(maximum), required=False, initial=0, help_text=help_text
    )


def check_deposit(form: forms.BaseForm, values: Mapping[str, Any]) -> None:
    """It is asked for in one way."""
    if values.get("deposit_percent") and values.get("deposit_amount"):
        form.add_error("deposit_amount", "Write a share or an amount, not both.")


class PriceListForm(NamedByAction, forms.ModelForm):
    """Everything on a list but its rows."""

    named_by = {"valid_from"}

    valid_from = DayField(label="From", help_text="Until the next list begins.")
    valid_days = forms.IntegerField(
        label="Days that an offer is valid", min_value=1, max_value=365, initial=30
    )
    minimum_charge = amount_field(
        "Minimum charge", required=False, help_text="Without travel. A line tops it up."
    )
    travel_free_km = amount_field(
        "Kilometres without charge",
        places=1,
        required=False,
        help_text="One way; only those beyond cost.",
    )
    travel_per_km = amount_field(
        "Travel, each kilometre", required=False, help_text="One way, for each day on site."
    )
    high_percent = percentage_form_field("More for a high deck, %")
    markup_percent = percentage_form_field(
        "Mark-up on materials, %", help_text="On what a litre costs in the packs that are bought."
    )
    early_percent = percentage_form_field(
        "Early discount, %", 99, "If the offer ends before the deck is due."
    )
    off_season_percent = percentage_form_field(
        "Off-season discount, %", 99, "If the work falls into one of these months."
    )
    deposit_percent = percentage_form_field(
        "Deposit asked, %", 100, "Of the total, when the client accepts."
    )
    deposit_amount = amount_field(
        "or an amount", required=False, help_text="Your law may set a limit."
    )
    off_season_months = forms.TypedMultipleChoiceField(
        label="Off-season",
        coerce=int,
        required=False,
        empty_value=[],
        choices=[(place, month[:3]) for place, month in enumerate(MONTH_NAMES, 1)],
        widget=forms.CheckboxSelectMultiple(attrs={"class": "segments"}),
    )

    class Meta:
        model = PriceList
        fields = [
            "valid_from",
            "note",
            "minimum_charge",
            "travel_free_km",
            "travel_per_km",
            "high_percent",
            "markup_percent",
            "off_season_months",
            "off_season_percent",
            "early_percent",
            "tax_mode",
            "tax_rounding",
            "valid_days",
            "deposit_percent",
            "deposit_amount",
        ]
        widgets = {
            "tax_mode": forms.RadioSelect(attrs={"class": "segments"}),
            "tax_rounding": forms.RadioSelect(attrs={"class": "segments"}),
        }
        labels = {"tax_mode": "Prices", "tax_rounding": "Tax is rounded"}
        help_texts = {
            "tax_rounding": "Half up to the cent, either way. Your tax office says which it wants."
        }

    def __init__(self, *args: Any, units: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in TRIMMED_FIELDS:
            self.initial[name] = trimmed_decimal(Decimal(self.initial.get(name) or 0))
        self.fields["high_above_m"] = MeasureField(
            quantity="length",
            units=units,
            label="A deck is high above",
            required=False,
            min_value=Decimal(0),
            max_value=Decimal(99),
            initial=self.instance.high_above_m,
        )
        needed_with_others(self.fields["high_above_m"])

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        for name, value in values.items():
            if value is None and name not in {"high_above_m", "valid_from"}:
                values[name] = Decimal(0)
        if (
            values.get("high_percent")
            and values.get("high_above_m") is None
            and "high_above_m" not in self.errors
        ):
            self.add_error("high_above_m", "Write from which height on a deck is high.")
        check_deposit(self, values)
        self.instance.high_above_m = values.get("high_above_m")
        return values


class RateForm(forms.Form):
    """A task's price; a row without a price is left out."""

    task = forms.ChoiceField(label="Task", choices=Rate.Task.choices)
    per = forms.ChoiceField(label="Per")
    amount = needed_with_others(amount_field("Price", maximum=Decimal(99_999), required=False))
    minutes = amount_field("Minutes", maximum=Decimal(900), required=False)

    def __init__(self, *args: Any, units: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.units = units
        self.fields["per"].choices = rate_unit_choices(units)  # type: ignore[attr-defined]
        if self.is_main:
            unit = dict(rate_unit_choices(units)).get(self["per"].value(), "")
            task = dict(Rate.Task.choices)[self["task"].value()]
            self.fields["amount"].label = f"{task}, per {unit}" if unit else task

    @property
    def is_main(self) -> bool:
        """Whether it is one of the prices without which no offer comes about."""
        return self["task"].value() in MAIN_TASKS

    def has_changed(self) -> bool:
        """Task and unit are there from the start: a row counts once a number stands in it."""
        return bool({"amount", "minutes"} & set(self.changed_data))

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        if self.has_changed() and values.get("amount") is None and "amount" not in self.errors:
            self.add_error("amount", "Write the price; 0 if it is part of another one.")
        if values.get("per") not in UNITS_BY_TASK.get(values.get("task", ""), DEFAULT_TASK_UNITS):
            self.add_error("per", "This unit does not fit this task.")
        return values

    def row(self) -> dict[str, Any]:
        """As it is kept, in SI."""
        values = self.cleaned_data
        per = self.cleaned_data["per"]
        return {
            "task": values["task"],
            "per": per,
            "amount": rate_to_si(values["amount"], per, self.units),
            "minutes": rate_to_si(values["minutes"] or Decimal(0), per, self.units),
        }


def rate_unit_choices(units: str) -> list[tuple[str, str]]:
    return [
        (
            key,
            f"{QUANTITIES[RATE_QUANTITIES[key]].symbol(units)}{UNIT_SUFFIXES.get(key, '')}"
            if key in RATE_QUANTITIES
            else label,
        )
        for key, label in Rate.Per.choices
    ]


def rate_to_si(price: Decimal, per: str, units: str) -> Decimal:
    """A price a ft² as a price a m², to the cent: it reads the same again."""
    value = (
        QUANTITIES[RATE_QUANTITIES[per]].from_si(price, units) if per in RATE_QUANTITIES else price
    )
    return value.quantize(Decimal("0.01"), rounding=ROUND_HALF_UP)


def rate_from_si(price: Decimal, per: str, units: str) -> Decimal:
    value = (
        QUANTITIES[RATE_QUANTITIES[per]].to_si(price, units) if per in RATE_QUANTITIES else price
    )
    return value.quantize(Decimal("0.01"), rounding=ROUND_HALF_UP)


class ZoneForm(forms.Form):
    town = forms.CharField(label="Town", max_length=120)
    amount = amount_field("Charge")

    def row(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in ("town", "amount")}


class TaxForm(forms.Form):
    name = forms.CharField(label="Tax", max_length=40, help_text="Such as HST.")
    percent = percentage_form_field("Per cent", 100)
    on_work = forms.BooleanField(label="On work", required=False, initial=True)
    on_materials = forms.BooleanField(label="On materials", required=False, initial=True)
    on_travel = forms.BooleanField(label="On travel", required=False, initial=True)

    def has_changed(self) -> bool:
        return bool({"name", "percent"} & set(self.changed_data))

    def row(self) -> dict[str, Any]:
        names = ("name", "percent", "on_work", "on_materials", "on_travel")
        return {name: self.cleaned_data[name] for name in names} | {
            "percent": self.cleaned_data["percent"] or Decimal(0)
        }


class BaseUniqueFormSet(BaseRowFormSet):
    """Rows of which no two may be alike in what names them."""

    unique_fields: tuple[str, ...] = ()
    duplicate_message = ""

    @property
    def known_by(self) -> tuple[str, ...]:
        return self.unique_fields

    def clean(self) -> None:
        seen = set()
        for form in self.filled_forms:
            key = tuple(str(form.cleaned_data.get(name, "")).lower() for name in self.unique_fields)
            if key in seen and form.is_valid():
                form.add_error(self.unique_fields[0], self.duplicate_message)
            seen.add(key)


class BaseRateFormSet(BaseUniqueFormSet):
    unique_fields = ("task", "per")
    duplicate_message = "This task has a price for this unit already."
    filled_by = ("amount", "minutes")
    row_label = "Price of a task"


class BaseZoneFormSet(BaseUniqueFormSet):
    unique_fields = ("town",)
    duplicate_message = "This town is there already."
    filled_by = ("town", "amount")
    row_label = "Town"


class BaseTaxFormSet(BaseUniqueFormSet):
    unique_fields = ("name",)
    duplicate_message = "This tax is there already."
    filled_by = ("name", "percent")
    row_label = "Tax"


def removable_formset(form: type[forms.Form], rows: type[BaseRowFormSet]) -> type[BaseRowFormSet]:
    return cast(
        type[BaseRowFormSet],
        formset_factory(
            form,
            formset=rows,
            extra=0,
            can_delete=True,
            max_num=MAX_FORM_ROWS,
            absolute_max=MAX_FORM_ROWS + 1,
        ),
    )


RateFormSet = removable_formset(RateForm, BaseRateFormSet)
ZoneFormSet = removable_formset(ZoneForm, BaseZoneFormSet)
TaxFormSet = removable_formset(TaxForm, BaseTaxFormSet)
PRICE_ROW_FIELDS = {
    "rates": ["task", "per", "amount", "minutes"],
    "zones": ["town", "amount"],
    "taxes": ["name", "percent", "on_work", "on_materials", "on_travel"],
}


@dataclass
class PriceForms(PageForms):
    """The page of a price list as one thing."""

    form: PriceListForm
    rates: BaseRowFormSet
    zones: BaseRowFormSet
    taxes: BaseRowFormSet

    @property
    def single_forms(self) -> list[PriceListForm]:
        return [self.form]

    @property
    def formsets(self) -> list[BaseRowFormSet]:
        return [self.rates, self.zones, self.taxes]

    def rows(self) -> PriceListRows:
        return PriceListRows(
            *(
                [form.row() for form in part.filled_forms]  # type: ignore[attr-defined]
                for part in self.formsets
            )
        )


def unbound_price_forms(
    price_list: PriceList, business: Business, *, like: PriceList | None = None
) -> PriceForms:
    """The page as it opens; `like` gives the rows of a list that is not saved yet."""
    source = like or (price_list if price_list.pk else None)
    units = business.units
    form = PriceListForm(instance=price_list, units=units)
    rows = initial_price_rows(source, units)
    return PriceForms(form, *unbound_price_formsets(rows, units))


def initial_price_rows(source: PriceList | None, units: str) -> dict[str, list[dict[str, Any]]]:
    if source is None:
        return {
            "rates": [{"task": task, "per": per} for task, per in BLANK_RATES],
            "zones": [],
            "taxes": [{}],
        }
    return {
        "rates": [
            {
                "task": rate.task,
                "per": rate.per,
                "amount": rate_from_si(rate.amount, rate.per, units),
                "minutes": trimmed_decimal(rate_from_si(rate.minutes, rate.per, units)),
            }
            for rate in source.rates.all()
        ],
        "zones": [{"town": zone.town, "amount": zone.amount} for zone in source.zones.all()],
        "taxes": (
            [
                {name: getattr(tax, name) for name in PRICE_ROW_FIELDS["taxes"]}
                | {"percent": trimmed_decimal(tax.percent)}
                for tax in source.taxes.all()
            ]
            or [{}]
        ),
    }


def displayed_rates(price_list: PriceList, units: str) -> list[dict[str, Any]]:
    """The rates as they are read, with task and unit in words."""
    per = dict(rate_unit_choices(units))
    task = dict(Rate.Task.choices)
    rows = initial_price_rows(price_list, units)["rates"]
    return [row | {"name": task[row["task"]], "unit": per[row["per"]]} for row in rows]


def trimmed_decimal(value: Decimal) -> str:
    return f"{value.normalize():f}" if value else "0"


def unbound_price_formsets(
    rows: Mapping[str, list[dict[str, Any]]], units: str
) -> tuple[BaseRowFormSet, BaseRowFormSet, BaseRowFormSet]:
    return (
        RateFormSet(initial=rows["rates"], prefix="rates", form_kwargs={"units": units}),
        ZoneFormSet(initial=rows["zones"], prefix="zones"),
        TaxFormSet(initial=rows["taxes"], prefix="taxes"),
    )


def bound_price_forms(
    data: Mapping[str, Any], price_list: PriceList, business: Business
) -> PriceForms:
    units = business.units
    return PriceForms(
        PriceListForm(data, instance=price_list, units=units),
        RateFormSet(data, prefix="rates", form_kwargs={"units": units}),
        ZoneFormSet(data, prefix="zones"),
        TaxFormSet(data, prefix="taxes"),
    )


def price_forms_with_row(
    data: Mapping[str, Any], price_list: PriceList, business: Business
) -> PriceForms:
    """The page as it was sent, unchecked, with one more row of the kind asked for (works without
    scripts)."""
    form = PriceListForm(instance=price_list, units=business.units)
    form.initial = {
        name: data[name] for name in form.fields if name in data and name != "off_season_months"
    }
    if hasattr(data, "getlist"):
        form.initial["off_season_months"] = data.getlist("off_season_months")
    rows = {part: posted_rows(data, part, names) for part, names in PRICE_ROW_FIELDS.items()}
    wanted = data.get("add_row", "")
    if wanted in rows:
        rows[wanted].append({})
    return PriceForms(form, *unbound_price_formsets(rows, business.units))
