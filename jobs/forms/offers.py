"""A draft as it is edited: words, validity, hours and lines;
and the small forms beside an offer."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any, cast

from django import forms
from django.core.validators import ProhibitNullCharactersValidator
from django.forms.formsets import formset_factory

from clients.forms.fields import textarea
from jobs.actions.offers import OfferInput, OfferLineInput
from jobs.forms.fields import DayField
from jobs.forms.formsets import MAX_FORM_ROWS, BaseRowFormSet, PageForms, amount_field, posted_rows
from jobs.forms.prices import check_deposit, percentage_form_field, trimmed_decimal
from jobs.models import Offer, OfferLine, OfferScope

LINES_PREFIX = "lines"
MAX_VALIDITY = timedelta(days=730)
LINE_FIELDS = ["kind", "scope", "words", "quantity", "unit", "unit_price"]
STATE_FILTERS = [("asked", "With a question"), *Offer.State.choices, ("expired", "Expired")]


class OfferForm(forms.Form):
    """What of a draft is typed beside its lines; `seen` is the last event that was on the page."""

    introduction = forms.CharField(
        label="Introduction",
        required=False,
        max_length=5_000,
        widget=textarea(3),
        help_text="The client reads it first.",
        validators=[ProhibitNullCharactersValidator()],
    )
    valid_until = DayField(label="Valid until")
    hours = amount_field(
        "Hours of work",
        maximum=Decimal(999),
        help_text="All people together, with the ways there; for the diary.",
    )
    visits = forms.IntegerField(
        label="Days on site",
        required=False,
        min_value=0,
        max_value=99,
        help_text="The client reads it. Travel is a line of its own.",
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
    )
    deposit_percent = percentage_form_field("Deposit asked, %", 100)
    deposit_amount = amount_field("or an amount", required=False)
    seen = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, today: date, is_change: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today = today
        if is_change:
            self.fields["introduction"].label = "Why the work changes"
            self.fields["hours"].label = "More hours of work"
            for name in ("visits", "deposit_percent", "deposit_amount"):
                del self.fields[name]

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        check_deposit(self, values)
        return values

    def clean_valid_until(self) -> date:
        day: date = self.cleaned_data["valid_until"]
        if day < self.today:
            raise forms.ValidationError("This day is over. Choose today or a later one.")
        if day > self.today + MAX_VALIDITY:
            raise forms.ValidationError("An offer is valid for at most two years.")
        return day

    def words(self) -> OfferInput:
        values = self.cleaned_data
        return OfferInput(
            values["introduction"],
            values["valid_until"],
            values["hours"],
            values.get("visits") or 0,
            values.get("deposit_percent") or Decimal(0),
            values.get("deposit_amount") or Decimal(0),
        )


class OfferLineForm(forms.Form):
    """One line; its amount is quantity times price."""

    words = forms.CharField(
        label="What", max_length=300, validators=[ProhibitNullCharactersValidator()]
    )
    kind = forms.ChoiceField(
        label="Kind", choices=OfferLine.Kind.choices, initial=OfferLine.Kind.WORK
    )
    scope = forms.ChoiceField(label="Deck", required=False)
    quantity = amount_field("Quantity", initial=1)
    unit = forms.CharField(label="Unit", required=False, max_length=12)
    unit_price = amount_field("Price", minimum=-9_999_999)

    def __init__(self, *args: Any, scopes: Sequence[OfferScope], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = [
            ("", "The whole visit"),
            *((str(scope.pk), scope.deck.label) for scope in scopes),
        ]
        self.fields["scope"].choices = choices  # type: ignore[attr-defined]

    def has_changed(self) -> bool:
        return bool({"words", "unit_price"} & set(self.changed_data))

    def line(self) -> OfferLineInput:
        values = self.cleaned_data
        scope = int(values["scope"]) if values["scope"] else None
        return OfferLineInput(
            values["kind"],
            values["words"],
            values["quantity"],
            values["unit"],
            values["unit_price"],
            scope,
        )


OfferLineFormSet = cast(
    type[BaseRowFormSet],
    formset_factory(
        OfferLineForm,
        formset=BaseRowFormSet,
        extra=0,
        can_delete=True,
        max_num=MAX_FORM_ROWS,
        absolute_max=MAX_FORM_ROWS + 1,
    ),
)


@dataclass
class DraftForms(PageForms):
    """The page of a draft as one thing."""

    form: OfferForm
    lines: BaseRowFormSet

    @property
    def single_forms(self) -> list[OfferForm]:
        return [self.form]

    @property
    def formsets(self) -> list[BaseRowFormSet]:
        return [self.lines]

    def line_inputs(self) -> list[OfferLineInput]:
        return [form.line() for form in self.lines.filled_forms]  # type: ignore[attr-defined]


def unbound_draft_forms(offer: Offer, *, today: date) -> DraftForms:
    initial = {
        "introduction": offer.introduction,
        "valid_until": offer.valid_until,
        "hours": trimmed_decimal(offer.hours),
        "visits": offer.visits or "",
        "deposit_percent": trimmed_decimal(offer.deposit_percent) if offer.deposit_percent else "",
        "deposit_amount": offer.deposit_amount or "",
    }
    seen = max((event.pk for event in offer.events.all()), default=None)
    is_change = offer.original_id is not None
    form = OfferForm(initial=initial | {"seen": seen}, today=today, is_change=is_change)
    return DraftForms(
        form, unbound_line_formset([offer_line_initial(line) for line in offer.lines.all()], offer)
    )


def offer_line_initial(line: OfferLine) -> dict[str, Any]:
    numbers = {
        "quantity": trimmed_decimal(line.quantity),
        "unit_price": line.unit_price,
        "scope": line.scope_id or "",
    }
    return {name: getattr(line, name) for name in LINE_FIELDS if name != "scope"} | numbers


def unbound_line_formset(initial: list[dict[str, Any]], offer: Offer) -> BaseRowFormSet:
    return OfferLineFormSet(
        initial=initial, prefix=LINES_PREFIX, form_kwargs={"scopes": list(offer.scopes.all())}
    )


def bound_draft_forms(data: Mapping[str, Any], offer: Offer, *, today: date) -> DraftForms:
    rows = OfferLineFormSet(
        data, prefix=LINES_PREFIX, form_kwargs={"scopes": list(offer.scopes.all())}
    )
    return DraftForms(OfferForm(data, today=today, is_change=offer.original_id is not None), rows)


def draft_forms_with_row(data: Mapping[str, Any], offer: Offer, *, today: date) -> DraftForms:
    """The page as it was sent, unchecked, with one more line (works without scripts)."""
    form = OfferForm(
        initial={name: data.get(name, "") for name in OfferForm.base_fields},
        today=today,
        is_change=offer.original_id is not None,
    )
    return DraftForms(
        form, unbound_line_formset([*posted_rows(data, LINES_PREFIX, LINE_FIELDS), {}], offer)
    )


class WithdrawOfferForm(forms.Form):
    why = forms.CharField(
        label="Why",
        max_length=300,
        help_text="The client reads it on the offer's page.",
        validators=[ProhibitNullCharactersValidator()],
    )


class QuestionAnswerForm(forms.Form):
    answer = forms.CharField(
        label="Answer",
        max_length=2_000,
        widget=textarea(3),
        validators=[ProhibitNullCharactersValidator()],
    )
