"""Packs and tins: what everybody may note, what only the office, and what is said to impossible
figures."""

from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.test import Client
from django.utils import timezone

from clients.models import Business, User
from jobs.models import Pack, Product, StockTin
from tests.factories import (
    BatchFactory,
    CoatFactory,
    JobFactory,
    PackFactory,
    ProductFactory,
    TinFactory,
)

pytestmark = pytest.mark.django_db
AsUser = Callable[[User], Client]
D = Decimal


@pytest.fixture
def oil() -> Product:
    return ProductFactory(name="Tidewood Deck Oil")


def tin(**values: str) -> dict[str, str]:
    fields = {"form_key": str(uuid4()), "litres": "2.5", "colour": "Cedar", "batch": " tw-77 "}
    return {f"tin-{name}": value for name, value in {**fields, **values}.items()}


def test_the_crew_puts_a_tin_on_the_shelf_once(as_user: AsUser, crew: User, oil: Product) -> None:
    BatchFactory(product=oil, code="TW-77")
    sent = tin()

    for _ in range(2):
        as_user(crew).post(f"/jobs/products/{oil.pk}/tins/", sent)

    put = StockTin.objects.get()
    assert (put.litres, put.colour, put.batch and put.batch.code) == (D("2.5"), "Cedar", "TW-77")
    assert oil.batches.count() == 1
    page = as_user(crew).get(f"/jobs/products/{oil.pk}/shelf/").content.decode()
    assert "2.5 L" in page
    assert "Packs it is sold in" not in page


def test_what_is_left_in_a_tin_is_noted_and_an_empty_one_leaves_the_shelf(
    as_owner: Client, oil: Product
) -> None:
    first = TinFactory(product=oil)
    second = TinFactory(product=oil)

    as_owner.post(f"/jobs/tins/{first.pk}/", {f"tin-{first.pk}-litres": "1.25"})
    as_owner.post(f"/jobs/tins/{second.pk}/", {f"tin-{second.pk}-litres": "2.5", "used_up": "1"})

    first.refresh_from_db()
    second.refresh_from_db()
    assert (first.litres, first.used_up_at) == (D("1.25"), None)
    assert second.litres == 0
    assert second.used_up_at is not None
    tins = as_owner.get(f"/jobs/products/{oil.pk}/shelf/").context["tins"]
    assert [form.tin for form in tins] == [first]


def test_after_a_job_what_is_left_in_its_tins_is_noted_on_its_own_page(
    as_user: AsUser, crew: User, oil: Product
) -> None:
    now = Business.objects.get().today(timezone.now())
    job = JobFactory(finished_on=now)
    old = JobFactory(finished_on=now - timedelta(days=15))
    for each in (job, old):
        CoatFactory(job=each, product=oil, colour="Cedar")
    row = TinFactory(product=oil, colour="cedar", noted_on=now)
    TinFactory(product=oil, colour="Slate")
    client = as_user(crew)

    assert [form.tin for form in client.get(f"/jobs/{job.pk}/").context["tins"]] == [row]
    assert client.get(f"/jobs/{old.pk}/").context["tins"] == []
    back = client.post(f"/jobs/tins/{row.pk}/", {f"tin-{row.pk}-litres": "0.5", "job": str(job.pk)})
    row.refresh_from_db()
    assert (back["Location"], row.litres) == (f"/jobs/{job.pk}/", D("0.5"))
    assert client.post(
        f"/jobs/tins/{row.pk}/", {f"tin-{row.pk}-litres": "1", "job": "//x.example"}
    )["Location"].endswith("shelf/")


def test_a_tin_past_the_date_of_its_batch_is_marked(as_owner: Client, oil: Product) -> None:
    TinFactory(product=oil, batch=BatchFactory(product=oil, expires_on=date(2020, 1, 1)))

    assert "Past its date" in as_owner.get(f"/jobs/products/{oil.pk}/shelf/").content.decode()


def test_a_size_is_kept_once_and_its_price_goes_with_the_last_word(
    as_user: AsUser, office: User, oil: Product
) -> None:
    client = as_user(office)

    for price in ("139", "149.50"):
        client.post(f"/jobs/products/{oil.pk}/packs/", {"pack-litres": "4", "pack-price": price})

    pack = Pack.objects.get()
    assert (pack.litres, pack.price, pack.is_active) == (4, D("149.50"), True)
    client.post(f"/jobs/packs/{pack.pk}/", {f"pack-{pack.pk}-price": "155"})
    pack.refresh_from_db()
    assert (pack.price, pack.is_active) == (155, False)
    assert "4 L at" not in client.get(f"/jobs/products/{oil.pk}/edit/").content.decode()


def test_packs_are_the_business_of_the_office(as_user: AsUser, crew: User, oil: Product) -> None:
    pack = PackFactory(product=oil)

    added = as_user(crew).post(
        f"/jobs/products/{oil.pk}/packs/", {"pack-litres": "4", "pack-price": "1"}
    )
    changed = as_user(crew).post(f"/jobs/packs/{pack.pk}/", {f"pack-{pack.pk}-price": "1"})

    assert (added.status_code, changed.status_code) == (403, 403)
    assert Pack.objects.get().price == 149


def test_a_gallon_is_typed_as_a_gallon(as_owner: Client, oil: Product) -> None:
    """1 US gallon = 3.785 411 784 L (NIST SP 811, appendix B)."""
    Business.objects.update(units="us")

    as_owner.post(f"/jobs/products/{oil.pk}/packs/", {"pack-litres": "1", "pack-price": "149"})

    assert Pack.objects.get().litres == D("3.785")
    assert (
        "<strong>1 gal</strong>" in as_owner.get(f"/jobs/products/{oil.pk}/shelf/").content.decode()
    )


@pytest.mark.parametrize(
    ("action", "sent", "said"),
    [
        ("tins", tin(litres="0"), "Write how much it holds"),
        ("tins", tin(litres=""), "Please fill this in"),
        ("tins", tin(litres="many"), "Enter a number"),
        ("tins", tin(litres="5000"), "Check the number"),
        ("tins", tin(colour=""), "Please fill this in"),
        ("tins", tin(colour="Pink"), "Select a valid choice"),
        ("tins", tin(batch="T\x00W"), "Null characters are not allowed"),
        ("tins", tin(form_key="x"), "Enter a valid UUID"),
        ("packs", {"pack-litres": "0", "pack-price": "5"}, "Write how much it holds"),
        ("packs", {"pack-litres": "4", "pack-price": "-5"}, "greater than or equal to 0"),
        ("packs", {"pack-litres": "4", "pack-price": "1e12"}, "no more than 10 digits"),
        ("packs", {}, "Please fill this in"),
    ],
)
def test_an_impossible_figure_is_named_and_not_kept(
    as_owner: Client, oil: Product, action: str, sent: dict[str, str], said: str
) -> None:
    response = as_owner.post(f"/jobs/products/{oil.pk}/{action}/", sent)

    assert response.status_code == 200
    assert said in response.content.decode()
    assert (StockTin.objects.count(), Pack.objects.count()) == (0, 0)


def test_a_wrong_change_stays_beside_its_row_and_a_missing_row_is_not_found(
    as_owner: Client, oil: Product
) -> None:
    pack = PackFactory(product=oil)
    row = TinFactory(product=oil)

    wrong_tin = as_owner.post(f"/jobs/tins/{row.pk}/", {f"tin-{row.pk}-litres": "-1"})
    wrong_pack = as_owner.post(f"/jobs/packs/{pack.pk}/", {f"pack-{pack.pk}-price": "x"})

    assert "cannot be negative" in wrong_tin.content.decode()
    assert "Enter a number" in wrong_pack.content.decode()
    assert as_owner.post("/jobs/tins/99999/").status_code == 404
    assert as_owner.post("/jobs/products/99999/packs/").status_code == 404
    assert as_owner.get("/jobs/products/99999/shelf/").status_code == 404


def test_a_film_and_a_loss_are_kept_with_the_data_sheet(as_owner: Client, oil: Product) -> None:
    sheet = {
        "name": "Kelp Strip",
        "kind": "stripper",
        "base": "water",
        "pigment": "none",
        "coats_usual": "1",
        "film_mm": "1.25",
        "loss_percent": "15",
        "is_active": "on",
    }

    as_owner.post("/jobs/products/new/", sheet)
    wrong = as_owner.post(
        "/jobs/products/new/", {**sheet, "name": "Other", "film_mm": "0", "loss_percent": "100"}
    )

    kept = Product.objects.get(name="Kelp Strip")
    assert (kept.film_mm, kept.loss_percent) == (D("1.25"), 15)
    assert "greater than or equal to 0.01" in wrong.content.decode()
    assert "less than or equal to 90" in wrong.content.decode()
