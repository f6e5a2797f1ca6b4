"""The products of a job, one row each, the shelf they are chosen from and what they went on."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cached_property
from typing import Any, cast

from django import forms
from django.core.exceptions import ValidationError
from django.forms.formsets import formset_factory

from clients import display
from clients.forms.fields import MeasureField
from clients.models import Deck, Surface, User, ordered_surfaces
from jobs.actions.jobs import CoatInput
from jobs.can_codes import CanCodeError, read_can_code
from jobs.forms.formsets import BaseRowFormSet, posted_rows
from jobs.models import CoatApplied, Job, LastUsed, Product

COATS_PREFIX = "coats"
MAX_COAT_ROWS = 20
NOT_KNOWN = "unknown"  # a finish that went on and that nobody knows by name
COAT_FIELDS = ["product", "batch", "colour", "surfaces", "coats", "litres", "can_code"]
FOLDED_FIELDS = ["colour", "coats", "surfaces", "can_code"]


@dataclass(frozen=True)
class ProductChoices:
    """All products, read once for all rows; by product what was used of it lately."""

    products: Mapping[str, Product]
    used: Mapping[int, LastUsed] = field(default_factory=dict)

    @classmethod
    def load(cls) -> "ProductChoices":
        return cls({str(row.pk): row for row in Product.objects.with_can_codes()})

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
        found: dict[str, dict[str, list[str]]] = {"batches": {}, "colours": {}, "can-codes": {}}
        for key, product in self.products.items():
            used = self.used.get(product.pk, LastUsed())
            found["batches"][key] = used.batches
            found["colours"][key] = list(dict.fromkeys([*used.colours, *product.colour_list]))
            found["can-codes"][key] = product.gtins
        return {
            name: {key: words for key, words in lists.items() if words}
            for name, lists in found.items()
        }

    def product_of_can(self, gtin: str) -> Product | None:
        return next((row for row in self.products.values() if gtin in row.gtins), None)

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
    coats = forms.IntegerField(
        label="Coats",
        required=False,
        help_text="Empty if nobody counted.",
        min_value=1,
        max_value=10,
        initial=1,
        widget=forms.NumberInput(attrs={"inputmode": "numeric", "data-told-as": "coat|coats"}),
        error_messages={
            "min_value": "At least 1 coat.",
            "max_value": "At most 10 coats in one job.",
        },
    )
    can_code = forms.CharField(
        label="New code on the can",
        required=False,
        max_length=40,
        help_text="Kept with the product, so that the camera finds it next time.",
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )
    surfaces = forms.MultipleChoiceField(
        label="What it went on",
        widget=forms.CheckboxSelectMultiple(
            attrs={"class": "segments", "data-told-all": "Whole deck"}
        ),
        error_messages={
            "required": "Tick what it went on.",
            "invalid_choice": "This deck has no %(value)s in the book. Write its size first.",
        },
    )

    def __init__(
        self,
        *args: Any,
        shelf: ProductChoices,
        surfaces: Sequence[str],
        units: str,
        planned: Mapping[int, Decimal],
        **kwargs: Any,
    ) -> None:
        """`surfaces` are those of the deck; they are asked for where there are several. `planned`:
        number of a product → litres."""
        super().__init__(*args, **kwargs)
        self.shelf = shelf
        self.deck_surfaces = surfaces
        went_on = self.fields["surfaces"]
        went_on.choices = [(name, Surface(name).label) for name in surfaces]  # type: ignore[attr-defined]
        went_on.initial = list(surfaces)
        went_on.required = len(surfaces) > 1
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
        self.say_planned(planned)
        self.suggest("batch", "batches", autocapitalize="characters")
        self.suggest("colour", "colours")

    def say_planned(self, planned: Mapping[int, Decimal]) -> None:
        """Beside the field, never in it: what went on is what somebody measured."""
        product = self.shelf.products.get(str(self["product"].value()))
        litres = planned.get(product.pk) if product else None
        if litres:
            words = display.format_measure(litres, "volume")
            self.fields["litres"].help_text = f"{words} planned"

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
        """Whether colour, coats and surfaces ask for somebody: a mistake, or no colour yet."""
        if any(self[name].errors for name in FOLDED_FIELDS):
            return True
        if self["can_code"].value():
            return True
        chosen = str(self["product"].value() or "")
        is_coloured = chosen in self.shelf.suggestions["colours"]
        return is_coloured and not self["colour"].value()

    def clean_can_code(self) -> str:
        typed: str = self.cleaned_data["can_code"]
        if not typed:
            return ""
        try:
            return read_can_code(typed)
        except CanCodeError as error:
            raise ValidationError(str(error)) from error

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        self.check_can_code(values)
        if values.get("product") == NOT_KNOWN and values.get("batch"):
            self.add_error("batch", "A batch is of a product: choose it, or empty this field.")
        return values

    def check_can_code(self, values: dict[str, Any]) -> None:
        code = values.get("can_code")
        if not code:
            return
        known = self.shelf.product_of_can(code)
        if known and values.get("product") != str(known.pk):
            self.add_error(
                "can_code", f"This code is of {known}. Choose that, or empty this field."
            )
        elif values.get("product") == NOT_KNOWN:
            self.add_error("can_code", "Choose the product that this code is of.")

    def coat(self) -> CoatInput:
        values = self.cleaned_data
        return CoatInput(
            product=self.shelf.products.get(values["product"]),
            batch_code=values["batch"],
            colour=values["colour"],
            surfaces=values["surfaces"] or self.deck_surfaces,
            coats=values["coats"],
            litres=values["litres"],
            can_code=values["can_code"],
        )


@dataclass(frozen=True)
class RowChoices:
    """What a row is chosen from: products, surfaces of the deck; the units that are typed; and what
    was planned (number of a product → litres)."""

    shelf: ProductChoices
    surfaces: Sequence[str]
    units: str
    planned: Mapping[int, Decimal] = field(default_factory=dict)

    @classmethod
    def load(
        cls,
        deck: Deck | None,
        units: str,
        *,
        job: Job | None = None,
        person: User | None = None,
        planned: Mapping[int, Decimal] | None = None,
    ) -> "RowChoices":
        """Of a deck, or a new one of which only the boards are written; of a job that is corrected
        also what its rows say; with what the person who logs used last."""
        noted = [coat.surfaces for coat in job.coats_applied.all()] if job else []
        known = [deck.surfaces] if deck else [["boards"]]
        surfaces = ordered_surfaces(name for names in [*known, *noted] for name in names)
        shelf = ProductChoices.load_for_person(person) if person else ProductChoices.load()
        return cls(shelf, surfaces, units, planned or {})

    @property
    def form_kwargs(self) -> dict[str, Any]:
        return {
            "shelf": self.shelf,
            "surfaces": self.surfaces,
            "units": self.units,
            "planned": self.planned,
        }


class BaseCoatFormSet(BaseRowFormSet):
    filled_by = ("product", "batch", "colour", "litres", "can_code")
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


def bound_coat_formset(data: Mapping[str, Any], choices: RowChoices) -> BaseCoatFormSet:
    return cast(
        BaseCoatFormSet,
        CoatFormSet(data, prefix=COATS_PREFIX, form_kwargs=choices.form_kwargs),
    )


def unbound_coat_formset(
    initial: Sequence[Mapping[str, Any]], choices: RowChoices
) -> BaseCoatFormSet:
    """Rows to fill in, at least one."""
    rows = list(initial)[:MAX_COAT_ROWS] or [{}]
    return cast(
        BaseCoatFormSet,
        CoatFormSet(initial=rows, prefix=COATS_PREFIX, form_kwargs=choices.form_kwargs),
    )


def posted_coat_rows(data: Mapping[str, Any]) -> list[dict[str, Any]]:
    """The rows of a page that was sent, unchecked, without those that were left out."""
    return posted_rows(data, COATS_PREFIX, COAT_FIELDS, many=["surfaces"], maximum=MAX_COAT_ROWS)


def job_coat_rows(job: Job) -> list[dict[str, Any]]:
    """A job's rows as they are edited."""
    return [
        {
            **repeated_coat_row(coat),
            "product": str(coat.product_id or NOT_KNOWN),
            "surfaces": coat.surfaces,
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
        "coats": coat.coats or 1,
    }


def repeated_coat_rows(coats: Iterable[CoatApplied]) -> list[dict[str, Any]]:
    """The rows of the last job as the start of the next. Only where its products went on different
    surfaces do they so again; else on all that the deck has."""
    known = [coat for coat in coats if coat.product]
    differ = any(coat.surfaces != known[0].surfaces for coat in known)
    return [
        repeated_coat_row(coat) | ({"surfaces": coat.surfaces} if differ else {}) for coat in known
    ]
