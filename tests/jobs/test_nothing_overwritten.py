"""Two people have one record open. The second is shown what the first changed, and decides."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from typing import Any

import pytest
from django.db import connection, transaction
from django.http import QueryDict
from django.test import Client as Browser

from clients.actions import clients as client_actions
from clients.messaging.models import Consent
from clients.models import Business, Client, ContactPoint, Property, User
from jobs.models import Booking, Crew, PriceList, Product
from tests.browser_form import complaints, opened_form, read_form, send
from tests.factories import (
    BusinessFactory,
    ClientFactory,
    CoatFactory,
    CrewFactory,
    DeckFactory,
    EmailFactory,
    ProductFactory,
    PropertyFactory,
    UserFactory,
)
from tests.jobs.at_once import at_once
from tests.jobs.diary_days import booked
from tests.jobs.offer_book import price_list

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
AsUser = Callable[[User], Browser]
pytestmark = pytest.mark.django_db


@dataclass(frozen=True)
class Edited:
    """A form that changes a record: the field whose presence finds it, what the first person
    writes, what the second, and another field that the second writes as well."""

    name: str
    row: Callable[[], Any]
    url: str
    both: tuple[str, str, str]
    other: tuple[str, str]
    read: Callable[[Any], tuple[str, str]]


EDITED = [
    Edited(
        "client",
        ClientFactory,
        "/clients/{pk}/edit/",
        ("notes", "Rings twice", "Dog barks"),
        ("salutation", "Marlow"),
        lambda row: (row.notes, row.salutation),
    ),
    Edited(
        "property",
        PropertyFactory,
        "/clients/properties/{pk}/edit/",
        ("access_notes", "Gate code 4", "Gate is open"),
        ("postcode", "B0J 1T0"),
        lambda row: (row.access_notes, row.postcode),
    ),
    Edited(
        "deck",
        DeckFactory,
        "/decks/{pk}/edit/",
        ("notes", "Nails stand out", "Moss"),
        ("label", "Front deck"),
        lambda row: (row.notes, row.label),
    ),
    Edited(
        "job",
        lambda: CoatFactory().job,
        "/jobs/{pk}/edit/",
        ("notes", "Two coats", "Three coats"),
        ("crew", "Gull crew"),
        lambda row: (row.notes, row.crew),
    ),
    Edited(
        "product",
        ProductFactory,
        "/jobs/products/{pk}/edit/",
        ("colours", "Honey", "Fern"),
        ("cautions", "Gloves"),
        lambda row: (row.colours, row.cautions),
    ),
    Edited(
        "business",
        Business.objects.get,
        "/settings/business/",
        ("phone", "902-555-0111", "902-555-0112"),
        ("town", "Mahone Bay"),
        lambda row: (row.phone, row.town),
    ),
    Edited(
        "crew",
        CrewFactory,
        "/diary/crews/{pk}/",
        ("hours_a_day", "16", "24"),
        ("position", "3"),
        lambda row: (f"{row.hours_a_day:.0f}", str(row.position)),
    ),
    Edited(
        "price list",
        lambda: price_list(),
        "/settings/prices/{pk}/change/",
        ("valid_days", "20", "40"),
        ("note", "Spring"),
        lambda row: (str(row.valid_days), row.note),
    ),
    Edited(
        "person",
        lambda: UserFactory(username="wren", first_name="Wren", role="crew"),
        "/settings/people/{pk}/",
        ("name", "Wren A", "Wren B"),
        ("role", "office"),
        lambda row: (row.first_name, row.role),
    ),
]


def opened(browser: Browser, edited: Edited) -> tuple[Any, str, QueryDict]:
    row = edited.row()
    url = edited.url.format(pk=row.pk)
    return row, *opened_form(browser, url, edited.both[0])


@pytest.fixture(params=EDITED, ids=lambda each: each.name)
def edited(request: pytest.FixtureRequest, business: Business) -> Edited:
    found: Edited = request.param
    return found


def test_the_second_sees_both_sides_and_keeps_their_own(as_owner: Browser, edited: Edited) -> None:
    row, url, fields = opened(as_owner, edited)
    both, first, second = edited.both
    saved = send(as_owner, url, fields, **{both: first})
    assert saved.status_code == 302, complaints(saved)

    shown = send(as_owner, url, fields, **{both: second, edited.other[0]: edited.other[1]})

    assert shown.status_code == 409
    page = shown.content.decode()
    assert first in page
    assert second in page
    row.refresh_from_db()
    assert edited.read(row)[0] == first
    _, decided = read_form(page, "decided")
    answer = send(as_owner, url, decided, **{f"take:{both}": "mine"})
    row.refresh_from_db()
    assert answer.status_code == 302
    assert edited.read(row) == (second, edited.other[1])


def test_the_second_takes_the_firsts_and_loses_nothing_else(
    as_owner: Browser, edited: Edited
) -> None:
    row, url, fields = opened(as_owner, edited)
    both, first, second = edited.both
    send(as_owner, url, fields, **{both: first})

    shown = send(as_owner, url, fields, **{both: second, edited.other[0]: edited.other[1]})
    _, decided = read_form(shown.content.decode(), "decided")
    answer = send(as_owner, url, decided, **{f"take:{both}": "theirs"})

    row.refresh_from_db()
    assert answer.status_code == 302
    assert edited.read(row) == (first, edited.other[1])


def test_a_field_that_only_the_first_touched_stays_theirs_unless_said_otherwise(
    as_owner: Browser, edited: Edited
) -> None:
    row, url, fields = opened(as_owner, edited)
    both, first, _ = edited.both
    send(as_owner, url, fields, **{both: first})

    shown = send(as_owner, url, fields, **{edited.other[0]: edited.other[1]})
    _, decided = read_form(shown.content.decode(), "decided")
    send(as_owner, url, decided)

    row.refresh_from_db()
    assert edited.read(row) == (first, edited.other[1])


def test_nobody_is_asked_when_the_other_wrote_the_same(as_owner: Browser, edited: Edited) -> None:
    _, url, fields = opened(as_owner, edited)
    both, first, _ = edited.both
    send(as_owner, url, fields, **{both: first})

    assert send(as_owner, url, fields, **{both: first}).status_code == 302


def test_a_third_who_comes_between_is_seen_too(as_owner: Browser, business: Business) -> None:
    client = ClientFactory(notes="")
    url, fields = opened_form(as_owner, f"/clients/{client.pk}/edit/", "notes")
    send(as_owner, url, fields, notes="one")
    shown = send(as_owner, url, fields, notes="two")
    _, decided = read_form(shown.content.decode(), "decided")
    Client.objects.filter(pk=client.pk).update(notes="three")

    again = send(as_owner, url, decided, **{"take:notes": "mine"})

    assert again.status_code == 409
    assert "three" in again.content.decode()


def test_numbers_that_two_people_add_both_stay(as_owner: Browser, business: Business) -> None:
    client = ClientFactory()
    EmailFactory(client=client, value="first@example.org")
    url, fields = opened_form(as_owner, f"/clients/{client.pk}/edit/", "notes")
    mine = {"reach-1-kind": "mobile", "reach-1-value": "902-555-0171"}
    send(as_owner, url, fields, **{**mine, "reach-1-value": "902-555-0172"})

    shown = send(as_owner, url, fields, **mine)
    assert "902-555-0172" in shown.content.decode()
    _, decided = read_form(shown.content.decode(), "decided")
    send(as_owner, url, decided)

    values = set(ContactPoint.objects.filter(client=client).values_list("value", flat=True))
    assert values == {"first@example.org", "902-555-0171", "902-555-0172"}


def test_a_number_that_the_first_added_may_be_left_out(
    as_owner: Browser, business: Business
) -> None:
    client = ClientFactory()
    EmailFactory(client=client, value="first@example.org")
    url, fields = opened_form(as_owner, f"/clients/{client.pk}/edit/", "notes")
    send(as_owner, url, fields, **{"reach-1-kind": "mobile", "reach-1-value": "902-555-0172"})
    added = ContactPoint.objects.get(kind="mobile")

    shown = send(as_owner, url, fields, notes="Rings twice")
    _, decided = read_form(shown.content.decode(), "decided")
    send(as_owner, url, decided, **{f"take:reach/{added.pk}": "mine"})

    assert not ContactPoint.objects.filter(pk=added.pk).exists()
    assert ContactPoint.objects.get().value == "first@example.org"


def test_a_booking_that_was_moved_is_not_moved_again_unseen(
    as_owner: Browser, business: Business
) -> None:
    CrewFactory()
    row = booked()
    url, fields = opened_form(as_owner, f"/diary/{row.pk}/move/", "hours")
    Booking.objects.filter(pk=row.pk).update(first_on=date(2027, 6, 9), last_on=date(2027, 6, 9))

    shown = send(as_owner, url, fields, hours="9")

    assert shown.status_code == 409
    assert "Jun 9" in shown.content.decode()
    row.refresh_from_db()
    assert row.first_on == date(2027, 6, 9)


def test_notes_for_the_crew_that_two_people_write_are_both_shown(
    as_owner: Browser, business: Business
) -> None:
    CrewFactory()
    row = booked()
    url, fields = opened_form(as_owner, f"/diary/{row.pk}/", "notes")
    send(as_owner, url, fields, notes="Ladder")

    shown = send(as_owner, url, fields, notes="Hose")

    assert shown.status_code == 409
    assert "Ladder" in shown.content.decode()
    assert "Hose" in shown.content.decode()


def test_a_time_of_arrival_that_two_people_set_is_asked_about(
    as_owner: Browser, business: Business
) -> None:
    CrewFactory()
    row = booked()
    url, fields = opened_form(as_owner, f"/diary/{row.pk}/", "arrives_from")
    Booking.objects.filter(pk=row.pk).update(arrives_from=time(8, 30))

    shown = send(as_owner, url, fields, arrives_from="09:00")

    assert shown.status_code == 409
    assert "08:30" in shown.content.decode()


def test_what_no_form_of_ours_can_have_sent_is_asked_about_field_by_field(
    as_owner: Browser, business: Business
) -> None:
    client = ClientFactory(notes="Rings twice")
    url, fields = opened_form(as_owner, f"/clients/{client.pk}/edit/", "notes")

    for broken in ("", "[", "[1]", '{"notes": 5}', '{"notes": [[1]]}', "\x00", "[" * 100_000):
        answer = send(as_owner, url, fields, notes="Dog barks", opened=broken)
        assert answer.status_code == 409
    client.refresh_from_db()
    assert client.notes == "Rings twice"


# --- at the same moment, on connections of their own


def signed_in(role: str = "owner") -> Browser:
    browser = Browser(raise_request_exception=False)
    browser.force_login(UserFactory(role=role))
    return browser


@pytest.mark.django_db(transaction=True)
def test_an_edit_that_waits_for_an_archive_does_not_undo_it() -> None:
    BusinessFactory()
    client = ClientFactory()
    browser = signed_in()
    url, fields = opened_form(browser, f"/clients/{client.pk}/edit/", "notes")

    def archive() -> None:
        with transaction.atomic(), connection.cursor() as cursor:
            client_actions.archive_client(client=client, by=None, now=NOW)
            cursor.execute("SELECT pg_sleep(0.5)")  # the edit comes and waits

    def edit() -> int:
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_sleep(0.2)")
        return int(send(browser, url, fields, notes="Rings twice").status_code)

    _, status = at_once(archive, edit)

    client.refresh_from_db()
    assert (status, client.notes) == (302, "Rings twice")
    assert client.archived_at == NOW


SUBMITTED: list[tuple[str, str, dict[str, str], Callable[[], int]]] = [
    (
        "/clients/{client}/properties/new/",
        "street",
        {
            "street": "9 Eider Drive",
            "town": "Lunenburg",
            "country": "CA",
            "latitude": "44.4",
            "longitude": "-64.3",
        },
        Property.objects.count,
    ),
    (
        "/clients/{client}/consent/",
        "wording",
        {
            "channel": "email",
            "is_given": "yes",
            "basis": "express",
            "wording": "You may e-mail me.",
            "evidence": "Call at 14:10",
        },
        Consent.objects.count,
    ),
    (
        "/jobs/products/new/",
        "maker",
        {"name": "Gannet Oil", "maker": "Larkmoor", "finish_class": "tinted"},
        Product.objects.count,
    ),
    ("/diary/crews/new/", "hours_a_day", {"name": "Tern crew"}, Crew.objects.count),
    (
        "/settings/prices/new/",
        "valid_days",
        {"rates-0-amount": "150", "taxes-0-name": "HST", "taxes-0-percent": "15"},
        PriceList.objects.count,
    ),
    (
        "/settings/people/new/",
        "username",
        {
            "name": "Wren",
            "username": "wren",
            "password": "low tide at seven",
            "password_again": "low tide at seven",
        },
        lambda: User.objects.filter(username="wren").count(),
    ),
]


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("submitted", SUBMITTED, ids=lambda each: each[0])
def test_a_form_sent_three_times_at_once_makes_one_row(
    submitted: tuple[str, str, dict[str, str], Callable[[], int]],
) -> None:
    url, having, typed, count = submitted
    BusinessFactory()
    client = ClientFactory()
    browser = signed_in()
    url = url.format(client=client.pk)
    address, fields = opened_form(browser, url, having)
    taps = [signed_in() for _ in range(3)]
    for tap in taps:
        tap.cookies = browser.cookies

    answers = at_once(
        *[lambda tap=tap: send(tap, address, fields, **typed).status_code for tap in taps]
    )
    late = send(browser, address, fields, **typed)

    assert count() == 1, complaints(late)
    assert set(answers) == {302}
    assert late.status_code == 302


def test_two_people_who_change_the_coats_of_a_job_see_both(
    as_owner: Browser, business: Business
) -> None:
    coat = CoatFactory(litres="5")
    oil = ProductFactory(name="Gannet Oil")
    url, fields = opened_form(as_owner, f"/jobs/{coat.job_id}/edit/", "notes")
    saved = send(as_owner, url, fields, **{"coats-0-product": str(oil.pk)})
    assert saved.status_code == 302, complaints(saved)

    shown = send(as_owner, url, fields, **{"coats-0-litres": "7"})
    page = shown.content.decode()
    assert shown.status_code == 409
    assert "Gannet Oil" in page
    _, decided = read_form(page, "decided")
    taken = send(as_owner, url, decided, **{"take:coats/#0": "theirs"})

    coat.refresh_from_db()
    assert taken.status_code == 302
    assert (coat.product, coat.litres) == (oil, 5)
