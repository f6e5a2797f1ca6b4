"""Reading telephone numbers: the only place, beside display, that knows the phonenumbers
library."""

from dataclasses import dataclass

import phonenumbers
from phonenumbers import NumberParseException, PhoneNumberFormat, PhoneNumberType, ValidationResult

MAX_EXTENSION_DIGITS = 7
IMPOSSIBLE_REASONS = {
    ValidationResult.TOO_SHORT: "has too few digits",
    ValidationResult.TOO_LONG: "has too many digits",
    ValidationResult.INVALID_LENGTH: "has a wrong number of digits",
    ValidationResult.IS_POSSIBLE_LOCAL_ONLY: "lacks the area code",
    ValidationResult.INVALID_COUNTRY_CODE: "begins with a country code that does not exist",
}


class PhoneError(ValueError):
    """The text is no telephone number; the message says why and what to do."""


@dataclass(frozen=True)
class Phone:
    """A number: E.164 (with `;ext=` if it has an extension), as read in its country, and a doubt
    about it, if any."""

    e164: str
    display: str
    warning: str = ""
    is_mobile: bool = False  # only where the numbering plan can tell: in North America it cannot


def parse_phone(text: str, country: str) -> Phone:
    """Read a number as written in a country (two letters).
    Numbers no plan lists yet are taken, with a warning."""
    text = " ".join(text.split())
    try:
        number = phonenumbers.parse(text, country or None)
    except NumberParseException as error:
        raise PhoneError(parse_error_message(text[:40], error)) from error
    check_possible_number(text, number)
    warning = (
        ""
        if phonenumbers.is_valid_number(number)
        else f"“{text}” is not a number that is in use. Check it."
    )
    is_mobile = phonenumbers.number_type(number) == PhoneNumberType.MOBILE
    shown = phonenumbers.format_number(number, PhoneNumberFormat.INTERNATIONAL)
    return Phone(format_e164(number), shown, warning, is_mobile)


def check_possible_number(text: str, number: phonenumbers.PhoneNumber) -> None:
    verdict = phonenumbers.is_possible_number_with_reason(number)
    if verdict != ValidationResult.IS_POSSIBLE:
        raise PhoneError(
            f"“{text}” {IMPOSSIBLE_REASONS.get(verdict, 'is not a telephone number')}. Write it"
            " with its area code."
        )
    if len(number.extension or "") > MAX_EXTENSION_DIGITS:
        raise PhoneError(
            f"The extension of “{text}” has too many digits. Write at most {MAX_EXTENSION_DIGITS}."
        )


def format_e164(number: phonenumbers.PhoneNumber) -> str:
    plain = phonenumbers.format_number(number, PhoneNumberFormat.E164)
    return f"{plain};ext={number.extension}" if number.extension else plain


def parse_error_message(text: str, error: NumberParseException) -> str:
    if error.error_type == NumberParseException.INVALID_COUNTRY_CODE:
        return f"“{text}” needs a country: write it with + and the country code."
    if error.error_type == NumberParseException.TOO_LONG:
        return f"“{text}” has too many digits. Write one number."
    if error.error_type in {
        NumberParseException.TOO_SHORT_NSN,
        NumberParseException.TOO_SHORT_AFTER_IDD,
    }:
        return f"“{text}” has too few digits. Write it with its area code."
    return f"“{text}” is not a telephone number. Write digits, such as 902-555-0123."
