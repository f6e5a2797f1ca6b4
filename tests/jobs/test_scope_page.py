"""The page of work and materials: what it shows to whom, another plan, the weather of the day."""

from collections.abc import Callable
from decimal import Decimal

import pytest
from django.test import Client

from clients.models import Business, Deck, User
from tests.factories import DeckFactory, PackFactory
from tests.jobs.scope_book import coated, finish

pytestmark = pytest.mark.django_db
D = Decimal


def page(client: Client, deck: Deck, **query: str) -> str:
    response = client.get(f"/jobs/scope/{deck.pk}/", query)
    assert response.status_code == 200
    return response.content.decode()


def test_the_page_shows_the_work_and_the_crew_sees_no_money(
    as_owner: Client, as_user: Callable[[User], Client], crew: User
) -> None:
    deck = DeckFactory()
    oil = finish("Tidewood Deck Oil")
    coated(deck, oil)
    PackFactory(product=oil, litres=D(4), price=D("149.50"))

    office_page = page(as_owner, deck, coats="2")
    crew_page = page(as_user(crew), deck, coats="2")

    for part in (
        "Clean and recoat",
        "As last time",
        "1 × 4 L",
        "24 hours after the last coat",
        "Wood moisture",
    ):
        assert part in office_page
        assert part in crew_page
    assert "$149.50" in office_page
    assert "149.50" not in crew_page
    assert f"/jobs/scope/{deck.pk}/" in as_owner.get(f"/decks/{deck.pk}/").content.decode()


def test_on_the_page_another_finish_is_tried_and_the_weather_is_checked(as_owner: Client) -> None:
    deck = DeckFactory()
    oil = finish("Tidewood Deck Oil", minimum_c=D(10), maximum_c=D(32))
    solid = finish("Harbour Solid", finish_class="solid_film")
    coated(deck, oil)

    text = page(
        as_owner,
        deck,
        finish=f"{solid.pk}:Slate",
        air_c="8",
        humidity_percent="95",
        moisture_percent="17",
    )

    assert "a film peels off boards that were oiled" in text
    assert text.count("Not now:") == 4  # too cold, a cold night, dew, too wet for a film
    dry = page(as_owner, deck, air_c="20", humidity_percent="50", moisture_percent="12")
    assert dry.count("Holds") == 3  # the dew point of 9.3 °C says that the night may fall below 10
    assert "dew point 9.3 °C" in dry
    assert "comes to rest at about 9 %" in dry
    mild = page(as_owner, deck, air_c="20", humidity_percent="50", night_c="11")
    assert "Holds: 11 °C forecast" in mild  # what is entered goes before the dew point
    assert "dew point 9.3 °C" not in mild
    cold = page(as_owner, deck, air_c="20", humidity_percent="90", night_c="4")
    assert "Not now: 4 °C forecast" in cold


def test_in_us_units_the_page_speaks_of_gallons_feet_and_fahrenheit(as_owner: Client) -> None:
    """4 L are 1.06 gal, 9 m²/L are 366.7 ft²/gal, 3 °C of gap are 5.4 °F (exact foot and gallon,
    NIST SP 811)."""
    Business.objects.update(units="us")
    deck = DeckFactory(stair_treads=1, rail_m=D("0.01"))
    oil = finish("Tidewood Deck Oil", spread_m2_per_l=D(9))
    coated(deck, oil)
    PackFactory(product=oil, litres=D("3.785"), price=D(149))

    text = page(as_owner, deck, coats="2", air_c="68", humidity_percent="50")

    for part in (
        "1.1 gal",
        "2 × 1 gal",
        "366.7 ft²/gal",
        "5.4 °F",
        "48.7 °F",
        "a foot of open rail as 5.2 ft²",
    ):
        assert part in text


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ({"coats": "0"}, "greater than or equal to 1"),
        ({"coats": "many"}, "Enter a whole number"),
        ({"work": "paint"}, "Select a valid choice"),
        ({"finish": "999999:Slate"}, "Select a valid choice"),
        ({"humidity_percent": "0"}, "greater than or equal to 1"),
        ({"air_c": "400"}, "Nothing is that hot"),
    ],
)
def test_a_wrong_override_or_reading_is_named(
    as_owner: Client, query: dict[str, str], said: str
) -> None:
    assert said in page(as_owner, DeckFactory(), **query)
    assert as_owner.get("/jobs/scope/99999/").status_code == 404
