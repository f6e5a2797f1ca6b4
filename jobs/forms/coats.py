"""The products of a job, one row each, and the shelf they are chosen from."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cached_property
from typing import Any, cast

from django import forms
from django.forms.formsets import formset_factory

from clients.forms.fields import MeasureField
from clients.models import User
from jobs.actions.jobs import CoatInput
from jobs.forms.formsets import BaseRowFormSet
from jobs.models import CoatApplied, Job, LastUsed, Product

COATS_PREFIX = "coats"
MAX_COAT_ROWS = 20
NOT_KNOWN = "unknown"  # a finish that went on and that nobody knows by name
COAT_FIELDS = ["product", "batch", "colour", "surface", "coats", "litres"]
FOLDED_FIELDS = ["colour", "coats", "surface"]


@dataclass(frozen=True)
class ProductChoices:
    """All products, read once for all rows; by product what was used of it lately."""

    products: Mapping[str, Product]
    used: Mapping[int, LastUsed] = field(default_factory=dict)

    @classmethod
    def load(cls) -> "ProductChoices":
        return cls({str(product.pk): product for product in Product.objects.all()})

    @classmethod
    def load_for_person(cls, person: User) -> "ProductChoices":
        """With batches and colours that this person used last, then those of the others."""
        return cls(cls.load().products, CoatApplied.objects.last_used(first_of=person.pk))

    @property
    def choices(self) -> list[Any]:
        """By kind; what is out of use comes last, for jobs of earlier years."""
        groups: dict[str, list[tuple[str, str]]] = {str(label): [] for label in Product.Kind.labels}
        for key, product in self.products.items():
            group = product.get_kind_display() if product.is_active else "Out of use"
            label = f"{product.name} ({product.maker})" if product.maker else product.name
            groups.setdefault(group, []).append((key, label))
        known = ((group, rows) for group, rows in groups.items() if rows)
        return [("", "Choose…"), *known, (NOT_KNOWN, "Not known")]

    @cached_property
    def suggestions(self) -> dict[str, dict[str, list[str]]]:
        """By field and product what is likely, the likeliest first."""
        found: dict[str, dict[str, list[str]]] = {"batches": {}, "colours": {}}
        for key, product in self.products.items():
            used = self.used.get(product.pk, LastUsed())
            found["batches"][key] = used.batches
            found["colours"][key] = list(dict.fromkeys([*used.colours, *product.colour_list]))
        return {
            name: {key: words for key, words in lists.items() if words}
            for name, lists in found.items()
        }

    @property
    def colours(self) -> list[str]:
        known = (product.colour_list for product in self.products.values())
        return sorted({colour for colours in known for colour in colours})


class CoatForm(forms.Form):
    """One product that went on."""

    product = forms.ChoiceField(
        label="Product",
        error_messages={
            "required": "Choose the product, or empty this row.",
            "invalid_choice": (
                "This product is not on file. Choose one from the list, or add it under Products."
            ),
        },
    )
    batch = forms.CharField(label="Batch", required=False, max_length=60)
    colour = forms.CharField(label="Colour", required=False, max_length=80)
    surface = forms.ChoiceField(
        label="Surface", choices=CoatApplied.Surface.choices, initial="boards"
    )
    coats = forms.IntegerField(
        label="Coats",
        required=False,
        help_text="Empty if nobody counted.",
        min_value=1,
        max_value=10,
        initial=1,
        widget=forms.NumberInput(attrs={"inputmode": "numeric", "data-told-as": "coats"}),
        error_messages={
            "min_value": "At least 1 coat.",
            "max_value": "At most 10 coats in one job.",
        },
    )

    def __init__(self, *args: Any, shelf: ProductChoices, units: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.shelf = shelf
        choices = self.fields["product"]
        choices.choices = shelf.choices  # type: ignore[attr-defined]
        choices.widget.attrs["data-lists"] = ""
        self.fields["litres"] = MeasureField(
            quantity="volume",
            units=units,
            label="Used",
            required=False,
            max_value=Decimal("9999"),
            min_value=Decimal("0.01"),
            error_messages={
                "min_value": "The quantity must be more than 0.",
                "max_value": "Too much for one deck.",
            },
        )
        self.suggest("batch", "batches", autocapitalize="characters")
        self.suggest("colour", "colours")

    def suggest(self, name: str, suggested: str, **attrs: str) -> None:
        """Beside the field what is likely of the row's product: the datalist `batches-7`."""
        chosen = str(self["product"].value() or "")
        is_known = chosen in self.shelf.suggestions[suggested]
        self.fields[name].widget.attrs.update(
            {
                "list": f"{suggested}-{chosen}" if is_known else suggested,
                "data-listed": suggested,
                "autocomplete": "off",
                **attrs,
            }
        )

    @property
    def is_unfolded(self) -> bool:
        """Whether colour, coats and surface ask for somebody: a mistake, or no colour yet."""
        if any(self[name].errors for name in FOLDED_FIELDS):
            return True
        chosen = str(self["product"].value() or "")
        is_coloured = chosen in self.shelf.suggestions["colours"]
        return is_coloured and not self["colour"].value()

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        if values.get("product") == NOT_KNOWN and values.get("batch"):
            self.add_error("batch", "A batch is of a product: choose it, or empty this field.")
        return values

    def coat(self) -> CoatInput:
        values = self.cleaned_data
        return CoatInput(
            product=self.shelf.products.get(values["product"]),
            batch_code=values["batch"],
            colour=values["colour"],
            surface=values["surface"],
            coats=values["coats"],
            litres=values["litres"],
        )


class BaseCoatFormSet(BaseRowFormSet):
    filled_by = ("product", "batch", "colour", "litres")
    row_label = "Product"

    def coats(self) -> list[CoatInput]:
        """Rows that say something, in order."""
        return [cast(CoatForm, form).coat() for form in self.filled_forms]


CoatFormSet = formset_factory(
    CoatForm,
    formset=BaseCoatFormSet,
    extra=0,
    can_delete=True,
    max_num=MAX_COAT_ROWS,
    absolute_max=MAX_COAT_ROWS + 1,
)


def bound_coat_formset(
    data: Mapping[str, Any], shelf: ProductChoices, units: str
) -> BaseCoatFormSet:
    return cast(
        BaseCoatFormSet,
        CoatFormSet(data, prefix=COATS_PREFIX, form_kwargs={"shelf": shelf, "units": units}),
    )


def unbound_coat_formset(
    initial: Sequence[Mapping[str, Any]], shelf: ProductChoices, units: str
) -> BaseCoatFormSet:
    """Rows to fill in, at least one."""
    rows = list(initial)[:MAX_COAT_ROWS] or [{}]
    return cast(
        BaseCoatFormSet,
        CoatFormSet(
            initial=rows, prefix=COATS_PREFIX, form_kwargs={"shelf": shelf, "units": units}
        ),
    )


def job_coat_rows(job: Job) -> list[dict[str, Any]]:
    """A job's rows as they are edited."""
    return [
        {
            **repeated_coat_row(coat),
            "product": str(coat.product_id or NOT_KNOWN),
            "coats": coat.coats,
            "batch": coat.batch.code if coat.batch else "",
            "litres": coat.litres,
        }
        for coat in job.coats_applied.all()
    ]


def repeated_coat_row(coat: CoatApplied) -> dict[str, Any]:
    """A row of the last job as the start of the next:
    not its batch and litres, which are new each time."""
    return {
        "product": str(coat.product_id or ""),
        "colour": coat.colour,
        "surface": coat.surface,
        "coats": coat.coats or 1,
    }
