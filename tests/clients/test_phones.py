"""Reading telephone numbers, against the example numbers of the numbering plans."""

import phonenumbers
import pytest
from phonenumbers import PhoneNumberFormat, PhoneNumberType

from clients import display
from clients.models import Business
from clients.notation import PhoneError, parse_phone

# Source of the numbers: `example_number_for_type` of the phonenumbers metadata (Google's
# libphonenumber), which takes them from the national numbering plans.
COUNTRIES = (
    "CA US GB IE FR DE NL BE ES PT IT CH AT DK SE NO FI PL CZ AU NZ ZA JP KR IN SG MX BR AR CL IS"
    " GR EE HR".split()
)


def example(country: str, kind: int) -> phonenumbers.PhoneNumber:
    number = phonenumbers.example_number_for_type(country, kind)
    assert number is not None
    return number


@pytest.mark.parametrize(
    "kind", [PhoneNumberType.FIXED_LINE, PhoneNumberType.MOBILE], ids=["fixed", "mobile"]
)
@pytest.mark.parametrize("country", COUNTRIES)
def test_the_example_number_of_a_country_is_read_as_people_there_write_it(
    country: str, kind: int
) -> None:
    number = example(country, kind)
    right = phonenumbers.format_number(number, PhoneNumberFormat.E164)

    for form in (
        PhoneNumberFormat.NATIONAL,
        PhoneNumberFormat.INTERNATIONAL,
        PhoneNumberFormat.E164,
    ):
        read = parse_phone(f"  {phonenumbers.format_number(number, form)} ", country)

        assert (read.e164, read.warning) == (right, "")


@pytest.mark.parametrize("country", COUNTRIES)
def test_a_number_written_with_plus_needs_no_country(country: str) -> None:
    right = phonenumbers.format_number(
        example(country, PhoneNumberType.MOBILE), PhoneNumberFormat.E164
    )

    assert parse_phone(right, "").e164 == right


# Ofcom (UK) and ACMA (Australia) reserve these for drama; NANPA reserves 555-0100 to 555-0199 of
# every area code.
@pytest.mark.parametrize(
    ("text", "country", "e164"),
    [
        ("902-555-0100", "CA", "+19025550100"),
        ("(902) 555 0199", "CA", "+19025550199"),
        ("1.902.555.0123", "CA", "+19025550123"),
        ("+1 902 555 0123", "NZ", "+19025550123"),
        ("020 7946 0958", "GB", "+442079460958"),
        ("0491 570 156", "AU", "+61491570156"),
        ("９０２－５５５－０１２３", "CA", "+19025550123"),
    ],
)
def test_numbers_reserved_for_fiction_are_taken(text: str, country: str, e164: str) -> None:
    assert parse_phone(text, country).e164 == e164


def test_an_extension_is_kept_apart() -> None:
    # RFC 3966 §3: extension as a parameter ";ext=" after the number.
    for text in ("902-555-0100 ext. 12", "902-555-0100 x12", "902-555-0100;ext=12"):
        assert parse_phone(text, "CA").e164 == "+19025550100;ext=12"


@pytest.mark.parametrize(
    ("text", "country", "why"),
    [
        ("902-555", "CA", "has too few digits"),
        ("555-0123", "CA", "lacks the area code"),
        ("902-555-0123456", "CA", "has too many digits"),
        ("902-555-0100 / 902-555-0101", "CA", "Write one number"),
        ("ring the bell", "CA", "is not a telephone number"),
        ("", "CA", "is not a telephone number"),
        ("902-555-0100", "", "needs a country"),
        ("902-555-0100", "XX", "needs a country"),
        ("+999 555 0100", "CA", "country"),
        ("902-555-0100 ext. 123456789", "CA", "extension"),
        ("9" * 5_000, "CA", "too many digits"),
    ],
)
def test_what_is_no_number_is_refused_in_plain_words(text: str, country: str, why: str) -> None:
    with pytest.raises(PhoneError) as refusal:
        parse_phone(text, country)

    assert why in str(refusal.value)
    assert len(str(refusal.value)) < 160


def test_a_possible_number_that_no_plan_lists_is_taken_with_a_warning() -> None:
    # "09 123 4567" in New Zealand: right length, but no exchange begins with 1 (phonenumbers
    # metadata).
    read = parse_phone("09 123 4567", "NZ")

    assert read.e164 == "+6491234567"
    assert "Check it" in read.warning


def test_a_mobile_is_known_only_where_the_plan_can_tell() -> None:
    assert parse_phone("021 123 456", "NZ").is_mobile
    assert not parse_phone("902-555-0100", "CA").is_mobile


def test_a_number_is_shown_the_way_the_country_of_the_business_reads_it() -> None:
    with display.override_business(Business(country="CA", locale="en-CA")):
        assert display.format_phone("+19025550100") == "(902) 555-0100"
        assert display.format_phone("+442079460958") == "+44 20 7946 0958"
        assert display.format_phone("+19025550100;ext=12") == "(902) 555-0100 ext. 12"
        assert display.format_phone("no number") == "no number"
