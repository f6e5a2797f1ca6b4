"""What is proposed for a deck from its history: recoat or strip, and with which finish."""

from datetime import date
from typing import Any

import pytest

from clients.models import Business
from tests.factories import DeckFactory, VisitFactory
from tests.jobs.scope_book import coated, finish, need, scope

pytestmark = pytest.mark.django_db


def test_a_sound_coat_is_cleaned_and_recoated_with_the_same_finish_in_its_colour(
    business: Business,
) -> None:
    deck = DeckFactory()
    oil = finish("Tidewood Deck Oil")
    coated(deck, oil, coats=2)

    found = scope(deck)

    assert (found.work, found.stripper_applications, found.coats) == ("recoat", 0, 1)
    assert (found.product, found.colour, found.same_as_last) == (oil, "Driftwood", True)
    assert "2 coats since the last strip" in found.why
    assert found.warning == ""
    assert found.quantities == {"set_up": 1, "clean": 18, "sand": 18, "coat": 18}
    assert [each.what for each in found.needs] == ["cleaner", "abrasive", "finish"]


def test_seven_coats_come_off_with_two_applications_and_six_carry_another(
    business: Business,
) -> None:
    """More than six coats: a strip with two full applications (common practice, no source)."""
    oil = finish("Tidewood Deck Oil")
    seven = DeckFactory()
    six = DeckFactory()
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
        ({"overall": 4}, "recoat", "2 coats"),  # an oil is cleaned and recoated for long
        ({"overall": 5}, "strip", "worn to 5 of 5"),
        ({"overall": 2, "flaking": 3}, "strip", "peeling"),
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


def test_a_film_has_a_second_limit_at_grade_4(business: Business) -> None:
    """Grüll et al. 2011: film formers have two limit states, penetrating finishes one."""
    deck = DeckFactory()
    coated(deck, finish("Harbour Solid", finish_class="solid_film", pigment="dark"))
    VisitFactory(deck=deck, visited_on=date(2026, 6, 30), overall=4)

    found = scope(deck)

    assert found.work == "strip"
    assert "worn to 4 of 5" in found.why


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


def test_a_deck_without_history_is_looked_at_first(business: Business) -> None:
    oil = finish("Tidewood Deck Oil")

    found = scope(DeckFactory())

    assert (found.advice, found.product, found.same_as_last) == ("look", oil, False)
    assert str(found.steps[0].title) == "Look first"
    assert "No finish is on file" in found.warning


@pytest.mark.parametrize(
    ("old", "new", "work", "said"),
    [
        # Common practice, no source; the data sheets of both products go before it.
        ({}, {}, "recoat", "same class and base"),
        ({}, {"finish_class": "tinted"}, "recoat", "soaks in like the old one"),
        ({}, {"finish_class": "solid_film"}, "strip", "a film peels off boards that were oiled"),
        ({"finish_class": "solid_film"}, {}, "strip", "cannot get through a film"),
        (
            {"finish_class": "solid_film"},
            {"finish_class": "clear_film"},
            "strip",
            "do not wear alike",
        ),
        ({"base": "solvent"}, {}, "strip", "does not bind"),
        (
            {"pigment": "dark"},
            {"pigment": "light"},
            "strip",
            "a lighter finish does not cover a darker one",
        ),
        ({"pigment": "light"}, {"pigment": "dark"}, "recoat", "same class and base"),
        (
            {"finish_class": "clear_repellent"},
            {"finish_class": "tinted"},
            "strip",
            "beads on the wax",
        ),
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
    assert found.warning == (
        "Only a strip can change the finish." if work == "strip" else found.warning
    )
    assert "Old Wharf Oil is out of use" in found.why


def test_of_several_that_hold_the_nearest_is_taken_in_the_old_colour(business: Business) -> None:
    deck = DeckFactory()
    coated(deck, finish("Old Wharf Oil", is_active=False, maker="Larkmoor"), colour="slate")
    finish("Saltmarsh Tint", finish_class="tinted", maker="Larkmoor")
    near = finish("Tidewood Deck Oil", colours="Driftwood, Slate")

    assert (scope(deck).product, scope(deck).colour) == (near, "Slate")


def test_an_override_goes_before_the_history_and_says_what_it_costs(business: Business) -> None:
    deck = DeckFactory()
    oil = finish("Tidewood Deck Oil")
    solid = finish("Harbour Solid", finish_class="solid_film")
    coated(deck, oil, coats=7)

    assert "By the book this is a strip: 7 coats" in scope(deck, work="recoat").warning
    assert scope(deck, work="recoat").work == "recoat"
    changed = scope(deck, product=solid, colour="Slate", coats=3)
    assert (changed.work, changed.product, changed.colour, changed.coats) == (
        "strip",
        solid,
        "Slate",
        3,
    )
    assert "Changing the finish takes the old one off first." in changed.reasons
    assert "Only a strip makes it lighter" in scope(deck, product=oil, colour="Cedar").warning


def test_without_any_finish_in_use_the_scope_says_so_and_still_stands(business: Business) -> None:
    deck = DeckFactory()
    coated(deck, finish("Old Wharf Oil", is_active=False))

    found = scope(deck)

    assert found.product is None
    assert "no finish is in use" in found.warning
    assert need(found, "finish").litres == 2
