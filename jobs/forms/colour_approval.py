"""The client has seen a test patch and wants that colour."""

from collections.abc import Iterable
from typing import Any

from django import forms
from django.core.validators import ProhibitNullCharactersValidator

from jobs.forms.fields import DayField
from jobs.forms.scope import finish_choice_group
from jobs.models import Product


class ColourApprovalForm(forms.Form):
    finish = forms.ChoiceField(label="Finish and colour of the patch")
    approved_by = forms.CharField(
        label="Name of the client",
        max_length=200,
        validators=[ProhibitNullCharactersValidator()],
    )
    approved_on = DayField(label="Date")

    def __init__(self, *args: Any, finishes: Iterable[Product], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.finishes = {product.pk: product for product in finishes}
        choices = [finish_choice_group(product) for product in self.finishes.values()]
        self.fields["finish"].choices = choices  # type: ignore[attr-defined]

    @property
    def chosen(self) -> tuple[Product, str]:
        """The product, and its colour or name where it has only one."""
        number, _, colour = self.cleaned_data["finish"].partition(":")
        product = self.finishes[int(number)]
        return product, colour or product.name[:80]
