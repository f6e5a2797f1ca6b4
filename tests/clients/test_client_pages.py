"""Clients through their pages: taking one in, what they allow, putting one away."""

import threading
from typing import Any

import pytest
from django.db import connection
from django.test import Client as Browser
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from clients.messaging import suppression
from clients.messaging.models import Consent
from clients.models import Business, Client, ContactPoint, Deck, Place, Property, User
from tests.clients.filled import page, whole
from tests.factories import (
    BusinessFactory,
    ClientFactory,
    ConsentFactory,
    DeckFactory,
    EmailFactory,
    MessageFactory,
    PropertyFactory,
    UserFactory,
)


def test_client_property_and_deck_are_taken_in_on_one_page(
    as_owner: Browser, lunenburg: Place
) -> None:
    answer = as_owner.post(reverse("clients:new"), whole())

    deck = Deck.objects.get()
    assert answer["Location"] == reverse("decks:detail", args=[deck.pk])
    assert (deck.label, deck.area_m2, deck.traffic, deck.rail_m) == (
        "Back deck",
        18,
        "household",
        0,
    )
    home = deck.site
    assert (home.latitude, home.longitude, home.time_zone) == (44.3785, -64.3153, "America/Halifax")
    assert home.region == "Nova Scotia"
    points = home.client.contact_points.order_by("id").values_list(
        "kind", "normalized", "is_preferred"
    )
    assert list(points) == [("mobile", "+19025550142", True), ("email", "marlow@example.org", True)]


def test_a_second_click_makes_no_second_client(as_owner: Browser, lunenburg: Place) -> None:
    first, second = (as_owner.post(reverse("clients:new"), whole()) for _ in range(2))

    assert first["Location"] == second["Location"]
    assert Client.objects.count() == Deck.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_two_clicks_at_the_same_moment_make_one_client() -> None:
    BusinessFactory()
    user = UserFactory(username="maren")
    spot = {"property-latitude": "44.4", "property-longitude": "-64.2"}
    gate = threading.Barrier(2)
    led_to: list[str] = []

    def click(browser: Browser) -> None:
        gate.wait()
        try:
            led_to.append(browser.post(reverse("clients:new"), whole(**spot))["Location"])
        finally:
            connection.close()

    browsers = [Browser(), Browser()]
    for browser in browsers:
        browser.force_login(user)
    clicks = [threading.Thread(target=click, args=[browser]) for browser in browsers]
    for thread in clicks:
        thread.start()
    for thread in clicks:
        thread.join()

    assert Client.objects.count() == 1
    assert len(led_to) == 2
    assert len(set(led_to)) == 1


@pytest.mark.parametrize(
    ("field", "value", "why"),
    [
        ("client-name", "  ", "fill this in"),
        ("client-name", "---", "name of the client"),
        ("reach-0-value", "902-555", "too few digits"),
        ("reach-1-value", "a@example.org, b@example.org", "more than one e-mail address"),
        ("reach-1-value", "Marlow <marlow@example.org>", "bare e-mail address"),
        ("reach-1-value", "marlow@example", "not an e-mail address"),
        ("property-street", "", "fill this in"),
        ("property-country", "ZZ", "not one of the available choices"),
        ("property-latitude", "95", "90"),
        ("property-latitude", "nan", "Write degrees"),
        ("deck-area_m2", "0", "more than 0"),
        ("deck-area_m2", "-3", "more than 0"),
        ("deck-area_m2", "1e12", "too large"),
        ("deck-area_m2", "60000", "more than 50,000"),
        ("deck-area_m2", "wide", "Enter a number"),
        ("deck-species", "", "fill this in"),
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


def test_numbers_are_read_as_in_the_country_of_the_deck(as_owner: Browser) -> None:
    # 021 234 5678 is a mobile number form in New Zealand (phonenumbers metadata).
    abroad = {
        "property-town": "Far Bay",
        "property-country": "NZ",
        "property-latitude": "-36.85",
        "property-longitude": "174.76",
        "reach-0-value": "021 234 5678",
    }

    as_owner.post(reverse("clients:new"), whole(**abroad))

    assert ContactPoint.objects.get(kind="mobile").normalized == "+64212345678"
    assert Property.objects.get().time_zone == "Pacific/Auckland"


CONSENT = {
    "channel": "email",
    "is_given": "yes",
    "basis": "express",
    "wording": "Yes, by e-mail.",
    "evidence": "Form 12",
}


def test_a_consent_keeps_its_words_and_who_recorded_it(as_owner: Browser, owner: User) -> None:
    client = ClientFactory()

    as_owner.post(reverse("clients:add_consent", args=[client.pk]), CONSENT)

    consent = client.consents.get()
    assert (consent.wording, consent.evidence, consent.recorded_by) == (
        "Yes, by e-mail.",
        "Form 12",
        owner,
    )
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
        ("channel", "", "fill this in"),
        ("is_given", "", "fill this in"),
        ("basis", "customer", "needs the day"),
        ("expires_on", "2001-01-01", "from today on"),
        ("expires_on", "2027-02-30", "calendar"),
    ],
)
def test_a_consent_nobody_could_prove_is_refused(
    as_owner: Browser, field: str, value: str, why: str
) -> None:
    client = ClientFactory()

    answer = as_owner.post(
        reverse("clients:add_consent", args=[client.pk]), CONSENT | {field: value}
    )

    assert why in page(answer)
    assert not client.consents.exists()


def test_a_withdrawal_cancels_what_waits_but_not_word_of_a_booked_visit(as_owner: Browser) -> None:
    client = ConsentFactory().client
    waiting = MessageFactory(client=client)
    other = MessageFactory(client=client, channel="letter")
    booked = MessageFactory(client=client, kind="service")

    as_owner.post(
        reverse("clients:add_consent", args=[client.pk]),
        {"channel": "email", "is_given": "no", "basis": "express"},
    )

    states = [type(row).objects.get(pk=row.pk).state for row in (waiting, other, booked)]
    assert states == ["cancelled", "queued", "queued"]
    assert "Withdrawn" in page(as_owner.get(reverse("clients:detail", args=[client.pk])))


def test_only_the_client_undoes_a_suppression(as_owner: Browser, business: Business) -> None:
    point = EmailFactory(value="Quiet@example.org")
    suppression.suppress_address(
        business=business, channel="email", address="quiet@example.org", reason="unsubscribed"
    )
    form_url = reverse("clients:add_consent", args=[point.client_id])
    detail = reverse("clients:detail", args=[point.client_id])

    as_owner.post(form_url, CONSENT)
    assert "Asked not to be written to" in page(as_owner.get(detail))

    as_owner.post(form_url, CONSENT | {"is_welcome_again": "on"})
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
        DeckFactory.create_batch(3, site=home)
        MessageFactory(client=client)
        ConsentFactory(client=client)
        EmailFactory(client=client, is_preferred=False)

    with django_assert_max_num_queries(36):
        as_owner.get(reverse("clients:detail", args=[client.pk]))


def test_the_crew_may_take_in_a_client_but_not_put_one_away(
    crew: User, as_user: Any, lunenburg: Place
) -> None:
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
