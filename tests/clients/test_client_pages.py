"""Clients through their pages: taking one in, changing one, what they allow, putting one away."""

import re
from typing import Any

import pytest
from auditlog.models import LogEntry
from django.test import Client as Browser
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from clients import suppression
from clients.models import Business, Client, Consent, ContactPoint, Deck, Place, Property, User
from reminders.models import Forecast
from tests.factories import (
    ClientFactory,
    CoatFactory,
    ConsentFactory,
    DeckFactory,
    EmailFactory,
    JobFactory,
    MessageFactory,
    PhoneFactory,
    PropertyFactory,
)


@pytest.fixture
def lunenburg(db: None) -> Place:
    # GeoNames 6059600 (town, latitude, longitude)
    return place(6059600, "Lunenburg", "Nova Scotia", "CA", 44.3785, -64.3153, "America/Halifax", 2263)


def place(pk: int, name: str, region: str, country: str, north: float, east: float, zone: str, size: int) -> Place:
    return Place.objects.create(
        geoname_id=pk, name=name, ascii_name=name, region=region, country=country, latitude=north, longitude=east,
        time_zone=zone, population=size,
    )  # fmt: skip


def rows(*reaches: dict[str, Any]) -> dict[str, Any]:
    data: dict[str, Any] = {"reach-TOTAL_FORMS": len(reaches), "reach-INITIAL_FORMS": len(reaches)}
    for number, reach in enumerate(reaches):
        data |= {f"reach-{number}-{name}": value for name, value in reach.items()}
    return data


def whole(**changes: Any) -> dict[str, Any]:
    """The one-page door, filled."""
    return {
        "client-name": "Marlow Pennington",
        **rows({"kind": "mobile", "value": "902-555-0142"}, {"kind": "email", "value": "marlow@example.org"}),
        "property-street": "7 Cormorant Lane", "property-town": "Lunenburg", "property-country": "CA",
        "deck-label": "Back deck", "deck-area_m2": "18", "deck-species": "treated_pine", **changes,
    }  # fmt: skip


def page(response: Any) -> str:
    return str(response.content.decode())


def test_client_property_and_deck_are_taken_in_on_one_page(as_owner: Browser, lunenburg: Place) -> None:
    answer = as_owner.post(reverse("clients:new"), whole())

    deck = Deck.objects.get()
    assert answer.url == reverse("decks:detail", args=[deck.pk])
    assert (deck.label, deck.area_m2, deck.traffic, deck.rail_m) == ("Back deck", 18, "household", 0)
    home = deck.property
    assert (home.latitude, home.longitude, home.time_zone) == (44.3785, -64.3153, "America/Halifax")
    assert home.region == "Nova Scotia"
    points = home.client.contact_points.order_by("id").values_list("kind", "normalized", "is_preferred")
    assert list(points) == [("mobile", "+19025550142", True), ("email", "marlow@example.org", True)]


def test_a_second_click_makes_no_second_client(as_owner: Browser, lunenburg: Place) -> None:
    first, second = (as_owner.post(reverse("clients:new"), whole()) for _ in range(2))

    assert first.url == second.url
    assert Client.objects.count() == Deck.objects.count() == 1


@pytest.mark.parametrize(
    ("field", "value", "why"),
    [
        ("client-name", "  ", "required"),
        ("client-name", "---", "name of the client"),
        ("reach-0-value", "902-555", "too few digits"),
        ("reach-1-value", "a@example.org, b@example.org", "more than one e-mail address"),
        ("reach-1-value", "Marlow <marlow@example.org>", "bare e-mail address"),
        ("reach-1-value", "marlow@example", "not an e-mail address"),
        ("property-street", "", "required"),
        ("property-country", "ZZ", "not one of the available choices"),
        ("property-latitude", "95", "90"),
        ("property-latitude", "nan", "Write degrees"),
        ("deck-area_m2", "0", "more than 0"),
        ("deck-area_m2", "-3", "more than 0"),
        ("deck-area_m2", "1e12", "too large"),
        ("deck-area_m2", "60000", "more than 50,000"),
        ("deck-area_m2", "wide", "Enter a number"),
        ("deck-species", "", "required"),
        ("deck-species", "granite", "not one of the available choices"),
        ("deck-stair_treads", "-1", "greater than or equal to 0"),
        ("deck-rail_m", "-1", "cannot be negative"),
        ("deck-roof_percent", "101", "0 to 100"),
        ("deck-built_year", "2999", "Write a year"),
        ("deck-orientation_deg", "400", "not one of the available choices"),
        ("deck-label", "x" * 81, "80 characters"),
    ],
)
def test_what_cannot_be_is_named_and_nothing_is_written(
    as_owner: Browser, lunenburg: Place, field: str, value: str, why: str
) -> None:
    answer = as_owner.post(reverse("clients:new"), whole(**{field: value}))

    assert answer.status_code == 200
    assert why in page(answer)
    assert f'href="#id_{field}' in page(answer)
    assert not Client.objects.exists()
    assert not Property.objects.exists()


def test_half_a_spot_names_the_half_that_is_missing(as_owner: Browser, lunenburg: Place) -> None:
    answer = as_owner.post(reverse("clients:new"), whole(**{"property-latitude": "44.4"}))

    assert 'href="#id_property-longitude">Longitude' in page(answer)
    assert "belong together" in page(answer)


def test_hidden_characters_cannot_slip_into_an_address(as_owner: Browser, lunenburg: Place) -> None:
    for text in (
        "a@example.org\r\nBcc: b@example.org",
        "a@exa\u2028mple.org",
        "a\u200b@example.org",
        "a@example.org\x00",
    ):
        answer = as_owner.post(reverse("clients:new"), whole(**{"reach-1-value": text}))

        assert answer.status_code == 200
    assert not ContactPoint.objects.exists()


def test_an_unknown_town_is_answered_with_towns_to_choose_from(as_owner: Browser, lunenburg: Place) -> None:
    answer = as_owner.post(reverse("clients:new"), whole(**{"property-town": "Luneburg"}))

    assert "not a town we know" in page(answer)
    assert f'name="property-place" value="{lunenburg.pk}"' in page(answer)

    chosen = {"property-town": "Luneburg", "property-place": lunenburg.pk, "property-place_for": "Luneburg"}
    as_owner.post(reverse("clients:new"), whole(**chosen))

    assert Property.objects.get().town == "Lunenburg"


def test_one_of_several_towns_of_a_name_is_chosen_not_guessed(as_owner: Browser, lunenburg: Place) -> None:
    place(1, "Lunenburg", "Ontario", "CA", 45.1, -74.9, "America/Toronto", 500)

    answer = as_owner.post(reverse("clients:new"), whole())
    assert "several places called Lunenburg" in page(answer)

    as_owner.post(reverse("clients:new"), whole(**{"property-region": "ON"}))
    assert Property.objects.get().time_zone == "America/Toronto"


def test_a_spot_may_be_given_instead_of_a_known_town(as_owner: Browser) -> None:
    spot = {"property-town": "Gull Rock", "property-latitude": "44.4", "property-longitude": "-64.2"}

    as_owner.post(reverse("clients:new"), whole(**spot))

    home = Property.objects.get()
    assert (home.town, home.latitude, home.time_zone) == ("Gull Rock", 44.4, "America/Halifax")


def test_numbers_are_read_as_in_the_country_of_the_deck(as_owner: Browser) -> None:
    # 021 234 5678 is a mobile number form in New Zealand (phonenumbers metadata).
    abroad = {
        "property-town": "Far Bay", "property-country": "NZ", "property-latitude": "-36.85",
        "property-longitude": "174.76", "reach-0-value": "021 234 5678",
    }  # fmt: skip

    as_owner.post(reverse("clients:new"), whole(**abroad))

    assert ContactPoint.objects.get(kind="mobile").normalized == "+64212345678"
    assert Property.objects.get().time_zone == "Pacific/Auckland"


def test_square_feet_are_kept_as_square_metres(as_owner: Browser, business: Business, lunenburg: Place) -> None:
    Business.objects.update(units="us")

    as_owner.post(reverse("clients:new"), whole(**{"deck-area_m2": "200", "deck-rail_m": "10"}))

    # 1 ft = 0.3048 m exactly (international yard and pound agreement, 1959): 200 ft² = 18.580608 m²
    deck = Deck.objects.get()
    assert (str(deck.area_m2), str(deck.rail_m)) == ("18.58", "3.05")
    form = page(as_owner.get(reverse("deck_forms:edit", args=[deck.pk])))
    assert "Area, ft²" in form
    assert re.search(r'name="area_m2" value="199\.99"|name="area_m2" value="200"', form)


def test_opening_and_saving_a_deck_in_feet_moves_nothing(as_owner: Browser, business: Business) -> None:
    Business.objects.update(units="us")
    deck = DeckFactory(area_m2="18.58")
    form = as_owner.get(reverse("deck_forms:edit", args=[deck.pk])).context["deck_form"]

    as_owner.post(reverse("deck_forms:edit", args=[deck.pk]), {n: form[n].value() or "" for n in form.fields})

    deck.refresh_from_db()
    assert str(deck.area_m2) == "18.58"


def test_two_decks_of_a_property_have_two_names(as_owner: Browser) -> None:
    deck = DeckFactory(label="Back deck")
    door = reverse("deck_forms:new", args=[deck.property_id])

    answer = as_owner.post(door, {"label": "back  DECK", "area_m2": "5", "species": "spruce"})

    assert "already has a deck called" in page(answer)
    assert Deck.objects.count() == 1


def test_emptied_fields_of_a_deck_are_its_defaults(as_owner: Browser) -> None:
    deck = DeckFactory(roof_percent=40, salt="spray")
    values = {"label": deck.label, "area_m2": "20", "species": "ipe", "roof_percent": "", "salt": "", "rail_m": ""}

    as_owner.post(reverse("deck_forms:edit", args=[deck.pk]), values)

    deck.refresh_from_db()
    assert (deck.roof_percent, deck.salt, deck.rail_m, deck.species) == (0, "none", 0, "ipe")


def test_a_changed_deck_gets_a_new_forecast_at_once(as_owner: Browser) -> None:
    deck = DeckFactory(label="Back deck")
    CoatFactory(job=JobFactory(deck=deck))
    values = {"label": "Back deck", "area_m2": "18", "species": "treated_pine"}

    as_owner.post(reverse("deck_forms:edit", args=[deck.pk]), values | {"traffic": "light"})
    before = Forecast.objects.get(deck=deck).due_on
    as_owner.post(reverse("deck_forms:edit", args=[deck.pk]), values | {"traffic": "heavy", "salt": "spray"})

    assert Forecast.objects.get(deck=deck).due_on < before


def test_a_moved_property_gets_the_sun_of_its_new_town(as_owner: Browser, lunenburg: Place) -> None:
    home = PropertyFactory(town="Elsewhere", latitude=50.0, longitude=-60.0, time_zone="America/Toronto")
    door = reverse("clients:edit_property", args=[home.pk])
    shown = {"latitude": "50.0", "longitude": "-60.0", "time_zone": "America/Toronto"}

    as_owner.post(door, {"street": home.street, "town": "Lunenburg", "country": "CA", **shown})

    home.refresh_from_db()
    assert (home.latitude, home.time_zone) == (44.3785, "America/Halifax")


def test_a_new_street_leaves_the_spot_alone(as_owner: Browser) -> None:
    home = PropertyFactory(town="Nowhere known", latitude=50.5)
    form = as_owner.get(reverse("clients:edit_property", args=[home.pk])).context["property_form"]
    values = {name: form[name].value() or "" for name in form.fields} | {"street": "9 Plover Road"}

    as_owner.post(reverse("clients:edit_property", args=[home.pk]), values)

    home.refresh_from_db()
    assert (home.street, home.latitude) == ("9 Plover Road", 50.5)


def test_the_ways_to_reach_a_client_are_changed_swapped_and_deleted(as_owner: Browser) -> None:
    client = ClientFactory(name="Marlow Pennington")
    one = EmailFactory(client=client, value="one@example.org")
    two = EmailFactory(client=client, value="two@example.org", is_preferred=False)
    gone = PhoneFactory(client=client)
    reaches = rows(
        {"pk": one.pk, "kind": "email", "value": "two@example.org"},
        {"pk": two.pk, "kind": "email", "value": "three@example.org", "is_preferred": "on"},
        {"pk": gone.pk, "kind": "mobile", "value": gone.value, "DELETE": "on"},
        {"kind": "phone", "value": "902-555-0177 ext. 5", "label": "Workshop"},
        {"kind": "email", "value": ""},
    )

    answer = as_owner.post(reverse("clients:edit", args=[client.pk]), {"name": "Marlow P.", **reaches})

    assert answer.status_code == 302
    points = client.contact_points.order_by("normalized").values_list("kind", "normalized", "is_preferred", "label")
    assert list(points) == [
        ("phone", "+19025550177;ext=5", True, "Workshop"),
        ("email", "three@example.org", True, ""),
        ("email", "two@example.org", False, ""),
    ]


def test_saving_a_client_unchanged_leaves_no_trace(as_owner: Browser) -> None:
    client = ClientFactory()
    one, two = EmailFactory(client=client), EmailFactory(client=client, is_preferred=False)
    before = LogEntry.objects.count()
    reaches = rows(
        {"pk": one.pk, "kind": "email", "value": one.value, "is_preferred": "on"},
        {"pk": two.pk, "kind": "email", "value": two.value},
    )

    as_owner.post(reverse("clients:edit", args=[client.pk]), {"name": client.name, **reaches})

    assert LogEntry.objects.count() == before


def test_a_number_may_change_its_kind(as_owner: Browser) -> None:
    client = ClientFactory()
    phone, mobile = PhoneFactory(client=client, kind="phone"), PhoneFactory(client=client, kind="mobile")
    reaches = rows(*({"pk": each.pk, "kind": "mobile", "value": each.value} for each in (phone, mobile)))

    as_owner.post(reverse("clients:edit", args=[client.pk]), {"name": client.name, **reaches})

    points = client.contact_points.order_by("id").values_list("pk", "kind", "is_preferred")
    assert sorted(points) == [(phone.pk, "mobile", False), (mobile.pk, "mobile", True)]


def test_an_address_written_twice_is_named(as_owner: Browser) -> None:
    client = ClientFactory()
    twice = rows({"kind": "email", "value": "a@example.org"}, {"kind": "email", "value": "A@example.org"})

    answer = as_owner.post(reverse("clients:edit", args=[client.pk]), {"name": client.name, **twice})

    assert "written twice" in page(answer)
    assert not client.contact_points.exists()


def test_a_row_of_somebody_else_cannot_be_taken_over(as_owner: Browser) -> None:
    other = EmailFactory(value="other@example.org")
    client = ClientFactory()
    reaches = rows({"pk": other.pk, "kind": "email", "value": "mine@example.org"})

    as_owner.post(reverse("clients:edit", args=[client.pk]), {"name": client.name, **reaches})

    other.refresh_from_db()
    assert other.value == "other@example.org"
    assert client.contact_points.get().value == "mine@example.org"


def test_a_changed_address_is_not_written_to_any_more(as_owner: Browser) -> None:
    point = EmailFactory(value="old@example.org")
    waiting = MessageFactory(client=point.client, address="old@example.org")
    reaches = rows({"pk": point.pk, "kind": "email", "value": "new@example.org"})

    as_owner.post(reverse("clients:edit", args=[point.client_id]), {"name": point.client.name, **reaches})

    waiting.refresh_from_db()
    assert waiting.state == "cancelled"
    assert "changed" in waiting.events.get().note


def test_a_number_nobody_uses_is_kept_with_a_warning(as_owner: Browser) -> None:
    client = ClientFactory()
    reaches = rows({"kind": "phone", "value": "+64 9 123 4567"})

    answer = as_owner.post(reverse("clients:edit", args=[client.pk]), {"name": client.name, **reaches}, follow=True)

    assert "Check it" in page(answer)
    assert client.contact_points.get().normalized == "+6491234567"


CONSENT = {
    "channel": "email", "is_given": "yes", "basis": "express", "wording": "Yes, by e-mail.", "evidence": "Form 12"
}  # fmt: skip


def test_a_consent_keeps_its_words_and_who_recorded_it(as_owner: Browser, owner: User) -> None:
    client = ClientFactory()

    as_owner.post(reverse("clients:add_consent", args=[client.pk]), CONSENT)

    consent = client.consents.get()
    assert (consent.wording, consent.evidence, consent.recorded_by) == ("Yes, by e-mail.", "Form 12", owner)
    assert "Yes, by e-mail." in page(as_owner.get(reverse("clients:detail", args=[client.pk])))


def test_no_box_of_a_consent_is_ticked_beforehand(as_owner: Browser) -> None:
    form = page(as_owner.get(reverse("clients:add_consent", args=[ClientFactory().pk])))

    assert " checked" not in form
    assert form.count('name="channel"') == 4


@pytest.mark.parametrize(
    ("field", "value", "why"),
    [
        ("wording", "", "Write the words"),
        ("evidence", " ", "what shows the consent"),
        ("channel", "", "required"),
        ("is_given", "", "required"),
        ("basis", "customer", "needs the day"),
        ("expires_on", "2001-01-01", "from today on"),
        ("expires_on", "2027-02-30", "calendar"),
    ],
)
def test_a_consent_nobody_could_prove_is_refused(as_owner: Browser, field: str, value: str, why: str) -> None:
    client = ClientFactory()

    answer = as_owner.post(reverse("clients:add_consent", args=[client.pk]), CONSENT | {field: value})

    assert why in page(answer)
    assert not client.consents.exists()


def test_a_withdrawal_cancels_what_waits_but_not_word_of_a_booked_visit(as_owner: Browser) -> None:
    client = ConsentFactory().client
    waiting, other = MessageFactory(client=client), MessageFactory(client=client, channel="letter")
    booked = MessageFactory(client=client, kind="service")

    as_owner.post(
        reverse("clients:add_consent", args=[client.pk]), {"channel": "email", "is_given": "no", "basis": "express"}
    )

    states = [type(row).objects.get(pk=row.pk).state for row in (waiting, other, booked)]
    assert states == ["cancelled", "queued", "queued"]
    assert "Withdrawn" in page(as_owner.get(reverse("clients:detail", args=[client.pk])))


def test_only_the_client_undoes_a_suppression(as_owner: Browser, business: Business) -> None:
    point = EmailFactory(value="Quiet@example.org")
    suppression.suppress(business=business, channel="email", address="quiet@example.org", reason="unsubscribed")
    door = reverse("clients:add_consent", args=[point.client_id])
    detail = reverse("clients:detail", args=[point.client_id])

    as_owner.post(door, CONSENT)
    assert "Asked not to be written to" in page(as_owner.get(detail))

    as_owner.post(door, CONSENT | {"is_welcome_again": "on"})
    assert "Asked not to be written to" not in page(as_owner.get(detail))


def test_an_archived_client_keeps_the_history_and_hears_nothing(as_owner: Browser) -> None:
    waiting = MessageFactory()
    client = waiting.client

    for _ in range(2):
        as_owner.post(reverse("clients:archive", args=[client.pk]))

    client.refresh_from_db()
    waiting.refresh_from_db()
    assert client.archived_at is not None
    assert waiting.state == "cancelled"
    assert waiting.events.filter(state="cancelled").count() == 1
    assert "Archived" in page(as_owner.get(reverse("clients:detail", args=[client.pk])))

    as_owner.post(reverse("clients:bring_back", args=[client.pk]))
    client.refresh_from_db()
    assert client.archived_at is None


def test_the_client_page_shows_all_that_was_said(as_owner: Browser) -> None:
    client = EmailFactory().client
    MessageFactory(client=client, state="unconfirmed", subject="Your deck is due")

    shown = page(as_owner.get(reverse("clients:detail", args=[client.pk])))

    assert "Your deck is due" in shown
    assert "chip is-unconfirmed" in shown


def test_the_client_page_asks_no_more_questions_for_more_rows(
    as_owner: Browser, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    client = ClientFactory()
    for _ in range(4):
        home = PropertyFactory(client=client)
        DeckFactory.create_batch(3, property=home)
        MessageFactory(client=client)
        ConsentFactory(client=client)
        EmailFactory(client=client, is_preferred=False)

    with django_assert_max_num_queries(16):
        as_owner.get(reverse("clients:detail", args=[client.pk]))


def test_the_crew_may_take_in_a_client_but_not_put_one_away(crew: User, as_user: Any, lunenburg: Place) -> None:
    browser = as_user(crew)

    browser.post(reverse("clients:new"), whole())
    client = Client.objects.get()
    refused = browser.post(reverse("clients:archive", args=[client.pk]))

    assert refused.status_code == 403
    client.refresh_from_db()
    assert client.archived_at is None


def test_an_entry_of_the_consent_log_tells_who(business: Business) -> None:
    consent = ConsentFactory()

    assert str(Consent.objects.get(pk=consent.pk)) == "E-mail: given"
