"""Properties and decks through their pages: towns, spots, units and defaults."""

import re

import pytest
from django.test import Client as Browser
from django.urls import reverse

from clients.models import Business, Deck, Place, Property
from reminders.models import Forecast
from tests.clients.filled import page, place, whole
from tests.factories import (
    CoatFactory,
    DeckFactory,
    JobFactory,
    PropertyFactory,
)


def test_an_unknown_town_is_answered_with_towns_to_choose_from(
    as_owner: Browser, lunenburg: Place
) -> None:
    answer = as_owner.post(reverse("clients:new"), whole(**{"property-town": "Luneburg"}))

    assert "not a town we know" in page(answer)
    assert f'name="property-place" value="{lunenburg.pk}"' in page(answer)

    chosen = {
        "property-town": "Luneburg",
        "property-place": lunenburg.pk,
        "property-place_for": "Luneburg",
    }
    as_owner.post(reverse("clients:new"), whole(**chosen))

    assert Property.objects.get().town == "Lunenburg"


def test_one_of_several_towns_of_a_name_is_chosen_not_guessed(
    as_owner: Browser, lunenburg: Place
) -> None:
    place(1, "Lunenburg", "Ontario", "CA", 45.1, -74.9, "America/Toronto", 500)

    answer = as_owner.post(reverse("clients:new"), whole())
    assert "several places called Lunenburg" in page(answer)

    as_owner.post(reverse("clients:new"), whole(**{"property-region": "ON"}))
    assert Property.objects.get().time_zone == "America/Toronto"


def test_a_spot_may_be_given_instead_of_a_known_town(as_owner: Browser) -> None:
    spot = {
        "property-town": "Gull Rock",
        "property-latitude": "44.4",
        "property-longitude": "-64.2",
    }

    as_owner.post(reverse("clients:new"), whole(**spot))

    home = Property.objects.get()
    assert (home.town, home.latitude, home.time_zone) == ("Gull Rock", 44.4, "America/Halifax")


def test_square_feet_are_kept_as_square_metres(
    as_owner: Browser, business: Business, lunenburg: Place
) -> None:
    Business.objects.update(units="us")

    as_owner.post(reverse("clients:new"), whole(**{"deck-area_m2": "200", "deck-rail_m": "10"}))

    # 1 ft = 0.3048 m exactly (international yard and pound agreement, 1959): 200 ft² = 18.580608 m²
    deck = Deck.objects.get()
    assert (str(deck.area_m2), str(deck.rail_m)) == ("18.58", "3.05")
    form = page(as_owner.get(reverse("deck_forms:edit", args=[deck.pk])))
    assert "Area, ft²" in form
    assert re.search(r'name="area_m2" value="199\.99"|name="area_m2" value="200"', form)


def test_opening_and_saving_a_deck_in_feet_moves_nothing(
    as_owner: Browser, business: Business
) -> None:
    Business.objects.update(units="us")
    deck = DeckFactory(area_m2="18.58")
    form = as_owner.get(reverse("deck_forms:edit", args=[deck.pk])).context["form"]

    as_owner.post(
        reverse("deck_forms:edit", args=[deck.pk]), {n: form[n].value() or "" for n in form.fields}
    )

    deck.refresh_from_db()
    assert str(deck.area_m2) == "18.58"


def test_two_decks_of_a_property_have_two_names(as_owner: Browser) -> None:
    deck = DeckFactory(label="Back deck")
    form_url = reverse("deck_forms:new", args=[deck.site_id])

    answer = as_owner.post(form_url, {"label": "back  DECK", "area_m2": "5", "species": "spruce"})

    assert "already has a deck called" in page(answer)
    assert Deck.objects.count() == 1


def test_emptied_fields_of_a_deck_are_its_defaults(as_owner: Browser) -> None:
    deck = DeckFactory(roof_percent=40, salt="spray")
    values = {
        "label": deck.label,
        "area_m2": "20",
        "species": "ipe",
        "roof_percent": "",
        "salt": "",
        "rail_m": "",
    }

    as_owner.post(reverse("deck_forms:edit", args=[deck.pk]), values)

    deck.refresh_from_db()
    assert (deck.roof_percent, deck.salt, deck.rail_m, deck.species) == (0, "none", 0, "ipe")


def test_a_changed_deck_gets_a_new_forecast_at_once(as_owner: Browser) -> None:
    deck = DeckFactory(label="Back deck")
    CoatFactory(job=JobFactory(deck=deck))
    values = {"label": "Back deck", "area_m2": "18", "species": "treated_pine"}

    as_owner.post(reverse("deck_forms:edit", args=[deck.pk]), values | {"traffic": "light"})
    before = Forecast.objects.get(deck=deck).due_on
    as_owner.post(
        reverse("deck_forms:edit", args=[deck.pk]), values | {"traffic": "heavy", "salt": "spray"}
    )

    assert Forecast.objects.get(deck=deck).due_on < before


def test_a_moved_property_gets_the_sun_of_its_new_town(as_owner: Browser, lunenburg: Place) -> None:
    home = PropertyFactory(
        town="Elsewhere", latitude=50.0, longitude=-60.0, time_zone="America/Toronto"
    )
    form_url = reverse("clients:edit_property", args=[home.pk])
    shown = {"latitude": "50.0", "longitude": "-60.0", "time_zone": "America/Toronto"}

    as_owner.post(form_url, {"street": home.street, "town": "Lunenburg", "country": "CA", **shown})

    home.refresh_from_db()
    assert (home.latitude, home.time_zone) == (44.3785, "America/Halifax")


def test_a_new_street_leaves_the_spot_alone(as_owner: Browser) -> None:
    home = PropertyFactory(town="Nowhere known", latitude=50.5)
    form = as_owner.get(reverse("clients:edit_property", args=[home.pk])).context["form"]
    values = {name: form[name].value() or "" for name in form.fields} | {"street": "9 Plover Road"}

    as_owner.post(reverse("clients:edit_property", args=[home.pk]), values)

    home.refresh_from_db()
    assert (home.street, home.latitude) == ("9 Plover Road", 50.5)


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ({"country": "DE", "region": "Bavarai"}, "“Bavarai” is not known"),
        ({"country": "DE", "region": ""}, "No province or state is given"),
        ({"country": "DE", "region": "Bavaria"}, ""),
        ({"country": "AT", "region": "Anywhere"}, ""),  # no region there has days of its own
        ({"country": "AQ", "region": "Anywhere"}, ""),  # a country that the library does not know
    ],
)
def test_a_region_whose_holidays_would_be_lost_is_told(
    as_owner: Browser, values: dict[str, str], told: str
) -> None:
    home = PropertyFactory(town="Nowhere known", **values)
    form = as_owner.get(reverse("clients:edit_property", args=[home.pk])).context["form"]
    typed = {name: form[name].value() or "" for name in form.fields} | {"street": "9 Plover Road"}

    answer = as_owner.post(
        reverse("clients:edit_property", args=[home.pk]), typed, follow=True
    ).content.decode()

    assert "is saved." in answer
    assert ("only public holidays of all of" in answer) == bool(told)
    assert told in answer
