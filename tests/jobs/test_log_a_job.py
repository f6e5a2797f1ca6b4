"""Log a job: the page used as on the deck, and everything that can go wrong while typing."""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from decimal import Decimal

import pytest
from django.test import Client
from freezegun import freeze_time

from clients.models import Business, Deck, Place, User
from clients.models import Client as DeckOwner
from jobs.models import Batch, CoatApplied, Job, Visit
from tests.factories import (
    BatchFactory,
    ClientFactory,
    DeckFactory,
    ProductFactory,
)
from tests.jobs.log_page import URL, errors, filled, log, new_client, row

pytestmark = pytest.mark.django_db
AsUser = Callable[[User], Client]


@pytest.fixture(autouse=True)
def _noon_on_the_deck() -> Iterator[None]:
    with freeze_time("2026-06-11 15:00:00", ignore=["urllib3"]):  # noon in Nova Scotia
        yield


@pytest.fixture
def deck(business: Business) -> Deck:
    return DeckFactory(site__client__name="Marlow Pennington", label="Back deck")


@pytest.fixture
def as_crew(crew: User, as_user: AsUser) -> Client:
    return as_user(crew)


@pytest.fixture
def lunenburg(db: None) -> Place:
    return Place.objects.create(
        geoname_id=1,
        name="Lunenburg",
        ascii_name="Lunenburg",
        region="Nova Scotia",
        country="CA",
        latitude=44.38,
        longitude=-64.31,
        time_zone="America/Halifax",
    )


def test_the_crew_logs_a_job_with_all_that_was_seen_and_used(
    as_crew: Client, crew: User, deck: Deck
) -> None:
    oil = ProductFactory()

    more = {"greying": "3", "moisture_percent": "14.5", "notes": "Shut the gate."}
    response = log(as_crew, deck, row(oil, batch=" tw-77 "), **more)

    job = Job.objects.get()
    assert response["Location"] == f"/jobs/{job.pk}/"
    assert (job.deck, job.kind, str(job.finished_on), job.crew) == (
        deck,
        "recoat",
        "2026-06-10",
        "Tern crew",
    )
    assert (job.air_c, job.humidity_percent, job.sky, job.notes) == (
        21,
        55,
        "sun",
        "Shut the gate.",
    )
    assert (job.recorded_by, job.created_at) == (crew, datetime(2026, 6, 11, 15, tzinfo=UTC))
    assert (job.visit.overall, job.visit.greying, job.visit.mould) == (2, 3, None)
    assert (job.visit.reason, job.visit.moisture_percent, job.visit.found_by) == (
        "due",
        Decimal("14.5"),
        "Tern crew",
    )
    coat = job.coats_applied.get()
    assert (coat.product, coat.batch.code, coat.colour, coat.coats, coat.litres) == (
        oil,
        "tw-77",
        "Driftwood",
        2,
        4,
    )


def test_a_batch_that_is_in_the_book_is_not_made_again_whatever_its_capitals(
    as_crew: Client, deck: Deck
) -> None:
    batch = BatchFactory(code="TW-77/26")

    log(as_crew, deck, row(batch.product, batch="tw-77/26"))

    assert CoatApplied.objects.get().batch == batch
    assert Batch.objects.count() == 1


def test_a_new_client_and_deck_are_written_with_the_job(
    as_crew: Client, business: Business, lunenburg: Place
) -> None:
    oil = ProductFactory()

    response = log(as_crew, None, row(oil), kind="strip", **new_client())

    job = Job.objects.get()
    assert response["Location"] == f"/jobs/{job.pk}/"
    home = job.deck.site
    assert (home.client.name, home.street, home.town) == (
        "Ottilie Saltonby",
        "9 Plover Street",
        "Lunenburg",
    )
    assert (home.latitude, home.time_zone) == (44.38, "America/Halifax")
    assert (job.deck.label, job.deck.species, job.deck.area_m2) == ("Sun deck", "red_cedar", 24)
    assert sorted(point.normalized for point in home.client.contact_points.all()) == [
        "+19025550147",
        "ottilie@example.org",
    ]


def test_a_new_client_is_not_left_behind_when_the_job_is_wrong(
    as_crew: Client, lunenburg: Place
) -> None:
    response = log(as_crew, None, row(ProductFactory(), coats=0), **new_client())

    assert errors(response) == {"coats-0-coats": ["At least 1 coat."]}
    assert (DeckOwner.objects.count(), Deck.objects.count(), Job.objects.count()) == (0, 0, 0)
    assert 'value="Ottilie Saltonby"' in response.content.decode()


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"phone": "555-01"}, "phone"),
        ({"email": "ottilie at example"}, "email"),
        ({"town": "Lunenbrug"}, "Perhaps you mean Lunenburg, Nova Scotia"),
        ({"town": "Xyzzy"}, "not a town we know"),
        ({"area_m2": "-3"}, "area must be more than 0"),
        ({"area_m2": "NaN"}, "Enter a number"),
        ({"area_m2": "1e400"}, "too large"),
        ({"species": "balsa"}, "Select a valid choice"),
        ({"name": ""}, "fill this in"),
    ],
)
def test_what_is_wrong_about_a_new_client_is_named(
    as_crew: Client, business: Business, lunenburg: Place, wrong: dict[str, str], said: str
) -> None:
    response = log(as_crew, None, row(ProductFactory()), **new_client(**wrong))

    assert response.status_code == 200
    assert list(errors(response)) == [f"new-{next(iter(wrong))}"]
    assert said in response.content.decode()
    assert DeckOwner.objects.count() == 0


def test_a_second_click_adds_nothing_and_shows_the_job(as_crew: Client, deck: Deck) -> None:
    page = filled(deck, row(ProductFactory()))

    first = as_crew.post(URL, page)
    second = as_crew.post(URL, page, follow=True)

    assert second.redirect_chain == [(first["Location"], 302)]
    assert "This job was logged already. Nothing was added." in second.content.decode()
    assert (Job.objects.count(), Visit.objects.count(), CoatApplied.objects.count()) == (1, 1, 1)


def test_a_page_sent_again_with_other_values_changes_nothing(as_crew: Client, deck: Deck) -> None:
    page = filled(deck, row(ProductFactory()))
    as_crew.post(URL, page)

    as_crew.post(URL, {**page, "finished_on": "2026-13-40", "crew": "Somebody else"})

    assert Job.objects.get().crew == "Tern crew"


@pytest.mark.parametrize(
    ("wrong", "field", "said"),
    [
        ({"finished_on": "2026-02-30"}, "finished_on", "not a day of the calendar"),
        ({"finished_on": "2026-06-12"}, "finished_on", "in the future"),
        ({"finished_on": "1949-12-31"}, "finished_on", "from 1950 on"),
        ({"finished_on": ""}, "finished_on", "fill this in"),
        ({"kind": "paint"}, "kind", "Select a valid choice"),
        ({"kind": ""}, "kind", "Choose what was done"),
        ({"overall": "6"}, "overall", "Grades go from 0"),
        ({"reason": ""}, "reason", "Choose why you were there"),
        ({"humidity_percent": "101"}, "humidity_percent", "from 0 to 100"),
        ({"air_c": "warm"}, "air_c", "Enter a number"),
        ({"air_c": "80"}, "air_c", "No air is that hot"),
        ({"moisture_percent": "-1"}, "moisture_percent", "greater than or equal to 0"),
        ({"notes": "x" * 20_001}, "notes", "at most 20000 characters"),
        ({"form_key": "no key"}, "form_key", "valid UUID"),
        ({"coats-0-coats": "0"}, "coats-0-coats", "At least 1 coat"),
        ({"coats-0-coats": "11"}, "coats-0-coats", "At most 10 coats"),
        ({"coats-0-litres": "-4"}, "coats-0-litres", "must be more than 0"),
        ({"coats-0-litres": "0"}, "coats-0-litres", "must be more than 0"),
        ({"coats-0-litres": "99999999"}, "coats-0-litres", "Too much for one deck"),
        ({"coats-0-product": "987654"}, "coats-0-product", "This product is not on file"),
        ({"coats-0-product": ""}, "coats-0-product", "Choose the product"),
        ({"coats-0-batch": "b" * 61}, "coats-0-batch", "at most 60 characters"),
        ({"coats-0-surfaces": "roof"}, "coats-0-surfaces", "This deck has no roof"),
    ],
)
def test_bad_input_is_named_and_all_that_was_typed_stays(
    as_crew: Client, deck: Deck, wrong: dict[str, str], field: str, said: str
) -> None:
    oil = ProductFactory()

    response = as_crew.post(
        URL, {**filled(deck, row(oil, colour="Moss <grey>"), crew="Gannet & Tern"), **wrong}
    )

    assert response.status_code == 200
    page = response.content.decode()
    assert list(errors(response)) == [field]
    assert said in page
    assert 'value="Gannet &amp; Tern"' in page
    assert 'value="Moss &lt;grey&gt;"' in page
    assert (Job.objects.count(), Visit.objects.count(), Batch.objects.count()) == (0, 0, 0)


def test_ten_megabytes_of_text_are_refused_before_anything_is_written(
    as_crew: Client, deck: Deck
) -> None:
    response = log(as_crew, deck, row(ProductFactory()), notes="x" * 10_000_000)

    assert response.status_code == 400
    assert Job.objects.count() == 0


def test_a_deck_of_an_archived_client_takes_no_job_and_loses_no_typing(
    as_crew: Client, business: Business
) -> None:
    gone = ClientFactory(archived_at=datetime(2026, 1, 1, tzinfo=UTC))
    deck = DeckFactory(site__client=gone)

    response = log(as_crew, deck, row(ProductFactory()), notes="Shut the gate.")

    assert "is archived" in str(response.context["page"].job.non_field_errors())
    assert "Shut the gate." in response.content.decode()
    assert Job.objects.count() == 0


@pytest.mark.parametrize("text", ["987654", "x", "9" * 40, "-1", "٣"])
def test_a_deck_that_is_not_there_leads_back_to_the_choice(
    as_crew: Client, business: Business, text: str
) -> None:
    response = as_crew.get(URL, {"deck": text})

    assert "archived or not on file" in response.content.decode()
    assert response.templates[0].name == "jobs/choose_deck.html"


def test_broken_row_counts_are_no_server_error(as_crew: Client, deck: Deck) -> None:
    for total in ["", "x", "100000"]:
        response = log(as_crew, deck, row(ProductFactory()), **{"coats-TOTAL_FORMS": total})
        assert response.status_code == 200, total
        assert (
            log(as_crew, deck, **{"coats-TOTAL_FORMS": total, "add_product": "1"}).status_code
            == 200
        )


def test_without_scripts_another_product_is_added_and_nothing_is_checked_yet(
    as_crew: Client, deck: Deck
) -> None:
    oil = ProductFactory()
    page = filled(
        deck, row(oil, batch="TW-5", litres="x"), crew="Gannet crew", add_product="1", overall="4"
    )

    response = as_crew.post(URL, page)

    text = response.content.decode()
    assert response.context["page"].rows.total_form_count() == 2
    assert all(
        part in text
        for part in ['value="TW-5"', 'value="x"', 'value="Gannet crew"', page["form_key"]]
    )
    assert '<input type="radio" name="overall" value="4" class="grades"' in text
    assert "has-errors" not in text
    assert Job.objects.count() == 0


def test_products_left_out_and_empty_rows_are_not_written(as_crew: Client, deck: Deck) -> None:
    oil = ProductFactory()
    wash = ProductFactory(kind="cleaner", finish_class="")
    rows = [
        row(wash, 0, coats=1),
        row(oil, 1, **{"DELETE": "on"}),
        row("", 2, batch="", colour="", coats=1, litres=""),
    ]

    log(as_crew, deck, *rows)

    assert [(coat.position, coat.product) for coat in CoatApplied.objects.all()] == [(1, wash)]


def test_the_crew_neither_sees_nor_sets_the_price(
    as_crew: Client, as_owner: Client, deck: Deck
) -> None:
    log(as_crew, deck, row(ProductFactory()), amount="450")
    job = Job.objects.get()
    assert (job.amount, job.currency) == (None, "")
    as_owner.post(f"/jobs/{job.pk}/edit/", filled(deck, row(ProductFactory()), amount="450"))

    as_crew.post(
        f"/jobs/{job.pk}/edit/", filled(deck, row(ProductFactory()), amount="1", crew="Gannet crew")
    )

    job.refresh_from_db()
    assert (job.amount, job.currency, job.crew) == (450, "CAD", "Gannet crew")
    assert "450" not in as_crew.get(f"/jobs/{job.pk}/").content.decode()
    assert "$450.00" in as_owner.get(f"/jobs/{job.pk}/").content.decode()


def test_us_units_are_kept_in_si_by_the_exact_factors(
    as_crew: Client, deck: Deck, business: Business
) -> None:
    """1 US gallon = 231 cubic inches = 3.785411784 L (NIST Handbook 44, appendix C);
    68 °F = 20 °C."""
    Business.objects.update(units="us")

    log(as_crew, deck, row(ProductFactory(), litres="1.5"), air_c="68")

    job = Job.objects.get()
    assert (job.air_c, job.coats_applied.get().litres) == (Decimal("20.0"), Decimal("5.68"))
    page = as_crew.get(f"/jobs/{job.pk}/edit/").context["page"]
    assert (page.job["air_c"].value(), page.rows.forms[0]["litres"].value()) == ("68", "1.5")


def test_every_page_of_a_job_needs_a_sign_in(client: Client, deck: Deck) -> None:
    for path in [
        "log/",
        "1/",
        "1/edit/",
        "1/remove/",
        "visit/",
        "products/",
        "batches/1/",
        "photos/1/",
    ]:
        assert client.get(f"/jobs/{path}")["Location"].startswith("/sign-in/?next=")


def test_a_job_that_the_other_crew_has_logged_is_asked_about(
    as_owner: Client, as_user: AsUser, crew: User
) -> None:
    """Two phones, one booking: the second sees the first's job and chooses."""
    deck = DeckFactory()
    product = ProductFactory()
    as_user(crew).post(URL, filled(deck, row(product), notes="Gate shut."))
    second = filled(deck, row(product), notes="Left the key under the mat.")

    asked = as_owner.post(URL, second)

    there = Job.objects.get()
    shown = asked.content.decode()
    assert "Is this the job that is in the book?" in shown
    assert f'href="/jobs/{there.pk}/"' in shown
    assert "Left the key under the mat." in shown
    assert as_owner.post(URL, {**second, "another_job": "yes"}).status_code == 302
    assert [job.notes for job in Job.objects.order_by("id")] == [
        "Gate shut.",
        "Left the key under the mat.",
    ]


def test_another_day_or_kind_is_another_job(as_owner: Client) -> None:
    deck = DeckFactory()
    for change in ({}, {"finished_on": "2026-06-09"}, {"kind": "repair"}):
        as_owner.post(URL, filled(deck, row(ProductFactory()), **change))

    assert Job.objects.count() == 3
