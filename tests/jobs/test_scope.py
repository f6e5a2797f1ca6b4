"""What is proposed for a deck from its history: work, finish, materials, steps; and the page that shows it."""

from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client

from clients.models import Business, Deck, User
from jobs.models import Job, Product
from jobs.scope import Need, Scope, Wish, propose, propose_one
from tests.factories import (
    BatchFactory,
    CoatFactory,
    DeckFactory,
    JobFactory,
    PackFactory,
    ProductFactory,
    TinFactory,
    VisitFactory,
)

pytestmark = pytest.mark.django_db
D = Decimal
TODAY = date(2026, 7, 6)


def finish(name: str, **values: Any) -> Product:
    return ProductFactory(name=name, **values)


def helper(kind: str, **values: Any) -> Product:
    fields = {"name": f"Kelp {kind}", "kind": kind, "finish_class": "", "colours": "", "spread_m2_per_l": None}
    return ProductFactory(**{**fields, **values})


def coated(deck: Deck, product: Product, *, coats: int = 2, on: date = date(2025, 6, 12), **values: Any) -> Job:
    job = JobFactory(deck=deck, finished_on=on, kind=values.pop("kind", "strip"))
    CoatFactory(**{"job": job, "product": product, "coats": coats, "litres": None, **values})
    return job


def scope(deck: Deck, **wish: Any) -> Scope:
    return propose_one(deck, today=TODAY, wish=Wish(**wish))


def need(found: Scope, what: str) -> Need:
    return next(need for need in found.needs if need.what == what)


def test_a_sound_coat_is_cleaned_and_recoated_with_the_same_finish_in_its_colour(business: Business) -> None:
    deck, oil = DeckFactory(), finish("Tidewood Deck Oil")
    coated(deck, oil, coats=2)

    found = scope(deck)

    assert (found.work, found.stripper_applications, found.coats) == ("recoat", 0, 1)
    assert (found.product, found.colour, found.same_as_last) == (oil, "Driftwood", True)
    assert "2 coats since the last strip" in found.why
    assert found.warning == ""
    assert found.quantities == {"set_up": 1, "clean": 18, "sand": 18, "coat": 18}
    assert [each.what for each in found.needs] == ["cleaner", "abrasive", "finish"]


def test_seven_coats_come_off_with_two_applications_and_six_carry_another(business: Business) -> None:
    """More than six coats: a strip with two full applications (common practice, no source)."""
    oil = finish("Tidewood Deck Oil")
    seven, six = DeckFactory(), DeckFactory()
    coated(seven, oil, coats=7)
    coated(six, oil, coats=6)

    found = scope(seven)

    assert (found.work, found.stripper_applications, found.coats) == ("strip", 2, 2)
    assert found.reasons[0].startswith("7 coats lie on the boards since the last strip.")
    assert (found.quantities["strip"], found.quantities["brighten"]) == (36, 18)
    assert scope(six).work == "recoat"
    assert "With 7 coats on it the job after this one is a strip." in scope(six).reasons


@pytest.mark.parametrize(
    ("grades", "work", "said"),
    [
        ({"overall": 3}, "recoat", "2 coats"),
        ({"overall": 4}, "strip", "worn to 4 of 5"),
        ({"overall": 5}, "strip", "worn to 5 of 5"),
        ({"overall": 2, "flaking": 3}, "strip", "flaking"),
        ({"overall": None, "flaking": 2}, "recoat", "2 coats"),
    ],
)
def test_what_was_seen_since_the_last_coat_decides(
    business: Business, grades: dict[str, Any], work: str, said: str
) -> None:
    deck = DeckFactory()
    coated(deck, finish("Tidewood Deck Oil"))
    VisitFactory(deck=deck, visited_on=date(2026, 6, 30), **grades)

    found = scope(deck)

    assert found.work == work
    assert said in found.why


def test_what_was_found_before_the_last_coat_says_nothing_about_it(business: Business) -> None:
    deck = DeckFactory()
    coated(deck, finish("Tidewood Deck Oil"))
    VisitFactory(deck=deck, visited_on=date(2025, 6, 12), overall=5)

    assert scope(deck).work == "recoat"


def test_a_worn_coat_gets_two_and_a_grey_one_is_brightened(business: Business) -> None:
    deck = DeckFactory()
    coated(deck, finish("Tidewood Deck Oil"))
    VisitFactory(deck=deck, overall=3, greying=3)

    found = scope(deck)

    assert (found.coats, found.quantities["brighten"]) == (2, 18)


def test_a_heavy_film_takes_two_applications_below_seven_coats(business: Business) -> None:
    deck = DeckFactory()
    coated(deck, finish("Harbour Solid", finish_class="solid_film", pigment="dark"), coats=5)
    VisitFactory(deck=deck, overall=4)

    assert scope(deck).stripper_applications == 2


def test_a_deck_without_history_is_stripped_and_looked_at_first(business: Business) -> None:
    oil = finish("Tidewood Deck Oil")

    found = scope(DeckFactory())

    assert (found.work, found.product, found.same_as_last) == ("strip", oil, False)
    assert "No finish is in the book" in found.warning


@pytest.mark.parametrize(
    ("old", "new", "work", "said"),
    [
        # Common practice, no source; the data sheets of both products go before it.
        ({}, {}, "recoat", "same class and base"),
        ({}, {"finish_class": "tinted"}, "recoat", "soaks in like the old one"),
        ({}, {"finish_class": "solid_film"}, "strip", "a film peels off boards that were oiled"),
        ({"finish_class": "solid_film"}, {}, "strip", "cannot get through a film"),
        ({"finish_class": "solid_film"}, {"finish_class": "clear_film"}, "strip", "do not wear alike"),
        ({"base": "solvent"}, {}, "strip", "does not bind"),
        ({"pigment": "dark"}, {"pigment": "light"}, "strip", "a lighter finish does not cover a darker one"),
        ({"pigment": "light"}, {"pigment": "dark"}, "recoat", "same class and base"),
        ({"finish_class": "clear_repellent"}, {"finish_class": "tinted"}, "strip", "beads on the wax"),
    ],
)
def test_a_finish_out_of_use_is_followed_by_one_that_holds_over_it_or_by_a_strip(
    business: Business, old: dict[str, str], new: dict[str, str], work: str, said: str
) -> None:
    deck = DeckFactory()
    coated(deck, finish("Old Wharf Oil", is_active=False, **old))
    next_one = finish("Tidewood Deck Oil", **new)

    found = scope(deck)

    assert (found.work, found.product, found.same_as_last) == (work, next_one, False)
    assert said in found.why
    assert found.warning == ("Only a strip can change the finish." if work == "strip" else found.warning)
    assert "Old Wharf Oil is out of use" in found.why


def test_of_several_that_hold_the_nearest_is_taken_in_the_old_colour(business: Business) -> None:
    deck = DeckFactory()
    coated(deck, finish("Old Wharf Oil", is_active=False, maker="Larkmoor"), colour="slate")
    finish("Saltmarsh Tint", finish_class="tinted", maker="Larkmoor")
    near = finish("Tidewood Deck Oil", colours="Driftwood, Slate")

    assert (scope(deck).product, scope(deck).colour) == (near, "Slate")


def test_a_wish_goes_before_the_history_and_says_what_it_costs(business: Business) -> None:
    deck, oil, solid = DeckFactory(), finish("Tidewood Deck Oil"), finish("Harbour Solid", finish_class="solid_film")
    coated(deck, oil, coats=7)

    assert "By the book this is a strip: 7 coats" in scope(deck, work="recoat").warning
    assert scope(deck, work="recoat").work == "recoat"
    changed = scope(deck, product=solid, colour="Slate", coats=3)
    assert (changed.work, changed.product, changed.colour, changed.coats) == ("strip", solid, "Slate", 3)
    assert "Changing the finish takes the old one off first." in changed.reasons
    assert "Only a strip makes it lighter" in scope(deck, product=oil, colour="Cedar").warning


def test_without_any_finish_in_use_the_scope_says_so_and_still_stands(business: Business) -> None:
    deck = DeckFactory()
    coated(deck, finish("Old Wharf Oil", is_active=False))

    found = scope(deck)

    assert found.product is None
    assert "no finish is in use" in found.warning
    assert need(found, "finish").litres == 2


def test_litres_follow_the_sheet_the_timber_and_every_surface(business: Business) -> None:
    """18 m² × 2 at 9 m²/L = 4 L; sawn wood twice that (Wood Handbook FPL-GTR-190 ch. 16); stairs and rails by size."""
    oil, sawn = finish("Tidewood Deck Oil"), DeckFactory(texture="sawn", stair_treads=5, rail_m=D(10), screen_m2=D(9))
    plain = DeckFactory()
    coated(plain, oil)
    coated(sawn, oil)

    assert need(scope(plain, coats=2), "finish").litres == 4
    rough = need(scope(sawn, coats=2), "finish")
    assert rough.by_surface == {"boards": 8, "stairs": D("0.89"), "rails": D("6.23"), "screens": 4}
    assert rough.litres == D("19.12")
    assert "4.5 m²/L on rough sawn or grooved treated pine" in rough.note


def test_what_was_measured_on_this_deck_goes_before_the_data_sheet(business: Business) -> None:
    deck, oil = DeckFactory(), finish("Tidewood Deck Oil")
    coated(deck, oil, litres=D("4.5"))  # 18 × 2 / 4.5 = 8 m² a litre
    coated(deck, oil, litres=D(40), on=date(2024, 6, 1), kind="recoat")  # far off: mistyped

    found = need(scope(deck, coats=2), "finish")

    assert found.litres == D("4.5")
    assert "8 m²/L a coat, as measured on this deck" in found.note


def test_stripper_goes_by_its_film_and_what_no_sheet_gives_by_common_practice(business: Business) -> None:
    """1 mm is one litre a square metre; two applications take it twice."""
    deck = DeckFactory()
    coated(deck, finish("Tidewood Deck Oil"), coats=7)

    assert need(scope(deck), "stripper").litres == 36
    assert "no stripper is in use" in need(scope(deck), "stripper").note
    helper("stripper", film_mm=D("1.5"))
    assert need(scope(deck), "stripper").litres == 54
    helper("brightener", spread_m2_per_l=D(9))
    assert need(scope(deck), "brightener").litres == 2


def test_tins_are_used_first_and_the_rest_is_bought_in_the_cheapest_packs(business: Business) -> None:
    deck, oil = DeckFactory(), finish("Tidewood Deck Oil")
    coated(deck, oil)
    for litres, price in ((1, 42), (4, 149)):
        PackFactory(product=oil, litres=D(litres), price=D(price))
    TinFactory(product=oil, colour="Driftwood", litres=D("2.5"))
    TinFactory(product=oil, colour="Cedar", litres=D(9))
    TinFactory(product=oil, colour="Driftwood", litres=D(9), noted_on=TODAY - timedelta(days=400))
    TinFactory(product=oil, colour="Driftwood", litres=D(9), batch=BatchFactory(expires_on=TODAY - timedelta(days=1)))

    found = need(scope(deck, coats=2), "finish")

    assert (found.litres, found.from_tins, found.to_buy) == (4, D("2.5"), D("1.5"))
    assert (found.packs, found.cost, found.leftover_litres) == ([(1, 2, 42)], 84, D("0.5"))
    assert (found.packs_words, found.worth) == ("2 × 1 L", 168)
    assert scope(deck, coats=2).cost is None  # the cleaner has no pack


def test_decks_of_one_property_share_the_tins(business: Business) -> None:
    oil, first = finish("Tidewood Deck Oil"), DeckFactory()
    second, elsewhere = DeckFactory(property=first.property), DeckFactory()
    for deck in (first, second, elsewhere):
        coated(deck, oil)
    TinFactory(product=oil, colour="Driftwood", litres=D(3))

    found = propose([first, second, elsewhere], today=TODAY)

    assert [need(found[deck.pk], "finish").from_tins for deck in (first, second, elsewhere)] == [2, 1, 2]


def test_a_deck_that_nobody_has_seen_for_long_is_to_be_looked_at_first(business: Business) -> None:
    """A coat is renewed every 12 to 16 months (common practice, no source)."""
    old, seen = DeckFactory(), DeckFactory()
    for deck in (old, seen):
        coated(deck, finish(f"Oil {deck.pk}"), on=date(2024, 6, 1))
    VisitFactory(deck=seen, visited_on=date(2026, 5, 1), overall=2)

    assert "Nobody of us has seen it since Jun 1, 2024" in scope(old).warning
    assert scope(seen).warning == ""


def test_an_area_beyond_any_deck_is_answered_not_a_crash(business: Business) -> None:
    deck, oil = DeckFactory(area_m2=D(90_000)), finish("Tidewood Deck Oil")
    coated(deck, oil)
    PackFactory(product=oil)

    found = need(scope(deck), "finish")

    assert "Check its area" in found.note
    assert found.cost is None


def test_many_decks_take_no_more_queries_than_one(
    business: Business, django_assert_max_num_queries: Callable[[int], Any]
) -> None:
    oil, decks = finish("Tidewood Deck Oil"), DeckFactory.create_batch(12)
    for deck in decks:
        coated(deck, oil)
        VisitFactory(deck=deck)

    with django_assert_max_num_queries(11):  # one of them reads the decks
        assert len(propose(Deck.objects.all(), today=TODAY)) == 12


@pytest.mark.parametrize(
    ("today", "latitude", "season", "minutes"),
    [
        (date(2026, 7, 6), 44.4, "summer", (120, 180)),
        (date(2026, 9, 6), 44.4, "between", (720, 720)),
        (date(2026, 12, 6), 44.4, "between", (720, 720)),  # the crews go out again in May
        (date(2026, 7, 6), -41.3, "winter", (1440, 1440)),
        (date(2026, 7, 6), 1.3, "summer", (120, 180)),
    ],
)
def test_wood_dries_by_the_season_of_its_place(
    business: Business, today: date, latitude: float, season: str, minutes: tuple[int, int]
) -> None:
    """2 to 3 hours on a sunny summer day, 24 in winter (common practice, no source)."""
    deck = DeckFactory(property__latitude=latitude)
    coated(deck, finish("Tidewood Deck Oil"))

    found = propose_one(deck, today=today)

    dry = next(step for step in found.steps if step.title == "Let the wood dry")
    assert (found.season, (dry.wait_minutes, dry.longest_minutes)) == (season, minutes)


def test_steps_carry_the_times_of_the_sheets_else_those_of_common_practice(business: Business) -> None:
    """60 minutes and up to 20 more, 20 and 10 more, 2 h, 24 h, 5 days: common practice, no source."""
    deck, oil = DeckFactory(), finish("Tidewood Deck Oil", recoat_hours=D(4), walk_hours=D(36))
    coated(deck, oil, coats=7)

    waits = [(s.wait_minutes, s.longest_minutes, s.is_from_data_sheet) for s in scope(deck).steps if s.wait]

    assert waits == [
        (60, 80, False), (120, 180, False), (60, 80, False),  # stripper, dry, stripper again
        (20, 30, False), (120, 180, False),  # brightener, dry
        (240, 240, True), (2160, 2160, True), (7200, 7200, False),  # between coats, walking, furniture
    ]  # fmt: skip
    assert [s.task for s in scope(deck).steps if s.task] == [
        "set_up", "strip", "strip", "strip", "strip", "brighten", "brighten", "sand", "coat", "coat",
    ]  # fmt: skip
    assert any("furs" in s.words for s in scope(deck).steps)  # treated pine is soft
    assert any("slippery" in caution for caution in scope(deck).cautions)


def test_a_scope_is_kept_as_plain_text_and_numbers(business: Business) -> None:
    deck, oil = DeckFactory(), finish("Tidewood Deck Oil")
    coated(deck, oil)
    PackFactory(product=oil, litres=D(4), price=D(149))

    found = scope(deck, coats=2)

    kept = need(found, "finish").as_json()
    assert (kept["product"], kept["litres"], kept["cost"]) == (oil.pk, "4.00", "149.00")
    assert kept["packs"] == [["4.000", 1, "149.00"]]
    assert found.steps[0].as_json()["title"] == "Set up"
    assert found.litres == 4


def page(client: Client, deck: Deck, **query: str) -> str:
    response = client.get(f"/jobs/scope/{deck.pk}/", query)
    assert response.status_code == 200
    return response.content.decode()


def test_the_page_shows_the_work_and_the_crew_sees_no_money(
    as_owner: Client, as_user: Callable[[User], Client], crew: User
) -> None:
    deck, oil = DeckFactory(), finish("Tidewood Deck Oil")
    coated(deck, oil)
    PackFactory(product=oil, litres=D(4), price=D("149.50"))

    office_page, crew_page = page(as_owner, deck, coats="2"), page(as_user(crew), deck, coats="2")

    for part in ("Clean and recoat", "As last time", "1 × 4 L", "24 hours after the last coat", "Wood moisture"):
        assert part in office_page
        assert part in crew_page
    assert "$149.50" in office_page
    assert "149" not in crew_page
    assert f"/jobs/scope/{deck.pk}/" in as_owner.get(f"/decks/{deck.pk}/").content.decode()


def test_on_the_page_another_finish_is_tried_and_the_weather_is_checked(as_owner: Client) -> None:
    deck, oil = DeckFactory(), finish("Tidewood Deck Oil", minimum_c=D(10), maximum_c=D(32))
    solid = finish("Harbour Solid", finish_class="solid_film")
    coated(deck, oil)

    text = page(as_owner, deck, finish=f"{solid.pk}:Slate", air_c="8", humidity_percent="95", moisture_percent="17")

    assert "a film peels off boards that were oiled" in text
    assert text.count("Not now:") == 4  # too cold, a cold night, dew, too wet for a film
    dry = page(as_owner, deck, air_c="20", humidity_percent="50", moisture_percent="12")
    assert dry.count("Holds") == 3  # the dew point of 9.3 °C says that the night may fall below 10
    assert "dew point 9.3 °C" in dry
    assert "comes to rest at about 9 %" in dry


def test_in_us_units_the_page_speaks_of_gallons_feet_and_fahrenheit(as_owner: Client) -> None:
    """4 L are 1.06 gal, 9 m²/L are 366.7 ft²/gal, 3 °C of gap are 5.4 °F (exact foot and gallon, NIST SP 811)."""
    Business.objects.update(units="us")
    deck, oil = DeckFactory(stair_treads=1, rail_m=D("0.01")), finish("Tidewood Deck Oil", spread_m2_per_l=D(9))
    coated(deck, oil)
    PackFactory(product=oil, litres=D("3.785"), price=D(149))

    text = page(as_owner, deck, coats="2", air_c="68", humidity_percent="50")

    for part in ("1.1 gal", "2 × 1 gal", "366.7 ft²/gal", "5.4 °F", "48.7 °F", "a foot of open rail as 4.6 ft²"):
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
def test_a_wrong_wish_or_reading_is_named(as_owner: Client, query: dict[str, str], said: str) -> None:
    assert said in page(as_owner, DeckFactory(), **query)
    assert as_owner.get("/jobs/scope/99999/").status_code == 404
