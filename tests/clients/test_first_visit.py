"""The first visit opens the book: once, for one business, however many come at the same time."""

import threading
from typing import Any

import pytest
from django.contrib.auth import get_user
from django.db import connection
from django.test import Client as Browser
from django.urls import reverse

from clients.models import Business, User

FIRST = {
    "business": "Driftline Deck Care",
    "country": "CA",
    "time_zone": "America/Halifax",
    "units": "metric",
    "name": "Maren Tully",
    "username": "maren",
    "password": "low tide at seven",
    "password_again": "low tide at seven",
}


@pytest.mark.django_db
def test_every_page_of_an_empty_book_leads_to_the_first_visit(client: Browser) -> None:
    for path in ("/", "/decks/", "/settings/", "/nowhere/", "/sign-in/"):
        assert client.get(path)["Location"] == "/first-visit/"
    assert client.get("/first-visit/").status_code == 200


@pytest.mark.django_db
def test_the_first_visit_makes_the_business_and_signs_its_owner_in(client: Browser) -> None:
    answer = client.post("/first-visit/", FIRST)

    business = Business.objects.get()
    owner = User.objects.get()
    assert answer["Location"] == reverse("settings:business")
    assert (business.name, business.currency, business.locale) == (
        "Driftline Deck Care",
        "CAD",
        "en-CA",
    )
    assert (owner.role, owner.username, owner.first_name) == ("owner", "maren", "Maren Tully")
    assert get_user(client) == owner


@pytest.mark.django_db
# ISO 4217 currencies by country as in CLDR's supplemental data.
@pytest.mark.parametrize(
    ("country", "currency"),
    [("NZ", "NZD"), ("US", "USD"), ("GB", "GBP"), ("IE", "EUR"), ("NO", "NOK")],
)
def test_the_currency_is_that_of_the_country(client: Browser, country: str, currency: str) -> None:
    client.post("/first-visit/", FIRST | {"country": country})

    assert Business.objects.get().currency == currency


def test_afterwards_there_is_no_such_page(client: Browser, as_owner: Browser) -> None:
    assert client.get("/first-visit/").status_code == 404
    assert client.post("/first-visit/", FIRST).status_code == 404
    assert as_owner.get("/first-visit/").status_code == 404


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("field", "value", "why"),
    [
        ("business", "", "fill this in"),
        ("password", "short", "at least 10 characters"),
        ("password", "1234567890", "too common"),
        ("password", "maren tully", "too similar"),
        ("password_again", "another one here", "differ"),
        ("username", "maren tully", "valid username"),
        ("time_zone", "Mars/Olympus", "not one of the available choices"),
        ("country", "ZZ", "not one of the available choices"),
    ],
)
def test_what_cannot_be_is_named_and_the_book_stays_closed(
    client: Browser, field: str, value: str, why: str
) -> None:
    answer = client.post("/first-visit/", FIRST | {field: value})

    assert why in answer.content.decode()
    assert not Business.objects.exists()
    assert not User.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_two_at_once_make_one_business_and_one_owner() -> None:
    gate = threading.Barrier(2)
    answers: list[Any] = []

    def visit(username: str) -> None:
        browser = Browser()
        gate.wait()
        try:
            answers.append(browser.post("/first-visit/", FIRST | {"username": username}))
        finally:
            connection.close()

    visits = [threading.Thread(target=visit, args=[name]) for name in ("maren", "tern")]
    for thread in visits:
        thread.start()
    for thread in visits:
        thread.join()

    assert Business.objects.count() == User.objects.count() == 1
    assert sorted(answer.status_code for answer in answers) in ([302, 302], [302, 404])


@pytest.mark.django_db
def test_a_time_zone_to_choose_says_its_country_and_its_former_names(client: Browser) -> None:
    """By zone.tab and the links of the tz database: Kolkata was Calcutta until 2008."""
    page = client.get("/first-visit/").content.decode()

    kolkata = page.split('<option value="Asia/Kolkata"')[1].split(">")[0]
    assert 'data-country="IN"' in kolkata
    assert "Asia/Calcutta" in kolkata.split('data-also="')[1].rstrip('"').split()
    assert '<option value="Asia/Calcutta"' not in page
    assert '<option value="America/Knox_IN"' not in page
