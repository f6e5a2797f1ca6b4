"""`manage.py litres`: from an area to litres, tins and packs, and clear words to impossible
figures."""

import json
from decimal import Decimal
from io import StringIO
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from clients.models import Business
from tests.business_day import today_there
from tests.factories import PackFactory, ProductFactory, TinFactory

pytestmark = pytest.mark.django_db
D = Decimal


def litres(*arguments: str, **options: Any) -> list[dict[str, Any]]:
    out = StringIO()
    call_command("litres", *arguments, format="json", stdout=out, stderr=StringIO(), **options)
    return json.loads(out.getvalue())


def test_eighteen_square_metres_in_two_coats_take_a_tin_of_four(business: Business) -> None:
    """A litre covers about 9 m² a coat: 4 L (common practice, no source)."""
    oil = ProductFactory(name="Tidewood Deck Oil")
    PackFactory(product=oil)

    [row] = litres("tidewood deck oil", area="18", coats=2)

    assert (row["litres"], row["pack_litres"], row["packs"], row["cost"]) == (
        "4.00",
        "4.000",
        1,
        "149.00",
    )


def test_tins_rough_boards_and_a_film_count(business: Business) -> None:
    oil = ProductFactory(name="Tidewood Deck Oil", loss_percent=10)
    ProductFactory(name="Kelp Strip", kind="stripper", finish_class="", film_mm=D(1))
    TinFactory(product=oil, colour="Cedar", litres=D(1), noted_on=today_there())

    [row] = litres("Tidewood Deck Oil", area="9", texture="sawn", colour="cedar")
    [film] = litres("Kelp Strip", area="18", coats=2)

    assert (row["litres"], row["from_tins"], row["to_buy"], row["cost"]) == (
        "2.23",
        "1.00",
        "1.23",
        None,
    )
    assert film["litres"] == "36.00"
    assert litres("Kelp Strip", area="18", spread="9")[0]["litres"] == "2.00"
    assert litres("Tidewood Deck Oil", area="9", film="0.2")[0]["litres"] == "2.00"


@pytest.mark.parametrize(
    ("name", "options", "said"),
    [
        ("Tidewood Deck Oil", {"area": "0"}, "The area must be more than 0"),
        ("Tidewood Deck Oil", {"area": "-2"}, "The area must be more than 0"),
        ("Tidewood Deck Oil", {"area": "NaN"}, "The area must be more than 0"),
        ("Tidewood Deck Oil", {"area": "big"}, "is not a number"),
        ("Tidewood Deck Oil", {"area": "18", "spread": "0"}, "The spread rate must be more than 0"),
        ("Tidewood Deck Oil", {"area": "18", "film": "0"}, "The wet film must be more than 0"),
        (
            "Tidewood Deck Oil",
            {"area": "18", "coats": 0},
            "The number of coats must be more than 0",
        ),
        ("Tidewood Deck Oil", {"area": "900000"}, "more than any deck takes"),
        ("Tidewod Dek Oil", {"area": "18"}, "Did you mean “Tidewood Deck Oil”"),
        ("xyz", {"area": "18"}, "The page Products lists them"),
        ("Blank", {"area": "18"}, "gives no spread rate"),
    ],
)
def test_an_impossible_figure_or_an_unknown_product_is_answered(
    business: Business, name: str, options: dict[str, Any], said: str
) -> None:
    ProductFactory(name="Tidewood Deck Oil")
    ProductFactory(name="Blank", spread_m2_per_l=None)

    with pytest.raises(CommandError, match=said):
        litres(name, **options)
