"""Fields that several forms share: measures in the business's units, countries, one e-mail
address."""

from decimal import Decimal
from typing import Any, TypeVar

from django import forms
from django.core.exceptions import ValidationError

from clients import display
from clients.notation import (
    QUANTITIES,
    EmailError,
    TypedNumber,
    countries,
    parse_email_address,
    read_typed_number,
)

AnyField = TypeVar("AnyField", bound=forms.Field)
MAX_NUMBER = Decimal(10) ** 9
INPUT_PRECISION = Decimal("0.000001")


def needed_with_others(field: AnyField) -> AnyField:
    """It may stay empty only by what stands in other fields, so its label does not say optional."""
    field.is_needed_with_others = True  # type: ignore[attr-defined]
    return field


class DecimalInput(forms.TextInput):
    """A text field with the keys of numbers: a browser's own number field swallows the comma of
    “3,8” and makes it 38."""

    def __init__(self, attrs: dict[str, Any] | None = None) -> None:
        super().__init__({"inputmode": "decimal", "autocomplete": "off", **(attrs or {})})


class TypedNumberField(forms.DecimalField):
    """A number as people type it: with comma or point, or as a fraction."""

    widget = DecimalInput
    default_error_messages = {"invalid": "Enter a number such as 3.8, 3,8 or 1/2."}

    def read(self, value: Any) -> TypedNumber:
        try:
            return read_typed_number(str(value), grouping_mark=display.grouping_mark())
        except (ValueError, ArithmeticError) as error:
            raise self.not_read() from error

    def not_read(self) -> ValidationError:
        return ValidationError(self.error_messages["invalid"], code="invalid")

    def to_python(self, value: Any) -> Any:
        if value in self.empty_values or not isinstance(value, str):
            return super().to_python(value)
        number = self.read(value)
        if number.unit:
            raise self.not_read()
        return super().to_python(f"{number.value.normalize():f}")


class MeasureField(TypedNumberField):
    """A measure typed in the business's units; its value is SI, rounded as the column keeps it."""

    def __init__(
        self,
        *,
        label: str,
        quantity: str,
        units: str,
        places: int = 2,
        maximum: Decimal | None = None,
        **kwargs: Any,
    ) -> None:
        self.quantity = QUANTITIES[quantity]
        self.units = units
        self.most = maximum
        self.step = Decimal(1).scaleb(-places)
        super().__init__(label=f"{label}, {self.quantity.symbol(units)}", **kwargs)
        either = f"{self.quantity.metric_symbol} or {self.quantity.us_symbol}"
        self.error_messages["invalid"] = f"Enter a number such as 3.8, 3,8 or 1/2, in {either}."

    def prepare_value(self, value: Any) -> Any:
        """SI from the database as it is read on screen; what was typed stays as it is."""
        if not isinstance(value, Decimal):
            return value
        shown = self.quantity.from_si(value, self.units).quantize(self.step).normalize()
        return f"{shown:f}"

    def has_changed(self, initial: Any, data: Any) -> bool:
        return super().has_changed(self.prepare_value(initial), data)

    def to_python(self, value: Any) -> Any:
        if value in self.empty_values:
            return None
        typed = self.read(value)
        if abs(typed.value) > MAX_NUMBER:
            raise ValidationError("This number is too large. Check the decimal point.")
        number = typed.value.quantize(INPUT_PRECISION)
        try:
            return self.quantity.typed_to_si(number, typed.unit, self.units).quantize(self.step)
        except KeyError as error:
            raise self.not_read() from error

    def validate(self, value: Any) -> None:
        super().validate(value)
        if value is not None and self.most is not None and not -self.most <= value <= self.most:
            limit = self.quantity.from_si(self.most, self.units)
            raise ValidationError(
                f"This is more than {limit:,.0f} {self.quantity.symbol(self.units)}. Check the"
                " number."
            )


class NamedByAction:
    """Beside ModelForm: whether the name of the row is taken is asked by the action, under a lock,
    which finds what the first of two clicks made. `named_by` are the fields of the name."""

    named_by: set[str] = {"name"}

    def _get_validation_exclusions(self) -> set[str]:
        exclusions: set[str] = super()._get_validation_exclusions()  # type: ignore[misc]
        return exclusions | self.named_by


class OneEmailField(forms.CharField):
    """Exactly one bare address."""

    widget = forms.EmailInput

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("max_length", 254)
        super().__init__(**kwargs)

    def clean(self, value: Any) -> str:
        text = super().clean(value)
        try:
            return parse_email_address(text) if text else ""
        except EmailError as error:
            raise ValidationError(str(error)) from error


class CountryField(forms.ChoiceField):
    """A country by its two letters."""

    def __init__(self, **kwargs: Any) -> None:
        empty = [] if kwargs.get("required", True) else [("", "Same as the business")]
        super().__init__(choices=[*empty, *countries.country_choices()], **kwargs)


class LongText(forms.Textarea):
    """Several lines, typed or dictated. A browser cuts off what is longer than `maxlength` and says
    nothing, so it is not told: the form says what is too long, and nothing is lost."""

    def __init__(self, attrs: dict[str, Any] | None = None) -> None:
        super().__init__({"autocapitalize": "sentences", "spellcheck": "true", **(attrs or {})})

    def get_context(self, name: str, value: Any, attrs: dict[str, Any] | None) -> dict[str, Any]:
        context: dict[str, Any] = super().get_context(name, value, attrs)
        context["widget"]["attrs"].pop("maxlength", None)
        return context


def textarea(count: int, **attrs: str) -> LongText:
    return LongText({"rows": count, **attrs})
