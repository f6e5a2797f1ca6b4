"""Coats since the last strip, for one deck and for many, and what follows from them."""

from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from django.test import Client

from jobs.models import Job
from jobs.work.coat_build import CoatBuild, coat_build, coat_build_before_and_after
from tests.factories import CoatFactory, DeckFactory, JobFactory, ProductFactory

pytestmark = pytest.mark.django_db


def coats(deck: object, year: int, kind: str = "recoat", count: int = 2, **values: object) -> Job:
    job = JobFactory(deck=deck, kind=kind, finished_on=date(year, 6, 1))
    CoatFactory(job=job, coats=count, **values)
    return job


def test_only_finish_on_the_boards_since_the_last_strip_counts() -> None:
    deck = DeckFactory()
    oil = ProductFactory()
    wash = ProductFactory(kind="cleaner", finish_class="")
    coats(deck, 2018, product=oil, count=5)
    strip = coats(deck, 2020, "strip", product=oil)
    CoatFactory(job=strip, product=wash)
    CoatFactory(job=strip, product=oil, surfaces=["rails"])
    coats(deck, 2021, product=oil, count=1)
    coats(deck, 2022, product=oil, count=1, surfaces=["boards", "stairs", "rails", "screens"])

    assert coat_build(deck) == CoatBuild(4)


def test_a_deck_that_was_never_stripped_counts_from_its_first_coat_and_an_empty_one_has_none() -> (
    None
):
    deck = DeckFactory()
    empty = DeckFactory()
    coats(deck, 2019)
    coats(deck, 2021)

    assert Job.objects.coat_build_by_deck([deck.pk, empty.pk, deck.pk]) == {deck.pk: 4, empty.pk: 0}
    assert Job.objects.coat_build_by_deck([]) == {}


def test_many_decks_are_answered_in_one_query(
    django_assert_num_queries: Callable[[int], Any],
) -> None:
    decks = DeckFactory.create_batch(5)
    for deck in decks:
        coats(deck, 2020, "strip")
        coats(deck, 2021, count=1)

    with django_assert_num_queries(1):
        assert set(Job.objects.coat_build_by_deck([deck.pk for deck in decks]).values()) == {3}


def test_more_than_six_coats_mean_a_strip_with_two_applications_of_stripper() -> None:
    """Common practice, no source."""
    assert (CoatBuild(6).needs_strip, CoatBuild(6).stripper_applications) == (False, 1)
    assert (CoatBuild(7).needs_strip, CoatBuild(7).stripper_applications) == (True, 2)


def test_a_strip_counts_what_it_took_off_before_and_what_it_left_after() -> None:
    deck = DeckFactory()
    for year in range(2016, 2020):
        coats(deck, year)
    strip = coats(deck, 2020, "strip", count=2)
    coats(deck, 2021, count=1)

    assert coat_build_before_and_after(strip) == (CoatBuild(8), CoatBuild(2))
    assert coat_build(deck) == CoatBuild(3)


def test_the_page_says_before_the_work_that_a_deck_needs_a_strip(as_owner: Client) -> None:
    deck = DeckFactory()
    for year in range(2021, 2025):
        coats(deck, year)

    response = as_owner.get("/jobs/log/", {"deck": deck.pk})

    text = response.content.decode()
    assert "8 coats lie on it. Take 2 full applications of stripper." in text
    assert response.context["page"].job["kind"].value() == "strip"
