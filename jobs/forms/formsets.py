"""Rows of a form that a person may add to and leave out, with and without scripts;
and pages of several forms."""

from collections.abc import Collection, Mapping, Sequence
from decimal import Decimal
from typing import Any

from django import forms
from django.forms.formsets import BaseFormSet
from django.utils.datastructures import MultiValueDict

from clients.forms.fields import TypedNumberField

MAX_FORM_ROWS = 60
MAX_AMOUNT = Decimal("9999999")


class BaseRowFormSet(BaseFormSet):
    """Bound rows have no initial values, so every row in which something was typed counts."""

    @property
    def filled_forms(self) -> list[forms.Form]:
        """Rows that say something and were not left out, in order."""
        return [
            form for form in self.forms if form.has_changed() and form not in self.deleted_forms
        ]

    def add_fields(self, form: forms.Form, index: int | None) -> None:
        super().add_fields(form, index)
        form.fields["DELETE"].label = "Remove"


class PageForms:
    """A page of several forms as one thing:
    those that stand alone and those with rows, in the order of the page."""

    @property
    def single_forms(self) -> Sequence[forms.BaseForm]:
        raise NotImplementedError

    @property
    def formsets(self) -> Sequence[BaseFormSet]:
        raise NotImplementedError

    def is_valid(self) -> bool:
        """All are looked at, so that every mistake is named at once."""
        looked_at = [
            *(form.is_valid() for form in self.single_forms),
            *(formset.is_valid() for formset in self.formsets),
        ]
        return all(looked_at)

    @property
    def has_errors(self) -> bool:
        if any(form.errors for form in self.single_forms):
            return True
        return any(any(formset.errors) or formset.non_form_errors() for formset in self.formsets)


def amount_field(
    label: str,
    *,
    minimum: Decimal | int | None = 0,
    maximum: Decimal = MAX_AMOUNT,
    places: int = 2,
    **kwargs: Any,
) -> forms.DecimalField:
    """An amount, a quantity or a percentage."""
    return TypedNumberField(
        label=label,
        min_value=minimum,
        max_value=maximum,
        decimal_places=places,
        error_messages={"min_value": "This cannot be negative."},
        **kwargs,
    )


def posted_rows(
    data: Mapping[str, Any],
    prefix: str,
    names: list[str],
    *,
    many: Collection[str] = (),
    maximum: int = MAX_FORM_ROWS,
) -> list[dict[str, Any]]:
    """The rows of a form that was sent, unchecked, without those that were left out; fields of
    `many` hold lists."""
    try:
        count = min(int(data.get(f"{prefix}-TOTAL_FORMS", 0)), maximum)
    except ValueError:
        count = 0
    return [
        {
            name: all_values(data, key) if name in many else data.get(key, "")
            for name in names
            for key in [f"{prefix}-{n}-{name}"]
        }
        for n in range(count)
        if not data.get(f"{prefix}-{n}-DELETE")
    ]


def all_values(data: Mapping[str, Any], key: str) -> list[Any]:
    """Everything that was sent under one name."""
    if isinstance(data, MultiValueDict):
        return data.getlist(key)
    return list(data.get(key, []))
