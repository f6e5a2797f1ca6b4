"""The code on a can: checked, kept with its product, and known to the page “Log a job”.

Numbers from the examples of the GS1 General Specifications and of GS1's page about the check digit
(6291041500213), from memory; their check digits were worked out by hand again."""

from collections.abc import Callable

import pytest
from django.test import Client

from clients.models import Deck, User
from jobs.can_codes import CanCodeError, printed_can_code, read_can_code
from jobs.models import CanCode, Job, Product
from tests.business_day import today_there
from tests.factories import DeckFactory, ProductFactory
from tests.jobs.log_page import URL, errors, filled, row
from tests.jobs.test_products_and_visits import sheet

AsUser = Callable[[User], Client]
OIL = "06291041500213"
TINT = "80614141123458"


@pytest.mark.parametrize(
    ("printed", "kept"),
    [
        ("6291041500213", OIL),
        ("614141123452", "00614141123452"),
        ("6 14141 12345 2", "00614141123452"),
        ("40123455", "00000040123455"),
        (TINT, TINT),
    ],
)
def test_a_code_of_any_length_is_kept_with_14_digits_and_shown_as_printed(
    printed: str, kept: str
) -> None:
    assert read_can_code(printed) == kept
    assert printed_can_code(kept) == printed.replace(" ", "")


@pytest.mark.parametrize("typed", ["6291041500214", "629104150021", "629104150021A", "", "12", "٤"])
def test_what_is_no_code_is_refused(typed: str) -> None:
    with pytest.raises(CanCodeError, match="no code of a can"):
        read_can_code(typed)


@pytest.fixture
def deck(db: None) -> Deck:
    return DeckFactory()


@pytest.fixture
def as_crew(crew: User, as_user: AsUser) -> Client:
    return as_user(crew)


def log(browser: Client, deck: Deck, *rows: dict[str, object]) -> object:
    today = today_there().isoformat()
    return browser.post(URL, filled(deck, *rows, finished_on=today))


def test_the_crew_s_new_code_is_kept_with_the_product_once_the_job_is_logged(
    as_crew: Client, deck: Deck
) -> None:
    oil = ProductFactory(name="Tidewood Oil")

    log(as_crew, deck, row(oil, can_code="6291041500213", batch="TW-31"))
    log(as_crew, DeckFactory(), row(oil, can_code=OIL))

    assert [(code.product, code.gtin) for code in CanCode.objects.all()] == [(oil, OIL)]
    assert Job.objects.count() == 2
    page = as_crew.get(URL, {"deck": deck.pk})
    assert f'<datalist id="can-codes-{oil.pk}"><option value="{OIL}">' in page.text
    assert "camera=(self)" in page["Permissions-Policy"]
    assert "camera=()" in as_crew.get("/jobs/products/")["Permissions-Policy"]


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"can_code": "6291041500213"}, "This code is of Tidewood Oil."),
        ({"can_code": "6291041500214"}, "is no code of a can"),
        ({"can_code": TINT, "chosen": "unknown", "batch": ""}, "Choose the product"),
        ({"can_code": TINT, "chosen": "", "batch": ""}, None),
    ],
)
def test_a_code_that_cannot_be_right_is_named_and_nothing_is_written(
    as_crew: Client, deck: Deck, typed: dict[str, str], said: str | None
) -> None:
    CanCode.objects.create(product=ProductFactory(name="Tidewood Oil"), gtin=OIL)

    stain = ProductFactory(name="Boreal Stain")
    facts = {name: value for name, value in typed.items() if name != "chosen"}

    response = log(as_crew, deck, row(typed.get("chosen", stain), **facts))

    field = "coats-0-can_code" if said else "coats-0-product"
    assert (said or "Choose the product, or empty this row.") in errors(response)[field][0]
    assert (Job.objects.count(), CanCode.objects.count()) == (0, 1)


def test_the_office_keeps_a_code_for_each_size_of_can(as_owner: Client) -> None:
    as_owner.post("/jobs/products/new/", sheet(can_codes="6291041500213, 614141123452"))
    product = Product.objects.get()
    edit = f"/jobs/products/{product.pk}/edit/"

    form = as_owner.get(edit).context["form"]
    assert form["can_codes"].value() == "614141123452, 6291041500213"
    as_owner.post(edit, sheet(can_codes=f"6291041500213; {TINT}"))
    assert [code.gtin for code in product.can_codes.all()] == [OIL, TINT]
    wrong = as_owner.post("/jobs/products/new/", sheet(name="Other", can_codes=TINT))
    assert "is of Saltmarsh Tint" in wrong.context["form"].errors["can_codes"][0]
    assert Product.objects.count() == 1
