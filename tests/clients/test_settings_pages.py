"""Settings: the business, its people, what the owner knows about the rain, and who changed what."""

import threading
from typing import Any

import pytest
from auditlog.models import LogEntry
from django.db import connection
from django.test import Client as Browser
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from clients.actions import business as actions
from clients.models import Business, Client, ContactPoint, LocalNormals, User
from clients.notation import fill_map_link
from tests.factories import BusinessFactory, DeckFactory, PropertyFactory, UserFactory
from tests.signing_in import signed_in


def page(response: Any) -> str:
    return str(response.content.decode())


def filled(business: Business, **changes: Any) -> dict[str, Any]:
    names = (
        "name",
        "street",
        "town",
        "region",
        "postcode",
        "country",
        "phone",
        "email",
        "sender_email",
        "units",
        "currency",
        "locale",
        "time_zone",
        "season_months",
    )
    return {name: getattr(business, name) for name in names} | changes


def test_the_business_is_changed_on_its_page(as_owner: Browser, business: Business) -> None:
    changes = {
        "currency": "usd",
        "locale": "en_US",
        "season_months": ["5", "6"],
        "bounce_email": "back@example.com",
        "map_link": "https://maps.example.com/?q={address}",
    }

    answer = as_owner.post(reverse("settings:business"), filled(business, **changes))

    business.refresh_from_db()
    assert answer.status_code == 302
    assert (business.currency, business.locale, business.season_months) == ("USD", "en-US", [5, 6])
    assert business.bounce_email == "back@example.com"
    assert fill_map_link(
        business.map_link, address="7 Plover Row, Näs", latitude=1, longitude=2
    ) == (
        "https://maps.example.com/?q=7%20Plover%20Row%2C%20N%C3%A4s"  # RFC 3986, 2.1 and 2.5
    )


@pytest.mark.parametrize(
    ("field", "value", "why"),
    [
        ("name", "", "fill this in"),
        ("currency", "SHL", "three letters of a currency"),
        ("locale", "xx-Bay", "language and a country"),
        ("season_months", [], "Tick at least one month"),
        ("season_months", ["13"], "not one of the available choices"),
        ("time_zone", "Mars/Olympus", "not one of the available choices"),
        ("phone", "call us", "not a telephone number"),
        ("sender_email", "a@example.com, b@example.com", "more than one e-mail address"),
        ("email", "Office <office@example.com>", "bare e-mail address"),
        ("website", "not a site", "valid URL"),
        ("map_link", "http://maps.example.com/?q={address}", "Begin with https://"),
        ("map_link", "https://maps.example.com/", "put {address}, or {lat} and"),
        ("map_link", "https://maps.example.com/?at={lat}", "put {address}, or {lat} and"),
        ("map_link", "https://maps.example.com/{address}/{city}", "put {address}, or {lat}"),
    ],
)
def test_what_cannot_be_is_named(
    as_owner: Browser, business: Business, field: str, value: Any, why: str
) -> None:
    answer = as_owner.post(reverse("settings:business"), filled(business, **{field: value}))

    assert why in page(answer)
    kept = getattr(business, field)
    business.refresh_from_db()
    assert getattr(business, field) == kept


def test_the_frame_keeps_the_saved_name_while_a_mistake_is_put_right(
    as_owner: Browser, business: Business
) -> None:
    answer = as_owner.post(
        reverse("settings:business"), filled(business, name="Half typed", currency="?")
    )

    assert f"<span>{business.name}</span>" in page(answer)


# People


def test_somebody_is_added_and_may_sign_in(as_owner: Browser) -> None:
    words = "gulls on the rail"
    new = {
        "name": "Fern",
        "username": "fern",
        "role": "crew",
        "password": words,
        "password_again": words,
    }

    as_owner.post(reverse("settings:add_person"), new)

    assert Browser().post(reverse("sign_in"), {"username": "fern", "password": words})[
        "Location"
    ] == reverse("today")
    assert User.objects.get(username="fern").role == "crew"


def test_two_people_cannot_share_a_sign_in_name(as_owner: Browser, owner: User) -> None:
    words = "gulls on the rail"
    new = {
        "name": "Other",
        "username": "MAREN",
        "role": "crew",
        "password": words,
        "password_again": words,
    }

    assert "has this sign-in name" in page(as_owner.post(reverse("settings:add_person"), new))
    assert User.objects.count() == 1


def test_a_role_is_changed_and_an_account_closed(as_owner: Browser, crew: User) -> None:
    form_url = reverse("settings:person", args=[crew.pk])

    as_owner.post(form_url, {"name": "Tern", "role": "office"})

    crew.refresh_from_db()
    assert (crew.role, crew.is_active) == ("office", False)


@pytest.mark.parametrize("change", [{"role": "office", "is_active": "on"}, {"role": "owner"}])
def test_the_last_owner_stays(
    as_owner: Browser, owner: User, office: User, change: dict[str, str]
) -> None:
    UserFactory(username="former", role="owner", is_active=False)

    answer = as_owner.post(reverse("settings:person", args=[owner.pk]), {"name": "Maren", **change})

    assert "last owner" in page(answer)
    owner.refresh_from_db()
    assert (owner.role, owner.is_active) == ("owner", True)


@pytest.mark.django_db(transaction=True)
def test_two_owners_cannot_step_down_at_the_same_moment() -> None:
    BusinessFactory()
    owners = [UserFactory(username=name, role="owner") for name in ("maren", "wren")]
    gate = threading.Barrier(2)
    refused: list[str] = []

    def step_down(person: User) -> None:
        gate.wait()
        try:
            actions.change_person(person=person, name="x", role="crew", email="", is_active=True)
        except actions.LastOwnerError as error:
            refused.append(str(error))
        finally:
            connection.close()

    threads = [threading.Thread(target=step_down, args=[person]) for person in owners]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert len(refused) == 1
    assert User.objects.filter(role="owner", is_active=True).count() == 1


def test_the_owner_sets_a_new_password_for_somebody(owner: User, crew: User) -> None:
    as_owner = signed_in(owner)
    new = "gulls on the rail"

    as_owner.post(
        reverse("settings:set_password", args=[crew.pk]),
        {"new_password1": new, "new_password2": new},
    )

    crew.refresh_from_db()
    assert crew.check_password(new)


# Wet days


def wet(town: str, day: str = "12") -> dict[str, str]:
    place = f'["{town}", "Nova Scotia", "CA"]'
    return {"place": place, "source": "Own gauge"} | {
        f"wet_{number}": day for number in range(1, 13)
    }


def test_wet_days_are_entered_for_a_town_of_the_book(as_owner: Browser) -> None:
    DeckFactory(site=PropertyFactory(town="Lunenburg"))

    as_owner.post(reverse("settings:add_normals"), wet("Lunenburg"))
    row = LocalNormals.objects.get()
    as_owner.post(reverse("settings:edit_normals", args=[row.pk]), wet("Lunenburg", "9.5"))

    row.refresh_from_db()
    assert (row.town, row.region, row.country, row.wet_days) == (
        "Lunenburg",
        "Nova Scotia",
        "CA",
        [9.5] * 12,
    )


@pytest.mark.parametrize(
    ("field", "value", "why"),
    [
        ("wet_2", "30", "February has 29 days"),
        ("wet_4", "-1", "cannot be negative"),
        ("wet_5", "", "fill this in"),
        ("source", "", "fill this in"),
        ("place", '["Atlantis", "", "CA"]', "not one of the available choices"),
    ],
)
def test_impossible_rain_is_named(as_owner: Browser, field: str, value: str, why: str) -> None:
    PropertyFactory(town="Lunenburg")

    answer = as_owner.post(reverse("settings:add_normals"), wet("Lunenburg") | {field: value})

    assert why in page(answer)
    assert not LocalNormals.objects.exists()


# Who changed what


def test_the_trail_says_who_changed_what_and_from_what(
    as_owner: Browser, owner: User, as_user: Any, crew: User
) -> None:
    deck = DeckFactory(label="Back deck", salt="none")
    values = {"label": "Back deck", "area_m2": "21", "species": "treated_pine", "salt": "spray"}

    as_user(crew).post(reverse("deck_forms:edit", args=[deck.pk]), values)

    shown = page(
        as_owner.get(reverse("settings:audit"), {"record": f"deck-{deck.pk}", "person": crew.pk})
    )
    assert "<strong>Tern</strong> changed the deck" in shown
    assert "sea air: No → In the spray" in shown
    assert "area: 18.00 → 21.00" in shown
    assert "treated_pine" not in shown


@pytest.mark.parametrize("claimed", ["198.51.100.7", "198.51.100.7, 203.0.113.9", "no address"])
def test_who_claims_to_come_from_elsewhere_is_in_the_trail_by_their_own_address(
    as_owner: Browser, business: Business, claimed: str
) -> None:
    """Behind a proxy the web server has put the visitor where the address is read."""
    values = filled(business, town="Chester")
    headers = {"x-forwarded-for": claimed, "x-forwarded-port": "70000"}

    answer = as_owner.post(reverse("settings:business"), values, headers=headers)

    assert answer.status_code == 302
    entry = LogEntry.objects.get_for_object(business).latest("timestamp")
    assert (entry.remote_addr, entry.remote_port) == ("127.0.0.1", None)


def test_a_password_is_in_the_trail_only_as_changed(owner: User, crew: User) -> None:
    as_owner = signed_in(owner)
    before = crew.password
    new = "gulls on the rail"
    as_owner.post(
        reverse("settings:set_password", args=[crew.pk]),
        {"new_password1": new, "new_password2": new},
    )

    shown = page(as_owner.get(reverse("settings:audit"), {"record": f"user-{crew.pk}"}))

    crew.refresh_from_db()
    assert "<strong>Maren</strong> changed the user" in shown
    assert "password" in shown
    stored = str(list(LogEntry.objects.values_list("changes", flat=True)))
    for secret in (new, before[-12:], crew.password[-12:]):
        assert secret not in shown
        assert secret not in stored


def test_the_trail_is_filtered_and_comes_in_pages(
    as_owner: Browser, owner: User, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    people = [Client.objects.create(name=f"Marlow Pennington {number}") for number in range(61)]
    ContactPoint.objects.create(
        client=people[0], kind="phone", value="902-555-0101", normalized="+19025550101"
    )

    with django_assert_max_num_queries(12):
        first = as_owner.get(reverse("settings:audit"), {"record": "client"})
    second = as_owner.get(reverse("settings:audit"), {"record": "client", "page": "2"})

    assert len(first.context["lines"]) == 50
    assert len(second.context["lines"]) == 11
    assert {line.kind for line in first.context["lines"]} == {"client"}
    assert "record=client&amp;page=2" in page(first)
    assert as_owner.get(reverse("settings:audit"), {"person": owner.pk}).context["lines"] == []
    assert as_owner.get(reverse("settings:audit"), {"person": "program"}).context["lines"]


@pytest.mark.parametrize(
    "query",
    [
        "person=x",
        "record=deck-x",
        "record=x-1",
        "page=x",
        "person=9" + "9" * 40,
        "record=%00-1",
        "person=%00",
    ],
)
def test_a_filter_that_makes_no_sense_finds_nothing(as_owner: Browser, query: str) -> None:
    ContactPoint.objects.all().delete()

    assert as_owner.get(f"{reverse('settings:audit')}?{query}").status_code == 200


def test_the_crew_finds_only_how_it_signs_in_under_settings(as_user: Any, crew: User) -> None:
    shown = page(as_user(crew).get(reverse("settings:overview")))

    assert reverse("settings:signing_in") in shown
    assert reverse("settings:people") not in shown
