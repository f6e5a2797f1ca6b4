"""Customers whose consent the law works out from the book, confirmed for many at once."""

from datetime import date

import pytest
from django.test import Client as Browser
from freezegun import freeze_time

from clients.messaging.models import Consent
from clients.messaging.reach import ContactPurpose, Route, route_to
from clients.models import Business, Client
from tests.factories import (
    ClientFactory,
    ConsentFactory,
    EmailFactory,
    JobFactory,
    PropertyFactory,
)

pytestmark = pytest.mark.django_db
TODAY = date(2026, 11, 30)


def customer(name: str, job: date | None, *, country: str = "CA") -> Client:
    client: Client = ClientFactory(name=name)
    EmailFactory(client=client)
    site = PropertyFactory(client=client, country=country)
    if job:
        JobFactory(deck__site=site, finished_on=job)
    return client


def names(browser: Browser) -> list[str]:
    return [row.client for row in browser.get("/clients/customers/").context["found"].rows]


@freeze_time("2026-11-30 15:00")
def test_two_years_from_the_last_job_in_canada(as_owner: Browser, business: Business) -> None:
    # CASL, S.C. 2010 c. 23, s. 10(10)(a): a purchase within the two years before the message, as
    # crtc.gc.ca/eng/com500/guide.htm has it; the table's own source (law/table.toml, CA email)
    customer("Just inside", date(2024, 11, 30))
    customer("Just over", date(2024, 11, 29))
    customer("Never worked for", None)

    (row,) = as_owner.get("/clients/customers/").context["found"].rows

    assert (row.client, row.last_job_on, row.until) == (
        "Just inside",
        date(2024, 11, 30),
        date(2026, 11, 30),
    )
    page = as_owner.get("/clients/customers/").content.decode()
    assert "crtc.gc.ca/eng/com500/guide.htm (two years)" in page
    assert "not checked against the text of the law" in page


@freeze_time("2026-11-30 15:00")
def test_confirming_keeps_a_consent_for_each_with_name_job_and_rule(
    as_owner: Browser, business: Business
) -> None:
    ottilie = customer("Ottilie Saltonby", date(2025, 6, 12))
    thaddeus = customer("Thaddeus Kelpworth", date(2026, 5, 1))
    customer("Vivian Northquay", date(2026, 5, 1))
    boxes = [f"{each.pk}/email" for each in (ottilie, thaddeus)]

    said = as_owner.post("/clients/customers/", {"customer": boxes}, follow=True)

    assert "2 consents kept." in said.content.decode()
    entry = Consent.objects.get(client=ottilie)
    assert (entry.basis, entry.is_given, entry.expires_on) == ("customer", True, None)
    assert "Last job 2025-06-12. Confirmed by Maren" in entry.evidence
    route = route_to(ottilie, "email", ContactPurpose.MARKETING, on=TODAY)
    assert isinstance(route, Route)
    assert route.permission.until == date(2027, 6, 12)
    assert names(as_owner) == ["Vivian Northquay"]
    as_owner.post("/clients/customers/", {"customer": boxes})
    assert Consent.objects.count() == 2


@freeze_time("2026-11-30 15:00")
def test_a_large_book_is_looked_through_in_parts_by_name_and_nobody_is_left_out(
    as_owner: Browser, business: Business, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("clients.messaging.customers.MAX_LOOKED_AT", 3)
    monkeypatch.setattr("clients.messaging.customers.CLIENTS_AT_A_TIME", 2)
    monkeypatch.setattr("clients.messaging.customers.CUSTOMERS_A_PART", 2)
    for number in range(3):
        customer(f"Ada Never {number}", None)
    for _ in range(2):
        customer("Bo Twice", date(2026, 5, 1))
    for name in ("Cleo Last", "Dora Later", "Ed Latest"):
        customer(name, date(2026, 5, 1))
    ConsentFactory(client=customer("Bo Said", date(2026, 5, 1)), channel="email")

    seen: list[list[str]] = []
    address = "/clients/customers/"
    while address:
        answer = as_owner.get(address)
        found = answer.context["found"]
        seen.append([row.client for row in found.rows])
        address = f"/clients/customers/?after={found.after}" if found.after else ""
        assert (f"?after={found.after}" in answer.content.decode()) == bool(found.after)

    assert seen[0] == []
    assert [name for part in seen for name in part] == [
        "Bo Twice",
        "Bo Twice",
        "Cleo Last",
        "Dora Later",
        "Ed Latest",
    ]


@freeze_time("2026-11-30 15:00")
def test_who_said_no_by_any_way_and_where_no_consent_is_needed_nobody_stands_there(
    as_owner: Browser, business: Business
) -> None:
    refused = customer("Refused by text", date(2026, 5, 1))
    ConsentFactory(client=refused, channel="text", is_given=False)
    Client.objects.filter(pk=customer("Put away", date(2026, 5, 1)).pk).update(
        archived_at="2026-10-01T12:00Z"
    )

    assert names(as_owner) == []
    assert "Nobody to confirm" in as_owner.get("/clients/customers/").content.decode()


@freeze_time("2026-11-30 15:00")
@pytest.mark.parametrize("country", ["GB", "IE"])
def test_where_a_customer_must_have_been_told_nobody_is_ticked_and_it_is_kept_that_they_were(
    as_owner: Browser, business: Business, country: str
) -> None:
    """SI 2003/2426 reg. 22(3)(c); Directive 2002/58/EC Art. 13(2): a chance to refuse when the
    address was taken."""
    told = customer("Told", date(2026, 5, 1), country=country)
    customer("At home", date(2026, 5, 1))

    page = as_owner.get("/clients/customers/").content.decode()
    assert "only if you said, when you took the address, that they may refuse" in page
    assert page.count(" checked>") == 1
    assert f'value="{told.pk}/email">' in page

    as_owner.post("/clients/customers/", {"customer": [f"{told.pk}/email"]})

    (entry,) = Consent.objects.all()
    assert (
        entry.wording == "Existing customer; told when the address was taken that they may refuse."
    )
    assert "only if you said" not in as_owner.get("/clients/customers/").content.decode()
    assert "they may refuse: ask again" not in as_owner.get(f"/clients/{told.pk}/").content.decode()


@freeze_time("2026-11-30 15:00")
def test_a_customer_who_was_told_nothing_where_the_law_wants_it_is_shown_as_such(
    as_owner: Browser, business: Business
) -> None:
    """They were confirmed before the book asked; it still counts, and is shown to be asked for."""
    there = customer("Untold", date(2026, 5, 1), country="GB")
    here = customer("At home", date(2026, 5, 1))
    for client in (there, here):
        ConsentFactory(
            client=client,
            channel="email",
            basis="customer",
            wording="Existing customer; nothing was said about messages.",
        )

    said = "Asked without a word, when the address was taken, that they may refuse"
    assert said in as_owner.get(f"/clients/{there.pk}/").content.decode()
    assert said not in as_owner.get(f"/clients/{here.pk}/").content.decode()
    page = as_owner.get("/settings/law/").content.decode()
    assert f'href="/clients/{there.pk}/"' in page
    assert f'href="/clients/{here.pk}/"' not in page
