"""Price lists through their pages: entered by hand, one a day, and kept once an offer rests on
them."""

from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client as Browser

from clients.models import Business
from jobs.actions import prices as actions
from jobs.actions.prices import PriceListError, PriceListRows
from jobs.models import PriceList
from tests.factories import OfferFactory
from tests.jobs.offer_book import TODAY, drafted, price_list

D = Decimal
NEW = "/settings/prices/new/"
pytestmark = pytest.mark.django_db


def rows(prefix: str, *values: dict[str, Any]) -> dict[str, Any]:
    found = {
        f"{prefix}-{n}-{name}": value for n, row in enumerate(values) for name, value in row.items()
    }
    return found | {f"{prefix}-TOTAL_FORMS": len(values), f"{prefix}-INITIAL_FORMS": 0}


def filled(**over: Any) -> dict[str, Any]:
    """The page as a browser sends it."""
    values = {
        "valid_from": "2027-01-01",
        "valid_days": "30",
        "note": "",
        "minimum_charge": "250",
        "travel_free_km": "20",
        "travel_per_km": "1.20",
        "high_above_m": "2.5",
        "high_percent": "10",
        "markup_percent": "20",
        "early_percent": "5",
        "off_season_percent": "10",
        "off_season_months": ["5", "10"],
        "tax_mode": "exclusive",
        "tax_rounding": "total",
    }
    clean = {"task": "clean", "per": "m2", "amount": "3.20", "minutes": "2.5"}
    strip = {"task": "strip", "per": "m2", "amount": "", "minutes": ""}
    parts = rows("rates", clean, strip) | rows("zones", {"town": "Chester", "amount": "25"})
    tax = {"name": "HST", "percent": "15", "on_work": "on", "on_materials": "on"}
    return values | parts | rows("taxes", tax) | over


def test_a_list_is_entered_on_one_page_and_read_back(as_owner: Browser) -> None:
    answer = as_owner.post(NEW, filled())

    kept = PriceList.objects.get()
    assert answer["Location"] == f"/settings/prices/{kept.pk}/"
    assert (kept.valid_from, kept.minimum_charge, kept.off_season_months) == (
        date(2027, 1, 1),
        D(250),
        [5, 10],
    )
    assert [(rate.task, rate.amount, rate.minutes) for rate in kept.rates.all()] == [
        ("clean", D("3.20"), D("2.50"))
    ]
    assert [(zone.town, zone.amount) for zone in kept.zones.all()] == [("Chester", D(25))]
    tax = kept.taxes.get()
    assert (tax.percent, tax.on_work, tax.on_materials, tax.on_travel) == (D(15), True, True, False)
    page = as_owner.get(answer["Location"]).content.decode()
    assert "$3.20" in page
    assert "May, October" in page
    assert "once on the sum of its lines" in page
    changed = as_owner.get(f"{answer['Location']}change/").content.decode()
    assert 'value="3.20"' in changed


def test_prices_a_square_foot_read_the_same_again(as_owner: Browser) -> None:
    Business.objects.update(units="us")

    as_owner.post(NEW, filled(**{"rates-0-amount": "0.95", "rates-0-minutes": "0.25"}))

    # 1 ft = 0.3048 m by definition (international yard, 1959): 0.95 / 0.3048² = 10.2257.
    assert PriceList.objects.get().rates.get().amount == D("10.23")
    page = as_owner.get(f"/settings/prices/{PriceList.objects.get().pk}/change/").content.decode()
    assert 'value="0.95"' in page
    assert 'value="0.25"' in page
    assert ">ft²<" in page


@pytest.mark.parametrize(
    ("over", "words"),
    [
        ({"valid_from": ""}, ">From</a>"),
        ({"rates-0-amount": "-1"}, "cannot be negative"),
        (
            {"rates-0-amount": "", "rates-0-minutes": "3"},
            "Write the price; 0 if it is part of another one.",
        ),
        ({"rates-0-per": "tread"}, "This unit does not fit this task."),
        (
            {"rates-1-task": "clean", "rates-1-amount": "4"},
            "This task has a price for this unit already.",
        ),
        ({"taxes-0-percent": "101"}, "less than or equal to 100"),
        ({"taxes-0-name": ""}, "Row 1, tax"),
        ({"high_above_m": ""}, "from which height on"),
        ({"early_percent": "100"}, "less than or equal to 99"),
        ({"valid_days": "0"}, "greater than or equal to 1"),
        ({"rates-0-minutes": "9999"}, "less than or equal to 900"),
        ({"travel_free_km": "9999999"}, "6 digits before the decimal point"),
        ({"off_season_months": ["13"]}, "13 is not one of the available choices"),
    ],
)
def test_what_is_wrong_is_named_and_nothing_is_kept_or_lost(
    as_owner: Browser, over: dict[str, Any], words: str
) -> None:
    answer = as_owner.post(NEW, filled(**over))

    page = answer.content.decode()
    assert answer.status_code == 200
    assert "Please look at these before saving" in page
    assert words in page
    assert 'value="1.20"' in page
    assert not PriceList.objects.exists()


def test_another_row_comes_without_scripts_and_keeps_what_was_typed(as_owner: Browser) -> None:
    page = as_owner.post(NEW, filled(add_row="zones", note="Spring")).content.decode()

    assert 'name="zones-1-town"' in page
    assert 'value="Spring"' in page
    assert 'value="3.20"' in page
    assert 'name="off_season_months" value="5"' in page.replace(
        '" id="id_off_season_months_4"', '"'
    )
    assert not PriceList.objects.exists()


def test_a_new_list_begins_like_the_newest_and_two_cannot_begin_on_one_day(
    as_owner: Browser,
) -> None:
    price_list(date(2027, 1, 1))

    page = as_owner.get(NEW).content.decode()
    answer = as_owner.post(NEW, filled())

    assert 'value="9.50"' in page
    assert "Another list begins on this day" in answer.content.decode()
    assert PriceList.objects.count() == 1


def test_the_list_of_the_day_is_in_force(business: Business) -> None:
    old = price_list(date(2025, 1, 1))
    new = price_list(date(2026, 6, 1))

    assert PriceList.objects.in_force(date(2024, 12, 31)) is None
    assert PriceList.objects.in_force(date(2026, 5, 31)) == old
    assert PriceList.objects.in_force(date(2026, 6, 1)) == new


def test_a_list_that_a_sent_offer_rests_on_stays_as_it_is(as_owner: Browser) -> None:
    kept = price_list()
    OfferFactory(price_list=kept, is_sent=True)
    before = list(kept.rates.values_list("task", "amount"))

    shown = as_owner.get(f"/settings/prices/{kept.pk}/change/")
    answer = as_owner.post(f"/settings/prices/{kept.pk}/change/", filled())
    removed = as_owner.post(f"/settings/prices/{kept.pk}/remove/", follow=True)

    assert shown.status_code == answer.status_code == 302
    assert list(kept.rates.values_list("task", "amount")) == before
    assert "Offers rest on this list" in removed.content.decode()
    with pytest.raises(PriceListError, match="stays as it is"):
        actions.save_price_list(
            price_list=kept, values={"valid_from": kept.valid_from}, rows=PriceListRows()
        )


def test_a_list_with_drafts_only_may_still_be_put_right(as_owner: Browser) -> None:
    kept = price_list()
    offer = drafted()
    before = offer.total

    as_owner.post(f"/settings/prices/{kept.pk}/change/", filled(valid_from="2025-01-01"))

    offer.refresh_from_db()
    assert kept.rates.get().amount == D("3.20")
    assert offer.total == before


def test_the_office_sees_prices_and_the_owner_keeps_them(as_user: Any, office: Any) -> None:
    kept = price_list(TODAY)

    browser = as_user(office)

    assert browser.get("/settings/prices/").status_code == 200
    assert "New price list" not in browser.get(f"/settings/prices/{kept.pk}/").content.decode()
    assert browser.post(NEW, filled()).status_code == 403
