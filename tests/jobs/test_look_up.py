"""Looking decks up by years, work, states and offers, on the page and by the command."""

import json
import unicodedata
from datetime import date
from io import StringIO

import pytest
from django.core.management import call_command
from django.db import connection, transaction
from django.test import Client as Browser
from django.utils import timezone

from clients.models import Business, Deck
from jobs import search
from jobs.models import Booking, Job, Product
from reminders.actions import refresh_forecasts
from tests.factories import (
    BatchFactory,
    ClientFactory,
    CoatFactory,
    CrewFactory,
    DeckFactory,
    JobFactory,
    OfferFactory,
    OfferScopeFactory,
    ProductFactory,
    PropertyFactory,
)

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("with_words", "business")]


def deck_of(name: str, town: str = "Lunenburg", **values: object) -> Deck:
    home = PropertyFactory(client__name=name, town=town, street="7 Plover Row")
    return DeckFactory(site=home, **values)


def work(deck: Deck, day: str, kind: str = "recoat", product: str = "", **values: object) -> Job:
    job = JobFactory(deck=deck, finished_on=date.fromisoformat(day), kind=kind)
    if product:
        CoatFactory(job=job, product=shelf_product(product), **values)
    return job


def shelf_product(name: str) -> Product:
    return Product.objects.filter(name=name).first() or ProductFactory(name=name)


def found(text: str, **filters: object) -> set[int | None]:
    answer = search.find_decks(
        text, filters=search.SearchFilters(**filters), today=date(2026, 11, 30)
    )
    return {hit.deck_id for hit in answer.hits}


@pytest.fixture
def saltonby() -> Deck:
    """Stripped in May 2019, coated again in June 2021 and July 2023."""
    deck = deck_of("Ottilie Saltonby")
    work(deck, "2019-05-14", "strip", "Saltmarsh Oil", colour="Honey")
    work(deck, "2021-06-02", "recoat", "Saltmarsh Oil", colour="Honey")
    work(deck, "2023-07-09", "recoat", "Boreal Stain", colour="Ochre")
    return deck


@pytest.fixture
def quill() -> Deck:
    """Coated in 2019 in another town, stripped in October 2023."""
    deck = deck_of("Halvard Quill", town="Mahone Bay")
    work(deck, "2019-08-20", "recoat", "Boreal Stain")
    work(deck, "2023-10-03", "strip", "Saltmarsh Oil")
    return deck


@pytest.mark.parametrize(
    ("text", "names"),
    [
        ("2023", "saltonby quill"),
        ("saltonby 2023", "saltonby"),
        ("strips 2019", "saltonby"),
        ("strips 2019 lunenburg", "saltonby"),
        ("recoats in 2019", "quill"),
        ("may 2019", "saltonby"),
        ("2019-08", "quill"),
        ("fall 2023", "quill"),
        ("été 2023", "saltonby"),
        ("décapage octobre 2023", "quill"),
        ("clean and recoat 2021", "saltonby"),
        ("saltmarsh 2023", "quill"),  # that product in that year, not the one in another
        ("saltmarsh 2019", "saltonby"),
        ("october", "quill"),
        ("plover row 2021", "saltonby"),
    ],
)
def test_years_months_and_work_find_the_decks(
    saltonby: Deck, quill: Deck, text: str, names: str
) -> None:
    known = {"saltonby": saltonby.pk, "quill": quill.pk}

    assert found(text) == {known[name] for name in names.split()}


def test_work_and_year_are_of_one_job(saltonby: Deck) -> None:
    answer = search.find_decks("saltonby strip 2021")

    assert answer.failed == ["2021"]
    assert [hit.deck_id for hit in answer.hits] == [saltonby.pk]


def test_the_word_that_fits_nothing_is_named_and_the_rest_finds(
    saltonby: Deck, quill: Deck
) -> None:
    answer = search.find_decks("quill 2021")

    assert answer.failed == ["2021"]
    assert [hit.deck_id for hit in answer.hits] == [quill.pk]
    assert search.find_decks("ottilie quill").failed == ["quill"]


def test_a_year_is_also_the_number_of_a_house_but_not_a_number_in_a_note(saltonby: Deck) -> None:
    home = PropertyFactory(street="2019 Shore Road")
    at_home = DeckFactory(site=home)
    DeckFactory(notes="Built 2019 by the neighbour.")

    assert found("2019 shore") == {at_home.pk}
    assert found("2019") == {saltonby.pk, at_home.pk}


def test_a_number_that_only_notes_hold_is_found_there(saltonby: Deck) -> None:
    noted = DeckFactory(notes="Built 2008 by the neighbour.")

    assert found("2008") == {noted.pk}


def test_a_month_is_also_a_name(saltonby: Deck) -> None:
    may = deck_of("May Tennock")

    assert found("may") == {saltonby.pk, may.pk}
    assert found("may tennock") == {may.pk}


def test_winter_runs_over_new_year_and_seasons_turn_in_the_south() -> None:
    """Meteorological quarters: December to February is the northern winter (from memory)."""
    north = deck_of("Ottilie Saltonby")
    work(north, "2022-01-15")
    home = PropertyFactory(latitude=-43.5, longitude=172.6, country="NZ", region="Canterbury")
    south = DeckFactory(site=home)
    work(south, "2022-01-15")

    assert found("winter 2021") == found("winter 2022") == {north.pk}
    assert found("summer 2021") == found("summer 2022") == {south.pk}


@pytest.mark.parametrize(
    ("typed", "read"), [("dupius", "dupuis"), ("wilosn", "wilson"), ("iwlson", "wilson")]
)
def test_swapped_letters_are_forgiven(typed: str, read: str) -> None:
    dupuis = deck_of("Ottilie Dupuis")
    wilson = deck_of("Halvard Wilson")

    answer = search.find_decks(typed)

    assert answer.read_as == {typed: read}
    assert [hit.deck_id for hit in answer.hits] == [dupuis.pk if read == "dupuis" else wilson.pk]


def test_filters_narrow_and_a_year_goes_with_product_and_finish(
    saltonby: Deck, quill: Deck
) -> None:
    ipe = deck_of("Perpetua Lowe", town="Mahone Bay", species="ipe")

    assert found("", species="ipe") == {ipe.pk}
    assert found("", town="Mahone Bay") == {quill.pk, ipe.pk}
    assert found("", town="mahone") == {quill.pk, ipe.pk}
    assert found("", town="bay") == set()
    assert found("", year=2021) == {saltonby.pk}
    assert found("", product="saltmarsh", year=2023) == {quill.pk}
    assert found("", product="saltmarsh oil") == {saltonby.pk, quill.pk}
    assert found("", product="no such") == set()
    assert found("", finish="penetrating_oil", year=2019) == {saltonby.pk, quill.pk}
    assert found("", finish="solid_film") == set()
    assert found("strip", year=2023) == {quill.pk}
    assert found("ottilie", town="Mahone Bay") == set()


def test_archived_is_a_word_and_a_filter(saltonby: Deck, quill: Deck) -> None:
    Deck.objects.filter(pk=quill.pk).update(archived_at=timezone.now())

    assert found("archived") == found("2019", archived="yes") == {quill.pk}
    assert found("2019", archived="no") == {saltonby.pk}
    assert found("2019") == {saltonby.pk, quill.pk}
    client = saltonby.site.client
    type(client).objects.filter(pk=client.pk).update(archived_at=timezone.now())
    assert found("archived") == {saltonby.pk, quill.pk}


def test_booked_and_overdue_are_words_and_filters(saltonby: Deck, quill: Deck) -> None:
    booking = Booking.objects.create(
        client=quill.site.client,
        site=quill.site,
        crew=CrewFactory(),
        first_on=date(2023, 12, 4),
        last_on=date(2023, 12, 4),
        hours=6,
    )
    booking.decks.add(quill)
    refresh_forecasts(today=date(2023, 11, 1), now=timezone.now())

    assert found("booked") == found("", state="booked") == {quill.pk}
    assert found("overdue") == found("", state="overdue") == {saltonby.pk, quill.pk}
    assert found("booked saltonby") == {saltonby.pk}
    assert search.find_decks("booked saltonby").failed == ["booked"]
    early = search.find_decks("overdue", today=date(2023, 11, 2))
    assert early.hits == []
    booking.state = "done"
    booking.save()
    assert found("booked") == set()


def test_an_offer_is_found_by_its_number(as_owner: Browser, saltonby: Deck, quill: Deck) -> None:
    offer = OfferFactory(number=114, client=quill.site.client, site=quill.site)
    OfferScopeFactory(offer=offer, deck=quill)

    assert found("offer 114") == found("soumission 114") == {quill.pk}
    assert found("offer 115") == set()
    page = as_owner.get("/decks/", {"q": "offer 114"}).content.decode()
    assert f"/offers/{offer.pk}/" in page


def test_an_index_of_a_job_follows_its_change(saltonby: Deck) -> None:
    job = saltonby.jobs.get(kind="strip")
    job.finished_on = date(2017, 4, 1)
    job.save()

    assert found("strips 2017") == {saltonby.pk}
    assert search.find_decks("strips 2019").failed == ["2019"]


def test_the_matching_line_comes_first_and_is_marked(as_owner: Browser, saltonby: Deck) -> None:
    for year in range(2004, 2010):
        work(saltonby, f"{year}-06-01", "recoat", "Larkmoor Tint")

    page = as_owner.get("/decks/", {"q": "saltonby strip 2019"}).content.decode()

    first = page.index('<ul class="lines">')
    assert page.index('<mark><time datetime="2019-05-14">', first) < page.index("2023-07-09", first)
    assert page.count("<mark>") == 1


def test_archived_is_said_on_the_page(as_owner: Browser, saltonby: Deck) -> None:
    assert "Archived</span>" not in as_owner.get("/decks/", {"q": "ottilie"}).content.decode()
    Deck.objects.filter(pk=saltonby.pk).update(archived_at=timezone.now())

    assert "Archived</span>" in as_owner.get("/decks/", {"q": "ottilie"}).content.decode()


def test_the_page_says_which_word_failed(as_owner: Browser, saltonby: Deck, quill: Deck) -> None:
    page = as_owner.get("/decks/", {"q": "quill 2021"}).content.decode()

    assert "Nothing fits “2021” together with the rest." in page
    assert "Halvard Quill" in page
    assert "Ottilie Saltonby" not in page


def test_filters_are_plain_fields_of_the_address(
    as_owner: Browser, saltonby: Deck, quill: Deck
) -> None:
    page = as_owner.get("/decks/", {"town": "Mahone Bay", "year": "2019"}).content.decode()

    assert "Halvard Quill" in page
    assert "Ottilie Saltonby" not in page
    assert '<details class="whole" open>' in page
    assert 'value="2019"' in page


def test_a_wrong_filter_is_named_at_its_field(as_owner: Browser, saltonby: Deck) -> None:
    page = as_owner.get("/decks/", {"q": "ottilie", "year": "last"}).content.decode()

    assert "Write the year in four figures" in page
    assert "Ottilie Saltonby" in page


@pytest.mark.parametrize("query", ["q=%00", "year=99999999999", "page=x", "page=99999", "state=x"])
def test_strange_addresses_are_answered(as_owner: Browser, saltonby: Deck, query: str) -> None:
    assert as_owner.get(f"/decks/?q=ottilie&{query}").status_code == 200


def test_more_than_a_page_is_one_step_away(as_owner: Browser) -> None:
    home = PropertyFactory(street="7 Plover Row")
    decks = {DeckFactory(site=home, label=f"Deck {n}").pk for n in range(35)}

    first = as_owner.get("/decks/", {"q": "plover"})
    second = as_owner.get("/decks/", {"q": "plover", "page": 2})

    shown = [card["deck"].pk for page in (first, second) for card in page.context["cards"]]
    assert sorted(shown) == sorted(decks)
    assert "q=plover&amp;page=2" in first.content.decode()
    failing = as_owner.get("/decks/", {"q": "plover 1987", "page": 2})
    assert len(failing.context["cards"]) == 5
    assert failing.context["found"].failed == ["1987"]


def run_history(*words: str) -> tuple[list[dict[str, object]], str]:
    out = StringIO()
    err = StringIO()
    call_command("history", *words, format="json", stdout=out, stderr=err)
    return json.loads(out.getvalue()), err.getvalue()


def test_the_command_prints_the_matching_line_first(saltonby: Deck) -> None:
    rows, said = run_history("saltonby", "2021")

    assert [row["finished_on"] for row in rows] == ["2021-06-02", "2023-07-09", "2019-05-14"]
    assert said == ""


def test_the_command_says_what_failed_and_what_is_archived(saltonby: Deck) -> None:
    Deck.objects.filter(pk=saltonby.pk).update(archived_at=timezone.now())

    rows, said = run_history("saltonby", "2007")

    assert len(rows) == 3
    assert "“2007”" in said
    assert "is archived" in said


def test_a_batch_is_the_line_that_matches() -> None:
    deck = deck_of("Ottilie Saltonby")
    old = work(deck, "2019-05-14")
    CoatFactory(job=old, batch=BatchFactory(code="SM-19/004"))
    work(deck, "2024-05-14", product="Boreal Stain")

    assert run_history("sm19004")[0][0]["batch"] == "SM-19/004"


# Folding: NFKD and the removal of marks (Unicode Standard Annex #15), caseless matching of chapter
# 3.13 of the Unicode Standard, as Python's unicodedata and str.casefold have them.
NAMES = [
    "Tāne Ngāruawāhia",
    "Łucja Żółkiewska",
    "Nguyễn Thị Đặng",
    "أَحْمَد مُحَمَّد",
    "إبراهيم",
    "José Núñez",
    "Weiß",
    "Σίσυφος",
    "Åse Løvås",
    "Ĺ̥ubica",
]
BY_PLAIN_KEYS = {
    "Łucja Żółkiewska": "lucja zolkiewska",
    "Nguyễn Thị Đặng": "nguyen thi dang",
    "Åse Løvås": "ase lovas",
}


def without_marks(text: str) -> str:
    decomposed = unicodedata.normalize("NFKD", unicodedata.normalize("NFKD", text).casefold())
    return "".join(
        letter for letter in decomposed if not unicodedata.category(letter).startswith("M")
    )


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("form", ["NFC", "NFD", "NFKC", "NFKD"])
def test_names_are_found_by_plain_typing_in_every_form(name: str, form: str) -> None:
    deck = deck_of(unicodedata.normalize(form, name))
    deck_of("Marlow Pennington")

    typed = {name, name.upper(), without_marks(name), unicodedata.normalize("NFD", name)}
    typed.add(BY_PLAIN_KEYS.get(name, name))
    for text in typed:
        answer = search.find_decks(text)
        assert [hit.deck_id for hit in answer.hits] == [deck.pk], text
        assert not answer.read_as, text


def test_a_bulk_load_writes_its_words_once_and_with_statistics() -> None:
    with transaction.atomic():
        search.search_later()
        deck = deck_of("Ottilie Saltonby")
        assert found("ottilie") == set()
        search.refresh_search()

        assert found("ottilie") == {deck.pk}
        client = ClientFactory(name="Perpetua Lowe")
    assert [hit.client_id for hit in search.find_decks("perpetua").hits] == [client.pk]


def test_a_refresh_of_all_is_planned_with_statistics(business: Business) -> None:
    """PostgreSQL keeps in pg_class how many rows it found when it last looked: -1 for never."""
    with transaction.atomic():
        search.search_later()
        for _ in range(3):
            CoatFactory()
        search.refresh_search()
        with connection.cursor() as cursor:
            cursor.execute("SELECT reltuples FROM pg_class WHERE relname = 'jobs_coatapplied'")
            assert cursor.fetchone()[0] == 3


def test_a_job_of_an_unknown_day_is_found_by_every_year_it_may_be_of(business: Business) -> None:
    deck = deck_of("Ottilie Saltonby")
    JobFactory(
        deck=deck, kind="strip", finished_from=date(2018, 12, 1), finished_on=date(2019, 2, 28)
    )

    for text in ("strips 2018", "2019", "winter 2018", "january 2019", "2018-12"):
        assert found(text) == {deck.pk}, text
    assert found("march 2019") == set()
    assert search.find_decks("saltonby 2017").failed == ["2017"]
