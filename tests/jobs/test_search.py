"""Looking things up through the search, the page and the command."""

import json
from collections.abc import Callable
from io import StringIO

import pytest
from django.core.management import call_command
from django.db import connection
from django.test import Client as Browser

from clients.models import Business, Deck
from jobs import search
from jobs.models import SearchEntry
from tests.factories import (
    BatchFactory,
    ClientFactory,
    CoatFactory,
    DeckFactory,
    EmailFactory,
    JobFactory,
    PhoneFactory,
    ProductFactory,
    PropertyFactory,
)

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("with_words")]


@pytest.fixture
def deck(business: Business) -> Deck:
    """One deck with everything by which it may be looked up, beside one that shares nothing with
    it."""
    client = ClientFactory(name="Ottilie Brankovič")
    EmailFactory(client=client, value="ottilie@example.org")
    PhoneFactory(client=client, value="902-555-0123")
    home = PropertyFactory(
        client=client, street="17 Gannet Row", town="Mahone Bay", postcode="B0J 2E0"
    )
    deck = DeckFactory(site=home, label="Lower deck", notes="Gate code with the neighbour.")
    oil = ProductFactory(name="Saltmarsh Oil", maker="Tidewood")
    batch = BatchFactory(product=oil, code="SM-24/117")
    job = JobFactory(deck=deck, crew="Heron crew", notes="Two boards by the stairs replaced.")
    CoatFactory(job=job, product=oil, batch=batch, colour="Slate grey")
    CoatFactory(
        job__deck__site__client__name="Halvard Quill",
        job__deck__site__street="2 Plover Hill",
        product__name="Boreal Stain",
        colour="Ochre",
    )
    return deck


def found(text: str) -> list[int | None]:
    return [hit.deck_id for hit in search.find_decks(text).hits]


@pytest.mark.parametrize(
    "text",
    [
        "Brankovič",
        "brankovic",
        "otti",
        "ottilie@example.org",
        "902-555-0123",
        "(902) 555 0123",
        "0123",
        "+1 902 555 0123",
        "17 gannet",
        "mahone bay",
        "B0J2E0",
        "B0J 2E0",
        "lower",
        "neighbour",
        "saltmarsh",
        "Slate",
        "SM-24/117",
        "sm24117",
        "heron",
        "stairs replaced",
        "gannet saltmarsh slate",
    ],
)
def test_a_deck_is_found_by_anything_known_about_it(deck: Deck, text: str) -> None:
    assert found(text) == [deck.pk]


@pytest.mark.parametrize(
    "text", ["brankovick", "otilie", "ganet row", "saltmarch", "mahoney bay", "neighbor"]
)
def test_a_typing_error_is_forgiven(deck: Deck, text: str) -> None:
    assert found(text)[0] == deck.pk


def test_what_was_read_instead_is_said(deck: Deck) -> None:
    assert search.find_decks("saltmarch").read_as == {"saltmarch": "saltmarsh"}


def test_a_word_like_no_other_is_named_and_the_rest_still_finds(deck: Deck) -> None:
    answer = search.find_decks("ottilie xyzzyqq")

    assert answer.unknown == ["xyzzyqq"]
    assert [hit.deck_id for hit in answer.hits] == [deck.pk]


def test_a_name_ranks_above_a_note(deck: Deck) -> None:
    mentioned = DeckFactory(notes="Next door to Ottilie.")

    assert found("ottilie") == [deck.pk, mentioned.pk]


@pytest.mark.parametrize(
    "text", ["", "   ", "!!! --", "' OR 1=1; --", "a" * 5000, "& | ! ( ) :* <->", "\\", "%_%"]
)
def test_strange_text_is_answered_without_an_error(deck: Deck, text: str) -> None:
    search.find_decks(text)


def test_the_search_follows_a_change_whatever_made_it(deck: Deck) -> None:
    type(deck.site.client).objects.filter(pk=deck.site.client_id).update(name="Ottilie Vance")

    assert found("vance") == [deck.pk]
    assert found("brankovic") == []


def test_the_search_follows_a_deck_to_its_new_owner(deck: Deck) -> None:
    buyer = ClientFactory(name="Perpetua Lowe")
    deck.site.client = buyer
    deck.site.save()

    assert found("perpetua") == [deck.pk]
    assert found("0123") == [None]  # the seller stays in the book, without a deck


def test_a_renamed_product_is_found_by_its_new_name(deck: Deck) -> None:
    product = deck.jobs.get().coats_applied.get().product
    product.name = "Kelpline Oil"
    product.save()

    assert found("kelpline") == [deck.pk]


def test_a_removed_deck_leaves_no_entry_behind(business: Business) -> None:
    deck = DeckFactory()
    client = deck.site.client
    deck.delete()

    assert list(SearchEntry.objects.values_list("client", "deck")) == [(client.pk, None)]


def test_a_bulk_load_may_write_the_words_once_at_its_end(business: Business) -> None:
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL restorer.search_later = 'on'")
        deck = DeckFactory(label="Boathouse deck")
        assert found("boathouse") == []
        cursor.execute("SELECT search_refresh(NULL)")

    assert found("boathouse") == [deck.pk]


def test_the_page_shows_what_went_on_the_deck(deck: Deck, as_owner: Browser) -> None:
    page = as_owner.get("/decks/", {"q": "gannet"}).content.decode()

    assert "Saltmarsh Oil" in page
    assert "SM-24/117" in page
    assert "Boreal Stain" not in page


def test_the_list_of_clients_needs_no_more_queries_for_more_decks(
    as_owner: Browser, django_assert_max_num_queries: Callable
) -> None:
    for _ in range(12):
        CoatFactory()

    with django_assert_max_num_queries(12):
        page = as_owner.get("/decks/").content.decode()
    assert page.count(">Back deck") == 12


def test_nothing_found_offers_another_way(deck: Deck, as_owner: Browser) -> None:
    page = as_owner.get("/decks/", {"q": "zzzyx"}).content.decode()

    assert "No deck found" in page


def test_the_command_prints_one_row_a_product(deck: Deck) -> None:
    out = StringIO()
    call_command("history", "saltmarsh", format="json", stdout=out)

    assert json.loads(out.getvalue()) == [
        {
            "client": "Ottilie Brankovič",
            "property": "17 Gannet Row, Mahone Bay, Nova Scotia",
            "deck": "Lower deck",
            "deck_id": deck.pk,
            "finished_on": "2025-06-12",
            "kind": "Strip and seal",
            "product": "Saltmarsh Oil",
            "maker": "Tidewood",
            "colour": "Slate grey",
            "batch": "SM-24/117",
            "surfaces": "boards",
            "coats": 2,
            "litres": "4.00",
        }
    ]


@pytest.mark.parametrize(
    ("text", "marked"),
    [
        ("Ottilie  Saltonby-Wren", "ottilie:1A saltonby:1A wren:1A"),
        ("12/4 Łódź, Māori", "12:1A 4:1A lodz:1A maori:1A"),
        ("--- ,,", ""),
        (f"{'a' * 61} b {'c' * 61} {'d' * 61} {'e' * 60}", f"b:1A {'e' * 60}:1A"),
    ],
)
def test_each_word_of_a_text_is_marked_with_its_weight_and_very_long_ones_are_left_out(
    text: str, marked: str
) -> None:
    with connection.cursor() as cursor:
        cursor.execute("SELECT weighted_words(%s, 'A')", [text])
        assert cursor.fetchone() == (marked,)
