"""A draft as it is edited: words, validity, hours and lines; and the small forms beside an offer."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any, cast

from django import forms
from django.core.validators import ProhibitNullCharactersValidator
from django.forms.formsets import formset_factory

from clients.forms.fields import lines
from jobs.actions.offers import LineWords, OfferWords
from jobs.forms.fields import DayField
from jobs.forms.formsets import MOST_ROWS, PageForms, TypedRows, number, typed_rows
from jobs.forms.prices import plain
from jobs.models import Offer, OfferLine, OfferScope

PREFIX = "lines"
LONGEST = timedelta(days=730)
FIELDS = ["kind", "scope", "words", "quantity", "unit", "unit_price"]
STATES = [("asked", "With a question"), *Offer.State.choices, ("expired", "Run out")]


class OfferForm(forms.Form):
    """What of a draft is typed beside its lines; `seen` is the last event that was on the page."""

    introduction = forms.CharField(
        label="Introduction", required=False, max_length=5_000, widget=lines(3), help_text="The client reads it first.",
        validators=[ProhibitNullCharactersValidator()],
    )  # fmt: skip
    valid_until = DayField(label="Stands until")
    hours = number("Hours of work", most=Decimal(999), help_text="All people together, for the diary.")
    seen = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today = today

    def clean_valid_until(self) -> date:
        day = self.cleaned_data["valid_until"]
        if day < self.today:
            raise forms.ValidationError("This day is over. Choose today or a later one.")
        if day > self.today + LONGEST:
            raise forms.ValidationError("An offer stands for at most two years.")
        return day

    def words(self) -> OfferWords:
        values = self.cleaned_data
        return OfferWords(values["introduction"], values["valid_until"], values["hours"])


class LineForm(forms.Form):
    """One line; its amount is quantity times price."""

    words = forms.CharField(label="What", max_length=300, validators=[ProhibitNullCharactersValidator()])
    kind = forms.ChoiceField(label="Kind", choices=OfferLine.Kind.choices, initial=OfferLine.Kind.WORK)
    scope = forms.ChoiceField(label="Deck", required=False)
    quantity = number("Quantity", initial=1)
    unit = forms.CharField(label="Unit", required=False, max_length=12)
    unit_price = number("Price", least=-9_999_999)

    def __init__(self, *args: Any, scopes: Sequence[OfferScope], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = [("", "The whole visit"), *((str(scope.pk), scope.deck.label) for scope in scopes)]
        self.fields["scope"].choices = choices  # type: ignore[attr-defined]

    def has_changed(self) -> bool:
        return bool({"words", "unit_price"} & set(self.changed_data))

    def line(self) -> LineWords:
        values = self.cleaned_data
        scope = int(values["scope"]) if values["scope"] else None
        return LineWords(
            values["kind"], values["words"], values["quantity"], values["unit"], values["unit_price"], scope
        )


Lines = cast(
    type[TypedRows],
    formset_factory(
        LineForm, formset=TypedRows, extra=0, can_delete=True, max_num=MOST_ROWS, absolute_max=MOST_ROWS + 1
    ),
)


@dataclass
class DraftForms(PageForms):
    """The page of a draft as one thing."""

    form: OfferForm
    lines: TypedRows

    @property
    def singles(self) -> list[OfferForm]:
        return [self.form]

    @property
    def parts(self) -> list[TypedRows]:
        return [self.lines]

    def typed(self) -> list[LineWords]:
        return [form.line() for form in self.lines.kept]  # type: ignore[attr-defined]


def opened(offer: Offer, *, today: date) -> DraftForms:
    initial = {"introduction": offer.introduction, "valid_until": offer.valid_until, "hours": plain(offer.hours)}
    seen = max((event.pk for event in offer.events.all()), default=None)
    form = OfferForm(initial=initial | {"seen": seen}, today=today)
    return DraftForms(form, line_rows([row_of(line) for line in offer.lines.all()], offer))


def row_of(line: OfferLine) -> dict[str, Any]:
    numbers = {"quantity": plain(line.quantity), "unit_price": line.unit_price, "scope": line.scope_id or ""}
    return {name: getattr(line, name) for name in FIELDS if name != "scope"} | numbers


def line_rows(initial: list[dict[str, Any]], offer: Offer) -> TypedRows:
    return Lines(initial=initial, prefix=PREFIX, form_kwargs={"scopes": list(offer.scopes.all())})


def sent(data: Mapping[str, Any], offer: Offer, *, today: date) -> DraftForms:
    rows = Lines(data, prefix=PREFIX, form_kwargs={"scopes": list(offer.scopes.all())})
    return DraftForms(OfferForm(data, today=today), rows)


def with_another_row(data: Mapping[str, Any], offer: Offer, *, today: date) -> DraftForms:
    """The page as it was sent, unchecked, with one more line (works without scripts)."""
    form = OfferForm(initial={name: data.get(name, "") for name in OfferForm.base_fields}, today=today)
    return DraftForms(form, line_rows([*typed_rows(data, PREFIX, FIELDS), {}], offer))


class WithdrawForm(forms.Form):
    why = forms.CharField(
        label="Why", max_length=300, help_text="The client reads it on the offer's page.",
        validators=[ProhibitNullCharactersValidator()],
    )  # fmt: skip


class AnswerForm(forms.Form):
    answer = forms.CharField(
        label="Answer", max_length=2_000, widget=lines(3), validators=[ProhibitNullCharactersValidator()]
    )
