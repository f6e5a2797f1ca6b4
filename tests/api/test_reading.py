"""What programs read: pages, filters, single rows, and what has not changed."""

from collections.abc import Iterator
from datetime import UTC, date, datetime
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from clients.actions.clients import change_client
from clients.models import Client, User
from reminders.actions import refresh_forecasts
from reminders.due import due_list
from tests.api.conftest import NOW, Program
from tests.factories import (
    BatchFactory,
    ClientFactory,
    CoatFactory,
    CrewFactory,
    DeckFactory,
    EmailFactory,
    JobFactory,
    OfferFactory,
    ProductFactory,
    PropertyFactory,
    VisitFactory,
)

LISTS = ["clients", "sites", "decks", "jobs", "checks", "products", "batches", "offers", "bookings"]

pytestmark = pytest.mark.usefixtures("_clock")


def names(page: Any) -> list[str]:
    return [row["name"] for row in page["items"]]


def pages(reader: Program, path: str) -> Iterator[Any]:
    """Page after page, as `next` leads."""
    while path:
        page = reader.read(path)
        yield page
        path = page["next"]


def a_book(number: int) -> None:
    """So many of everything."""
    for n in range(number):
        home = PropertyFactory(client=EmailFactory().client)
        coat = CoatFactory(job__deck__site=home, batch=BatchFactory())
        VisitFactory(deck=coat.job.deck)
        OfferFactory(is_sent=True, site=home)
        crew = CrewFactory()
        row = home.bookings.create(
            client=home.client,
            crew=crew,
            first_on=date(2027, 5, 3 + n),
            last_on=date(2027, 5, 28),
            hours=8,
        )
        row.decks.add(coat.job.deck)
    refresh_forecasts(today=date(2026, 11, 30), now=NOW)


def test_a_list_is_read_page_by_page_and_each_row_once(reader: Program) -> None:
    made = [ClientFactory().pk for _ in range(7)]

    found = list(pages(reader, "/clients?limit=3"))

    assert [len(page["items"]) for page in found] == [3, 3, 1]
    assert [row["id"] for page in found for row in page["items"]] == sorted(made)
    assert found[-1]["next"] is None


def test_a_row_added_between_two_pages_neither_moves_nor_doubles_others(reader: Program) -> None:
    made = [ClientFactory(name=name).pk for name in ("Zoe Reef", "Max Shoal", "Lena Spit")]
    first = reader.read("/clients?limit=2")
    newest = ClientFactory(name="Ada Bank").pk

    rest = [row["id"] for page in pages(reader, first["next"]) for row in page["items"]]

    assert [row["id"] for row in first["items"]] + rest == [*made, newest]


def test_a_client_is_read_with_contact_points_and_no_secret(reader: Program) -> None:
    point = EmailFactory(client__name="Marlow Pennington", value="marlow@example.org")

    row = reader.read(f"/clients/{point.client_id}")

    assert row["name"] == "Marlow Pennington"
    assert row["contact_points"][0]["value"] == "marlow@example.org"
    assert row["contact_points"][0]["normalized"] == "marlow@example.org"


def test_a_deck_says_its_coat_and_when_it_is_due(reader: Program) -> None:
    coat = CoatFactory(job__finished_on=date(2025, 6, 12))
    refresh_forecasts(today=date(2026, 11, 30), now=NOW)
    deck = coat.job.deck
    kept = deck.forecast

    row = reader.read(f"/decks/{deck.pk}")

    assert row["client"] == deck.site.client.name
    assert row["area_m2"] == "18.00"
    assert row["coat"]["product_id"] == coat.product_id
    assert row["coat"]["coated_on"] == "2025-06-12"
    assert row["forecast"]["due_on"] == kept.due_on.isoformat()
    assert row["forecast"]["window_opens_on"] == kept.window_opens_on.isoformat()
    assert row["work"] in {"recoat", "look", "strip"}


def test_a_deck_without_a_job_has_neither_coat_nor_forecast(reader: Program) -> None:
    row = reader.read(f"/decks/{DeckFactory(area_m2=None).pk}")

    assert (row["coat"], row["forecast"], row["work"], row["area_m2"]) == (None, None, None, None)


# ISO 8601-2:2019, 4.8.2: 21 is spring
@pytest.mark.parametrize(
    ("first", "last", "said"),
    [
        (None, date(2023, 3, 14), "2023-03-14"),
        (date(2023, 3, 1), date(2023, 3, 31), "2023-03"),
        (date(2019, 1, 1), date(2019, 12, 31), "2019"),
    ],
)
def test_a_day_of_which_only_the_month_or_year_is_known_says_no_more(
    reader: Program, first: date | None, last: date, said: str
) -> None:
    job = JobFactory(finished_from=first, finished_on=last)

    assert reader.read(f"/jobs/{job.pk}")["finished_on"] == said


def test_filters_leave_what_was_asked_for(reader: Program) -> None:
    oil = ProductFactory(finish_class="penetrating_oil")
    film = ProductFactory(finish_class="solid_film")
    here = CoatFactory(product=oil, job__deck__species="larch", job__deck__site__town="Lunenburg")
    there = CoatFactory(product=film, job__deck__species="ipe", job__deck__site__town="Chester")

    def found(path: str) -> list[int]:
        return [row["id"] for row in reader.read(path)["items"]]

    decks = [here.job.deck_id], [there.job.deck_id]
    assert (found("/decks?town=lunenburg"), found("/decks?town=Chester")) == decks
    assert (found("/decks?species=larch"), found("/decks?species=ipe")) == decks
    assert (found(f"/decks?product_id={oil.pk}"), found(f"/decks?product_id={film.pk}")) == decks
    assert found("/decks?finish_class=solid_film") == decks[1]
    assert found("/jobs?finish_class=solid_film") == [there.job_id]
    assert found(f"/jobs?product_id={oil.pk}&town=Lunenburg&species=larch") == [here.job_id]
    assert found("/clients?town=Chester") == [there.job.deck.site.client_id]
    assert found("/products?finish_class=solid_film") == [film.pk]
    assert found("/jobs?finished_since=2026-01-01") == []


def test_archived_rows_are_left_out_unless_asked_for(reader: Program) -> None:
    ClientFactory(name="Here")
    ClientFactory(name="Gone", archived_at=NOW)

    assert names(reader.read("/clients")) == ["Here"]
    assert names(reader.read("/clients?archived=yes")) == ["Gone"]
    assert names(reader.read("/clients?archived=all")) == ["Here", "Gone"]


def test_changed_since_names_new_and_changed_clients_and_lost_addresses(
    reader: Program, owner: User
) -> None:
    before = datetime(2026, 1, 1, tzinfo=UTC)
    rows = [ClientFactory(name=name, created_at=before) for name in ("Old", "Renamed", "No mail")]
    point = EmailFactory(client=rows[2])
    since = datetime.now(UTC)
    for row, name, removed in ((rows[1], "New name", []), (rows[2], "No mail", [point.pk])):
        change_client(
            client=row, values={"name": name}, contacts=(), removed=removed, by=owner, now=since
        )
    ClientFactory(name="Newest", created_at=since)

    found = reader.get("/clients", QUERY_STRING=f"changed_since={since:%Y-%m-%dT%H:%M:%S.%fZ}")

    assert names(found.json()) == ["New name", "No mail", "Newest"]


def test_changed_since_needs_a_moment_with_its_zone(reader: Program) -> None:
    answer = reader.get("/clients?changed_since=2026-11-01T10:00:00")

    assert answer.status_code == 422
    assert answer.json()["errors"][0]["parameter"] == "changed_since"


def test_the_due_list_says_what_the_command_says(reader: Program) -> None:
    for month in (5, 6, 6, 7):
        CoatFactory(job__finished_on=date(2025, month, 12))
    refresh_forecasts(today=date(2026, 11, 30), now=NOW)
    expected = due_list.due_month_rows(date(2027, 6, 1), today=date(2026, 11, 30))
    assert expected

    found = [row for page in pages(reader, "/due/2027-06?limit=2") for row in page["items"]]

    assert [row["due_on"] for row in found] == sorted(row["due_on"] for row in found)
    assert {row["deck_id"] for row in found} == {row["deck_id"] for row in expected}
    assert len(found) == len(expected)
    for row in expected:
        twin = next(each for each in found if each["deck_id"] == row["deck_id"])
        assert set(twin) == set(due_list.COLUMNS)
        assert twin["carried_over"] == row["carried_over"]
        assert twin["due_on"] == row["due_on"].isoformat()
        assert twin["work"] == row["work"]


@pytest.mark.parametrize("name", LISTS)
def test_a_page_takes_as_many_queries_for_many_rows_as_for_one(reader: Program, name: str) -> None:
    a_book(1)
    reader.read(f"/{name}")  # the use of the token is noted once a minute
    with CaptureQueriesContext(connection) as few:
        one = reader.read(f"/{name}")
    a_book(4)
    with CaptureQueriesContext(connection) as many:
        all_of_them = reader.read(f"/{name}")

    assert len(one["items"]) < len(all_of_them["items"])
    assert len(many) <= len(few) <= 16


def test_the_due_list_takes_as_many_queries_for_many_rows_as_for_one(reader: Program) -> None:
    a_book(1)
    reader.read("/due/2030-01")
    with CaptureQueriesContext(connection) as few:
        one = reader.read("/due/2030-01")
    a_book(4)
    with CaptureQueriesContext(connection) as many:
        all_of_them = reader.read("/due/2030-01")

    assert (len(one["items"]), len(all_of_them["items"])) == (1, 5)
    assert len(many) <= len(few)


def test_what_has_not_changed_is_not_sent_again(reader: Program) -> None:
    row = ClientFactory()
    first = reader.get(f"/clients/{row.pk}")
    tag = {"If-None-Match": first["ETag"]}

    again = reader.get(f"/clients/{row.pk}", headers=tag)
    Client.objects.filter(pk=row.pk).update(name="Other")
    changed = reader.get(f"/clients/{row.pk}", headers=tag)

    assert (again.status_code, again.content) == (304, b"")  # RFC 9110, 15.4.5
    assert changed.status_code == 200
    assert first["Cache-Control"] == "private, no-cache"


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/clients?limit=0", 422),
        ("/clients?limit=201", 422),
        ("/clients?cursor=%2A", 422),
        ("/clients?cursor=bm9uZQ==", 422),
        ("/due/2027-06?cursor=bm9uZQ==", 422),
        ("/due/2027-13", 422),
        ("/clients/9223372036854775808", 422),
        ("/clients/none", 422),
        ("/clients/77", 404),
        ("/nowhere", 404),
        ("/../v2/clients", 404),
    ],
)
def test_what_cannot_be_answered_is_said_as_problem_details(
    reader: Program, path: str, status: int
) -> None:
    answer = reader.get(path)

    problem = answer.json()
    assert answer.status_code == problem["status"] == status
    assert answer["Content-Type"] == "application/problem+json"  # RFC 9457, 3
    assert problem["title"]
    assert problem["detail"]
    assert (status == 422) == bool(problem.get("errors"))


def test_another_method_is_refused_and_the_right_ones_are_named(reader: Program) -> None:
    answer = reader.ask("DELETE", "/clients")

    assert answer.status_code == 405
    assert answer["Content-Type"] == "application/problem+json"
    assert {each.strip() for each in answer["Allow"].split(",")} == {"GET", "POST"}
