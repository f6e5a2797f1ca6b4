"""Numbers as they are typed in gloves: read as they were meant, or asked for again."""

from decimal import Decimal

import pytest
from django.test import Client as Browser

from clients.models import Business, Deck
from clients.notation import read_typed_number
from jobs.models import CoatApplied, Job
from tests.factories import DeckFactory, ProductFactory
from tests.jobs.log_page import URL, errors, filled, row


@pytest.mark.parametrize(
    ("typed", "grouping_mark", "value"),
    [
        ("3.8", ",", "3.8"),
        ("3,8", ",", "3.8"),
        ("4,50", ",", "4.5"),
        (",5", ",", "0.5"),
        ("0,125", ",", "0.125"),
        ("1/2", ",", "0.5"),
        ("1 1/2", ",", "1.5"),
        ("1½", ",", "1.5"),
        ("1,250", ",", "1250"),
        ("1.250", ",", "1.25"),
        ("1.250", ".", "1250"),
        ("1,250", ".", "1.25"),
        ("1,250.75", ",", "1250.75"),
        ("1.250,75", ".", "1250.75"),
        ("1.250,75", ",", "1250.75"),
        ("1,250,000", ",", "1250000"),
        ("1 250,5", "\u202f", "1250.5"),
        ("1\u202f250", "\u202f", "1250"),
        ("1’250.5", ",", "1250.5"),
        ("−2", ",", "-2"),
        ("٣", ",", "3"),
    ],
)
def test_a_number_is_read_as_it_was_meant(typed: str, grouping_mark: str, value: str) -> None:
    """Decimal and grouping marks: Unicode CLDR, number symbols of en, de and fr."""
    assert read_typed_number(typed, grouping_mark=grouping_mark).value == Decimal(value)


@pytest.mark.parametrize(
    "typed",
    ["", "many", "3,8,5", "1.2.3", "1,25,000", "1 2", "1/0", "NaN", "--2", "3..8"],
)
def test_what_can_be_read_in_no_such_way_is_no_number(typed: str) -> None:
    with pytest.raises(ValueError):  # noqa: PT011 - it says nothing but the text itself
        read_typed_number(typed)


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("typed", "litres"),
    [
        ("3,8", "3.80"),
        ("1/2", "0.50"),
        ("3.8 L", "3.80"),
        ("500 ml", "0.50"),
        ("1 gal", "3.79"),
        ("2 quarts", "1.89"),
    ],
)
def test_litres_are_taken_with_a_comma_a_fraction_or_a_unit(
    as_owner: Browser, typed: str, litres: str
) -> None:
    """The US gallon is 231 cubic inches, 3.785411784 L (NIST Handbook 44, appendix C)."""
    deck = DeckFactory()
    page = as_owner.get(f"{URL}?deck={deck.pk}").content.decode()
    assert 'inputmode="decimal"' in page
    assert 'name="coats-0-litres"' in page

    as_owner.post(URL, filled(deck, row(ProductFactory(), litres=typed)))

    assert CoatApplied.objects.get().litres == Decimal(litres)


@pytest.mark.django_db
@pytest.mark.parametrize("typed", ["4o0", "3.8 ft", "3,8,5"])
def test_litres_that_are_none_are_asked_for_again(as_owner: Browser, typed: str) -> None:
    answer = as_owner.post(URL, filled(DeckFactory(), row(ProductFactory(), litres=typed)))

    assert (
        "Enter a number such as 3.8, 3,8 or 1/2, in L or gal."
        in errors(answer)["coats-0-litres"][0]
    )
    assert typed in answer.content.decode()
    assert Job.objects.count() == 0


@pytest.mark.django_db
def test_a_business_in_us_units_may_write_litres(as_owner: Browser, business: Business) -> None:
    Business.objects.update(units="us")
    deck: Deck = DeckFactory()
    as_owner.post(URL, filled(deck, row(ProductFactory(), litres="2"), air_c="21 C"))

    job = Job.objects.get()
    assert job.air_c == Decimal("21.0")
    assert CoatApplied.objects.get().litres == Decimal("7.57")
