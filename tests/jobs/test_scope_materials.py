"""What a scope takes and how long it lasts: litres, tins, packs, drying, steps."""

from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest

from clients.models import Business, Deck
from jobs.scope import propose_scope, propose_scopes
from tests.factories import BatchFactory, DeckFactory, PackFactory, TinFactory, VisitFactory
from tests.jobs.scope_book import TODAY, coated, finish, helper, need, scope

pytestmark = pytest.mark.django_db
D = Decimal


def test_litres_follow_the_sheet_the_timber_and_every_surface(business: Business) -> None:
    """18 m² × 2 at 9 m²/L = 4 L; sawn wood twice that (Wood Handbook FPL-GTR-190 ch. 16);
    stairs and rails by size."""
    oil = finish("Tidewood Deck Oil")
    sawn = DeckFactory(texture="sawn", stair_treads=5, rail_m=D(10), screen_m2=D(9))
    plain = DeckFactory()
    coated(plain, oil)
    coated(sawn, oil)

    assert need(scope(plain, coats=2), "finish").litres == 4
    rough = need(scope(sawn, coats=2), "finish")
    assert rough.by_surface == {"boards": 8, "stairs": D("0.89"), "rails": D("7.12"), "screens": 4}
    assert rough.litres == D("20.01")
    assert "4.5 m²/L on rough sawn or grooved treated pine" in rough.note


def test_what_was_measured_on_this_deck_goes_before_the_data_sheet(business: Business) -> None:
    deck = DeckFactory()
    oil = finish("Tidewood Deck Oil")
    coated(deck, oil, litres=D("4.5"))  # 18 × 2 / 4.5 = 8 m² a litre
    coated(deck, oil, litres=D(40), on=date(2024, 6, 1), kind="recoat")  # far off: mistyped

    found = need(scope(deck, coats=2), "finish")

    assert found.litres == D("4.5")
    assert "8 m²/L a coat, as measured on this deck" in found.note


def test_stripper_goes_by_its_film_and_what_no_sheet_gives_by_common_practice(
    business: Business,
) -> None:
    """1 mm is one litre a square metre; two applications take it twice."""
    deck = DeckFactory()
    coated(deck, finish("Tidewood Deck Oil"), coats=7)

    assert need(scope(deck), "stripper").litres == 36
    assert "no stripper is in use" in need(scope(deck), "stripper").note
    helper("stripper", film_mm=D("1.5"))
    assert need(scope(deck), "stripper").litres == 54
    helper("brightener", spread_m2_per_l=D(9))
    assert need(scope(deck), "brightener").litres == 2


def test_tins_are_used_first_and_the_rest_is_bought_in_the_cheapest_packs(
    business: Business,
) -> None:
    deck = DeckFactory()
    oil = finish("Tidewood Deck Oil")
    coated(deck, oil)
    for litres, price in ((1, 42), (4, 149)):
        PackFactory(product=oil, litres=D(litres), price=D(price))
    TinFactory(product=oil, colour="Driftwood", litres=D("2.5"))
    TinFactory(product=oil, colour="Cedar", litres=D(9))
    TinFactory(product=oil, colour="Driftwood", litres=D(9), noted_on=TODAY - timedelta(days=400))
    TinFactory(
        product=oil,
        colour="Driftwood",
        litres=D(9),
        batch=BatchFactory(expires_on=TODAY - timedelta(days=1)),
    )

    found = need(scope(deck, coats=2), "finish")

    assert (found.litres, found.from_tins, found.to_buy) == (4, D("2.5"), D("1.5"))
    assert (found.packs, found.cost, found.leftover_litres) == ([(1, 2, 42)], 84, D("0.5"))
    assert found.worth == 168
    assert scope(deck, coats=2).cost is None  # the cleaner has no pack


def test_decks_of_one_property_share_the_tins(business: Business) -> None:
    oil = finish("Tidewood Deck Oil")
    first = DeckFactory()
    second = DeckFactory(site=first.site)
    elsewhere = DeckFactory()
    for deck in (first, second, elsewhere):
        coated(deck, oil)
    TinFactory(product=oil, colour="Driftwood", litres=D(3))

    found = propose_scopes([first, second, elsewhere], today=TODAY)

    assert [need(found[deck.pk], "finish").from_tins for deck in (first, second, elsewhere)] == [
        2,
        1,
        2,
    ]


def test_an_area_beyond_any_deck_is_answered_not_a_crash(business: Business) -> None:
    deck = DeckFactory(area_m2=D(90_000))
    oil = finish("Tidewood Deck Oil")
    coated(deck, oil)
    PackFactory(product=oil)

    found = need(scope(deck), "finish")

    assert "Check its area" in found.note
    assert found.cost is None


def test_many_decks_take_no_more_queries_than_one(
    business: Business, django_assert_max_num_queries: Callable[[int], Any]
) -> None:
    oil = finish("Tidewood Deck Oil")
    decks = DeckFactory.create_batch(12)
    for deck in decks:
        coated(deck, oil)
        VisitFactory(deck=deck)

    with django_assert_max_num_queries(13):  # one of them reads the decks
        assert len(propose_scopes(Deck.objects.all(), today=TODAY)) == 12


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
    deck = DeckFactory(site__latitude=latitude)
    coated(deck, finish("Tidewood Deck Oil"))

    found = propose_scope(deck, today=today)

    dry = next(step for step in found.steps if step.title == "Let the wood dry")
    assert (found.season, (dry.wait_minutes, dry.max_wait_minutes)) == (season, minutes)


def test_steps_carry_the_times_of_the_sheets_else_those_of_common_practice(
    business: Business,
) -> None:
    """60 minutes and up to 20 more, 20 and 10 more, 2 h, 24 h, 5 days:
    common practice, no source."""
    deck = DeckFactory()
    oil = finish("Tidewood Deck Oil", recoat_hours=D(4), walk_hours=D(36))
    coated(deck, oil, coats=7)

    waits = [
        (s.wait_minutes, s.max_wait_minutes, s.is_from_data_sheet)
        for s in scope(deck).steps
        if s.wait
    ]

    assert waits == [
        (60, 80, False),
        (120, 180, False),
        (60, 80, False),  # stripper, dry, stripper again
        (20, 30, False),
        (120, 180, False),  # brightener, dry
        (240, 240, True),
        (2160, 2160, True),
        (7200, 7200, False),  # between coats, walking, furniture
    ]
    assert [s.task for s in scope(deck).steps if s.task] == [
        "set_up",
        "strip",
        "strip",
        "strip",
        "strip",
        "brighten",
        "brighten",
        "sand",
        "coat",
        "coat",
    ]
    assert any("furs" in s.words for s in scope(deck).steps)  # treated pine is soft
    assert any("slippery" in caution for caution in scope(deck).cautions)


def test_a_scope_is_kept_as_plain_text_and_numbers(business: Business) -> None:
    deck = DeckFactory()
    oil = finish("Tidewood Deck Oil")
    coated(deck, oil)
    PackFactory(product=oil, litres=D(4), price=D(149))

    found = scope(deck, coats=2)

    kept = need(found, "finish").as_json()
    assert (kept["product"], kept["litres"], kept["cost"]) == (oil.pk, "4.00", "149.00")
    assert kept["packs"] == [["4.000", 1, "149.00"]]
    assert found.steps[0].as_json()["title"] == "Set up"
    assert found.litres == 4
