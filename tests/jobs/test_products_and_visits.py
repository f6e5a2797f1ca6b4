"""Products with their data sheets, the trace of a batch, and checks without work."""

import uuid
from collections.abc import Callable, Collection
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client

from clients import display
from clients.events import decks_changed
from clients.models import Business, Deck, User
from jobs.models import Photo, Product, Visit
from jobs.work.care_record import build_care_record
from tests.factories import (
    BatchFactory,
    CoatFactory,
    DeckFactory,
    EmailFactory,
    JobFactory,
    PhoneFactory,
    ProductFactory,
    VisitFactory,
)
from tests.jobs.log_page import picture

pytestmark = pytest.mark.django_db
AsUser = Callable[[User], Client]


def sheet(**values: object) -> dict[str, object]:
    fields = {
        "name": "Saltmarsh Tint",
        "maker": "Larkmoor",
        "kind": "finish",
        "finish_class": "tinted",
        "base": "water",
        "pigment": "light",
        "colours": "Honey, Fern",
        "coats_usual": "2",
        "spread_m2_per_l": "8.5",
        "minimum_c": "10",
        "maximum_c": "32",
        "walk_hours": "24",
        "furniture_days": "5",
        "is_active": "on",
    }
    return {**fields, **values}


def test_the_crew_adds_a_product_and_only_the_office_changes_it(
    as_user: AsUser, crew: User, office: User
) -> None:
    response = as_user(crew).post("/jobs/products/new/", sheet())

    product = Product.objects.get()
    assert response["Location"] == "/jobs/products/"
    assert (product.finish_class, product.spread_m2_per_l, product.minimum_c) == (
        "tinted",
        Decimal("8.5"),
        10,
    )
    edit = f"/jobs/products/{product.pk}/edit/"
    assert as_user(crew).get(edit).status_code == 403
    as_user(office).post(edit, sheet(walk_hours="36"))
    product.refresh_from_db()
    assert product.walk_hours == 36


def test_a_data_sheet_in_us_units_is_kept_in_si(as_owner: Client) -> None:
    """350 ft²/gal × 0.0245424 = 8.59 m²/L (exact foot 0.3048 m and gallon 3.785411784 L, NIST SP
    811, appendix B)."""
    Business.objects.update(units="us")

    as_owner.post(
        "/jobs/products/new/", sheet(spread_m2_per_l="350", minimum_c="50", maximum_c="90")
    )

    product = Product.objects.get()
    assert (product.spread_m2_per_l, product.minimum_c, product.maximum_c) == (
        Decimal("8.59"),
        10,
        Decimal("32.2"),
    )
    form = as_owner.get(f"/jobs/products/{product.pk}/edit/").context["form"]
    assert (form["spread_m2_per_l"].value(), form["minimum_c"].value()) == ("350.01", "50")


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"finish_class": ""}, "Choose how this finish protects"),
        ({"spread_m2_per_l": "0"}, "Too little to be right"),
        ({"spread_m2_per_l": "Infinity"}, "Enter a number"),
        ({"coats_usual": "0"}, "greater than or equal to 1"),
        ({"minimum_c": "40"}, "must be above the lowest"),
        ({"name": "SALTMARSH TINT 2"}, "already exists"),
        ({"walk_hours": "-1"}, "greater than or equal to 0"),
        ({"data_sheet_url": "javascript:alert(1)"}, "valid URL"),
        ({"kind": "paint"}, "Select a valid choice"),
    ],
)
def test_a_wrong_data_sheet_is_named(as_owner: Client, wrong: dict[str, str], said: str) -> None:
    ProductFactory(name="Saltmarsh Tint 2", maker="Larkmoor")

    response = as_owner.post("/jobs/products/new/", sheet(**wrong))

    assert response.status_code == 200
    assert said in response.content.decode()
    assert Product.objects.count() == 1


def test_a_cleaner_has_no_finish_class_even_if_one_was_left_chosen(as_owner: Client) -> None:
    as_owner.post("/jobs/products/new/", sheet(kind="cleaner"))

    assert Product.objects.get().finish_class == ""


@pytest.mark.parametrize(
    ("kind", "asked", "not_asked"),
    [
        ("finish", {"finish_class", "coats_usual", "walk_hours"}, {"film_mm", "dwell_minutes"}),
        ("stripper", {"film_mm", "dwell_minutes"}, {"finish_class", "coats_usual", "walk_hours"}),
        ("cleaner", {"film_mm", "dwell_minutes"}, {"finish_class", "colours", "furniture_days"}),
    ],
)
def test_a_product_is_asked_about_by_its_kind(
    as_owner: Client, kind: str, asked: set[str], not_asked: set[str]
) -> None:
    page = as_owner.get("/jobs/products/new/", {"kind": kind}).content.decode()

    assert {name for name in asked if f'name="{name}"' in page} == asked
    assert {name for name in not_asked if f'name="{name}"' in page} == set()


def test_what_is_not_asked_of_a_kind_stays_as_it_was(as_owner: Client) -> None:
    product = ProductFactory(kind="stripper", finish_class="", walk_hours=7)

    as_owner.post(f"/jobs/products/{product.pk}/edit/", sheet(kind="stripper", film_mm="1"))

    product.refresh_from_db()
    assert (product.walk_hours, product.film_mm) == (7, 1)


def test_decks_are_forecast_again_when_the_class_of_their_finish_changes(as_owner: Client) -> None:
    told: list[list[int]] = []

    def hear(*, deck_ids: Collection[int], **_signal: object) -> None:
        told.append(list(deck_ids))

    coat = CoatFactory(product__name="Saltmarsh Tint", product__maker="Larkmoor")
    decks_changed.connect(hear)
    try:
        as_owner.post(f"/jobs/products/{coat.product.pk}/edit/", sheet(finish_class="solid_film"))
        as_owner.post(
            f"/jobs/products/{coat.product.pk}/edit/",
            sheet(finish_class="solid_film", walk_hours="48"),
        )
    finally:
        decks_changed.disconnect(hear)

    assert told == [[coat.job.deck_id]]


def test_the_list_of_products_asks_once_however_many(
    as_owner: Client, django_assert_max_num_queries: Callable[[int], Any]
) -> None:
    ProductFactory.create_batch(60)

    with django_assert_max_num_queries(8):
        page = as_owner.get("/jobs/products/").context["page"]

    assert (len(page), page.paginator.num_pages) == (50, 2)


def test_a_batch_is_traced_to_every_deck_with_client_and_phone(as_user: AsUser, crew: User) -> None:
    batch = BatchFactory(code="TW-77")
    other = BatchFactory()
    deck = DeckFactory(
        site__client__name="Ottilie Saltonby",
        site__client__archived_at=datetime(2026, 1, 1, tzinfo=UTC),
    )
    PhoneFactory(client=deck.site.client, value="902-555-0147")
    EmailFactory(client=deck.site.client, value="ottilie@example.org")
    CoatFactory(job=JobFactory(deck=deck), batch=batch, product=batch.product)
    CoatFactory(
        job__deck__site__client__name="Marlow Unrelated", batch=other, product=other.product
    )

    text = as_user(crew).get(f"/jobs/batches/{batch.pk}/").content.decode()

    assert all(
        part in text
        for part in ["Ottilie Saltonby", "(902) 555-0147", "ottilie@example.org", "went on 1 time<"]
    )
    assert "Marlow Unrelated" not in text


def test_a_long_trace_comes_in_pages_or_all_at_once_for_printing(
    as_owner: Client, django_assert_max_num_queries: Callable[[int], Any]
) -> None:
    batch = BatchFactory()
    for _ in range(53):
        CoatFactory(batch=batch, product=batch.product)

    with django_assert_max_num_queries(11):
        assert len(as_owner.get(f"/jobs/batches/{batch.pk}/").context["page"]) == 50
    with django_assert_max_num_queries(11):
        assert len(as_owner.get(f"/jobs/batches/{batch.pk}/?all").context["page"]) == 53


def test_the_dates_of_a_batch_are_kept_and_impossible_ones_named(as_owner: Client) -> None:
    batch = BatchFactory()

    assert (
        as_owner.post(f"/jobs/batches/{batch.pk}/", {"expires_on": "2027-02-30"}).status_code == 200
    )
    as_owner.post(
        f"/jobs/batches/{batch.pk}/", {"received_on": "2026-03-02", "expires_on": "2028-03-01"}
    )

    batch.refresh_from_db()
    assert (batch.received_on, batch.expires_on) == (date(2026, 3, 2), date(2028, 3, 1))


def check(deck: Deck, **values: object) -> dict[str, object]:
    fields = {
        "deck": deck.pk,
        "visited_on": "2026-06-10",
        "overall": "1",
        "reason": "routine",
        "found_by": "Tern crew",
    }
    return {**fields, **values}


def test_a_check_without_work_is_recorded_once(as_user: AsUser, crew: User) -> None:
    deck = DeckFactory()

    first = as_user(crew).post("/jobs/visit/", check(deck, mould="2", notes="North corner."))
    as_user(crew).post("/jobs/visit/", check(deck, mould="2", notes="North corner."))

    visit = Visit.objects.get()
    assert first["Location"] == f"/decks/{deck.pk}/"
    assert (visit.overall, visit.mould, visit.reason, visit.found_by) == (
        1,
        2,
        "routine",
        "Tern crew",
    )
    assert (visit.notes, visit.recorded_by) == ("North corner.", crew)


def test_a_check_takes_photographs_before_after_a_mistake_and_afterwards(
    as_owner: Client,
) -> None:
    deck = DeckFactory()
    key = str(uuid.uuid4())
    mistaken = check(deck, form_key=key, reason="", photos=[picture()])

    page = as_owner.post("/jobs/visit/", mistaken).content.decode()
    assert "1 photo already here; choose only more." in page
    as_owner.post("/jobs/visit/", check(deck, form_key=key, photos=[picture((300, 300))]))
    for _ in range(2):  # a phone that heard no answer sends it again
        following = {"form_key": key, "photos": [picture((200, 300))]}
        answer = as_owner.post("/jobs/visit/photos/", following)

    assert answer["Location"] == f"/decks/{deck.pk}/"
    found = Photo.objects.filter(deck=deck, moment="found", job=None, taken_on="2026-06-10")
    assert sorted(found.values_list("width", "height")) == [(200, 300), (300, 300), (400, 300)]
    assert Photo.objects.count() == 3
    unknown = {"form_key": str(uuid.uuid4()), "photos": [picture()]}
    assert as_owner.post("/jobs/visit/photos/", unknown).status_code == 404


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"overall": ""}, "a check without a grade tells nothing"),
        ({"overall": "9"}, "Grades go from 0"),
        ({"reason": ""}, "Choose why you were there"),
        ({"visited_on": "2999-01-01"}, "in the future"),
        ({"visited_on": "1900-01-01"}, "from 1950 on"),
        ({"visited_on": "yesterday"}, "not a day of the calendar"),
        ({"moisture_percent": "250"}, "less than or equal to 200"),
    ],
)
def test_a_wrong_check_is_named_and_not_kept(
    as_owner: Client, wrong: dict[str, str], said: str
) -> None:
    response = as_owner.post("/jobs/visit/", check(DeckFactory(), notes="North corner.", **wrong))

    assert response.status_code == 200
    assert said in response.content.decode()
    assert "North corner." in response.content.decode()
    assert Visit.objects.count() == 0


def test_a_check_is_corrected_and_the_grades_of_a_job_are_corrected_with_the_job(
    as_owner: Client,
) -> None:
    visit = VisitFactory(overall=1)
    job = JobFactory(visit=VisitFactory())

    as_owner.post(f"/jobs/visit/{visit.pk}/edit/", check(visit.deck, overall="3"))

    visit.refresh_from_db()
    assert (visit.overall, visit.visited_on) == (3, date(2026, 6, 10))
    assert as_owner.get(f"/jobs/visit/{job.visit.pk}/edit/")["Location"] == f"/jobs/{job.pk}/edit/"
    assert as_owner.get("/jobs/visit/", {"deck": "99999"}).status_code == 404


def test_cautions_have_a_field_for_each_language_and_the_care_record_says_the_clients(
    as_owner: Client, business: Business
) -> None:
    as_owner.post("/jobs/products/new/", sheet(cautions="Air it.", cautions_fr="Aérez."))

    product = Product.objects.get()
    assert product.cautions_translated == {"fr": "Aérez."}
    assert "Aérez." in as_owner.get(f"/jobs/products/{product.pk}/edit/").content.decode()
    record = build_care_record(CoatFactory(product=product).job)
    for language, said in (("fr", " : Aérez."), ("en", ": Air it.")):
        with display.override_business(business), display.in_client_language(language):
            assert f"Saltmarsh Tint{said}" in [str(words) for words in record.cautions]
