"""One entry that was two is taken apart: what is ticked goes over, the rest stays, and merging the
two takes it back."""

from datetime import UTC, date, datetime

import pytest
from django.test import Client as Browser
from django.utils import timezone

from clients.actions import merging
from clients.messaging.models import Consent
from clients.models import Client, Deck, User
from jobs.models import Job, Photo, Visit
from reminders.models import Forecast, Reminder
from tests.factories import (
    ClientFactory,
    CoatFactory,
    ConsentFactory,
    DeckFactory,
    EmailFactory,
    JobFactory,
    MessageFactory,
    OfferFactory,
    PhoneFactory,
    PhotoFactory,
    PropertyFactory,
    VisitFactory,
)

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)


@pytest.fixture
def two_in_one(business: object) -> Client:
    """Marlow with a cottage, and somebody else with an e-mail address and a house."""
    client = ClientFactory(name="Marlow Pennington")
    PhoneFactory(client=client, value="902-555-0151")
    EmailFactory(client=client, value="otto@example.org")
    ConsentFactory(client=client, channel="email", is_given=False)
    ConsentFactory(client=client, channel="text")
    for street in ("1 Cottage Lane", "2 House Road"):
        deck = DeckFactory(site=PropertyFactory(client=client, street=street))
        OfferFactory(client=client, site=deck.site)
    return client


def test_what_is_ticked_goes_to_the_other_client_with_offers_and_decks(
    as_owner: Browser, two_in_one: Client
) -> None:
    house = two_in_one.properties.get(street="2 House Road")
    mail = two_in_one.contact_points.get(kind="email")
    url = f"/jobs/split-client/{two_in_one.pk}/"
    ticked = {"site": [house.pk], "point": [mail.pk]}

    missing = as_owner.post(url, {**ticked, "name": " "}).content.decode()
    as_owner.post(url, {**ticked, "name": "Otto Saltonby"})

    other = Client.objects.get(name="Otto Saltonby")
    assert "Write the name of the other client." in missing
    assert f'value="{house.pk}" checked' in missing
    assert [site.street for site in other.properties.all()] == ["2 House Road"]
    assert [point.value for point in other.contact_points.all()] == ["otto@example.org"]
    assert other.contact_points.get().is_preferred
    assert [offer.site for offer in other.offers.all()] == [house]
    assert two_in_one.offers.get().site.street == "1 Cottage Lane"


def test_a_withdrawal_stands_for_both_and_no_consent_goes_over(
    as_owner: Browser, two_in_one: Client
) -> None:
    house = two_in_one.properties.get(street="2 House Road")
    as_owner.post(
        f"/jobs/split-client/{two_in_one.pk}/", {"name": "Otto Saltonby", "site": [house.pk]}
    )

    other = Client.objects.get(name="Otto Saltonby")
    assert [(line.channel, line.is_given) for line in other.consents.all()] == [("email", False)]
    assert Consent.objects.filter(client=two_in_one).count() == 2


def test_nothing_ticked_splits_nothing(as_owner: Browser, two_in_one: Client) -> None:
    page = as_owner.post(f"/jobs/split-client/{two_in_one.pk}/", {"name": "Otto", "site": ["7e9"]})

    assert "Choose at least one property" in page.content.decode()
    assert Client.objects.count() == 1


def test_merging_the_two_takes_a_split_back(
    as_owner: Browser, two_in_one: Client, owner: User
) -> None:
    house = two_in_one.properties.get(street="2 House Road")
    as_owner.post(f"/jobs/split-client/{two_in_one.pk}/", {"name": "Otto", "site": [house.pk]})
    other = Client.objects.get(name="Otto")

    merging.merge_clients(
        kept=two_in_one,
        away=other,
        choice=merging.ClientChoice(two_in_one.name),
        by=owner,
        now=timezone.now(),
    )

    assert two_in_one.properties.count() == two_in_one.offers.count() == 2


def test_a_deck_that_was_two_keeps_what_is_not_ticked_and_both_are_forecast(
    as_owner: Browser, business: object
) -> None:
    deck = DeckFactory(label="Deck", species="red_cedar")
    front = CoatFactory(job__deck=deck, job__finished_on=date(2024, 5, 1)).job
    back = CoatFactory(job__deck=deck, job__finished_on=date(2025, 6, 1)).job
    back.visit = VisitFactory(deck=deck, visited_on=date(2025, 6, 1))
    back.save()
    photo = PhotoFactory(deck=deck, job=back)
    check = VisitFactory(deck=deck, visited_on=date(2026, 5, 1))
    reminder = Reminder.objects.create(
        deck=deck, job=back, channel="email", message=MessageFactory(client=deck.site.client)
    )

    as_owner.post(f"/jobs/split-deck/{deck.pk}/", {"name": "Back deck", "job": [back.pk]})

    other = Deck.objects.get(label="Back deck")
    assert (other.site, other.species, other.area_m2) == (deck.site, "red_cedar", None)
    assert set(Job.objects.values_list("deck", "pk")) == {(deck.pk, front.pk), (other.pk, back.pk)}
    assert Visit.objects.get(deck=other) == back.visit
    assert Visit.objects.get(deck=deck) == check
    assert Photo.objects.get() == photo
    assert Photo.objects.get().deck == other
    reminder.refresh_from_db()
    assert reminder.deck == other
    assert {row.deck_id: row.job_id for row in Forecast.objects.all()} == {
        deck.pk: front.pk,
        other.pk: back.pk,
    }


def test_a_job_of_another_deck_cannot_be_taken_along(as_owner: Browser, business: object) -> None:
    deck, stranger = DeckFactory(), JobFactory()
    photo = PhotoFactory(deck=stranger.deck)

    for ticked in ({"job": [stranger.pk]}, {"photo": [photo.pk]}):
        as_owner.post(f"/jobs/split-deck/{deck.pk}/", {"name": "Back", **ticked})

    assert Deck.objects.count() == 2
    stranger.refresh_from_db()
    assert stranger.deck != deck
