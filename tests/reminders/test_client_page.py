"""What a client presses on their page does what it says, once, and can be taken back."""

from datetime import date
from typing import Any

import pytest
from django.test import Client as Browser
from freezegun import freeze_time

from clients.messaging import suppression
from clients.messaging.models import Consent, Message, Suppression, ToDo
from clients.models import Business, Client, ContactPoint, Deck
from jobs.models import Booking, Offer
from reminders.client_page import answers
from reminders.models import ClientAnswer, ClientLink, Stop
from tests.factories import (
    BusinessFactory,
    CoatFactory,
    CrewFactory,
    DeckFactory,
    OfferFactory,
    OfferScopeFactory,
    ReminderStepFactory,
)
from tests.jobs.at_once import at_once
from tests.jobs.offer_book import price_list
from tests.reminders.client_pages import (
    NOW,
    WEEK,
    due_deck,
    page_url,
    press,
    remind_of,
    text_of,
)


@pytest.fixture(autouse=True)
def _clock() -> Any:
    with freeze_time(NOW, ignore=["psycopg", "concurrent"]):
        yield


@pytest.fixture
def deck(business: Business) -> Deck:
    """Due, with prices and a crew that has room."""
    price_list()
    CrewFactory(name="Tern crew", hours_a_day=8)
    return due_deck()


@pytest.fixture
def url(deck: Deck) -> str:
    return page_url(remind_of(deck))


def test_a_week_drafts_an_offer_and_puts_it_before_a_person_once(
    client: Browser, deck: Deck, url: str
) -> None:
    assert f'value="{WEEK}"' in text_of(client.get(url))
    sent = {"offer-week": WEEK, "offer-words": "The gate sticks."}

    assert press(client, url, "week", **sent).status_code == 302
    assert press(client, url, "week", **sent).status_code == 302  # pressed twice

    offer = Offer.objects.get()
    assert offer.state == "draft"
    assert [scope.deck for scope in offer.scopes.all()] == [deck]
    assert "The gate sticks." in offer.events.get(kind="changed").note
    to_do = ToDo.objects.get()
    assert to_do.words == (
        "Ottilie Saltonby would like the week of May 17–23, 2027. Offer"
        f" {offer.number} is drafted: look at it and send it. The gate sticks."
    )
    assert to_do.url == f"/offers/{offer.pk}/"
    page = text_of(client.get(url))
    assert "You asked for the week of May 17–23, 2027" in page
    assert "Ask for this week" not in page
    assert not Booking.objects.exists()


def test_what_was_asked_for_can_be_taken_back_until_a_person_goes_on_with_it(
    client: Browser, url: str
) -> None:
    press(client, url, "price")
    assert ToDo.objects.open().get().words.startswith("Ottilie Saltonby asks for a price.")
    press(client, url, "undo-offer")
    press(client, url, "undo-offer")

    assert Offer.objects.get().state == "withdrawn"
    assert not ToDo.objects.open().exists()
    assert "Ask for the price only" in text_of(client.get(url))

    press(client, url, "price")
    Offer.objects.filter(state="draft").update(
        state="open", sent_at=NOW, valid_until=date(2027, 6, 1)
    )
    answer = press(client, url, "undo-offer")
    assert answer.status_code == 409
    assert "We have answered this already" in text_of(answer)
    assert Offer.objects.filter(state="open").count() == 1


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({}, "Choose a week."),
        ({"offer-week": "2027-05-10"}, "This week has no room any more."),
        ({"offer-week": "soon"}, "This week has no room any more."),
        ({"offer-week": WEEK, "offer-words": "a\x00b"}, "Null characters are not allowed."),
    ],
)
def test_a_week_that_cannot_be_asked_for_is_said_beside_the_form(
    client: Browser, url: str, values: dict[str, str], words: str
) -> None:
    answer = press(client, url, "week", **values)

    assert answer.status_code == 422
    assert words in text_of(answer)
    assert not ClientAnswer.objects.exists()


def test_without_prices_the_person_hears_why_nothing_is_drafted(
    client: Browser, business: Business
) -> None:
    url = page_url(remind_of(due_deck()))

    press(client, url, "price")

    assert not Offer.objects.exists()
    assert "Nothing is drafted: " in ToDo.objects.get().words
    assert "You asked for a price" in text_of(client.get(url))


def test_who_has_an_open_offer_or_a_booking_is_told_so_and_asked_for_nothing(
    client: Browser, deck: Deck, url: str
) -> None:
    offer = OfferFactory(site=deck.site, is_sent=True, number=104, valid_until=date(2027, 6, 1))
    OfferScopeFactory(offer=offer, deck=deck)
    page = text_of(client.get(url))
    assert "Our offer 104 is valid until Jun 1, 2027" in page
    assert "Ask for this week" not in page
    assert press(client, url, "week", **{"offer-week": WEEK}).status_code == 302
    assert not ClientAnswer.objects.exists()

    booking = Booking.objects.create(
        site=deck.site,
        client=deck.site.client,
        crew=CrewFactory(),
        first_on=date(2027, 5, 20),
        last_on=date(2027, 5, 20),
        hours=6,
    )
    booking.decks.add(deck)
    assert "We’ll come on <time" in text_of(client.get(url))


def test_not_this_year_stops_reminders_until_the_season_is_over_and_back(
    client: Browser, deck: Deck, url: str
) -> None:
    press(client, url, "not_now")
    press(client, url, "not_now")

    stop = Stop.objects.get()
    assert (stop.deck, stop.why, stop.until) == (deck, "asked", date(2027, 10, 31))
    assert Message.objects.get().state == "cancelled"  # it had not left
    assert ToDo.objects.get().words == (
        "Ottilie Saltonby: not this year. No reminders until Oct 31, 2027."
    )
    assert "No more reminders until Oct 31, 2027" in text_of(client.get(url))

    press(client, url, "undo-not_now")
    assert not Stop.objects.exists()
    assert not ToDo.objects.open().exists()


def test_a_stop_that_somebody_else_made_outlives_the_clients_undo(
    client: Browser, deck: Deck, url: str
) -> None:
    Stop.objects.create(deck=deck, job=deck.jobs.get(), why="by_hand")

    press(client, url, "not_now")
    press(client, url, "undo-not_now")

    assert Stop.objects.get().why == "by_hand"


def test_a_sold_house_stops_every_deck_of_the_property(
    client: Browser, deck: Deck, url: str
) -> None:
    other = due_deck(site=deck.site, label="Landing")
    elsewhere = DeckFactory()
    remind_of(other)

    press(client, url, "sold")
    press(client, url, "sold")

    assert {(stop.deck_id, stop.why, stop.until) for stop in Stop.objects.all()} == {
        (deck.pk, "sold", None),
        (other.pk, "sold", None),
    }
    assert elsewhere.stops.count() == 0
    assert ToDo.objects.get().words.startswith("Ottilie Saltonby has sold 7 Plover Row.")
    press(client, url, "undo-sold")
    assert not Stop.objects.exists()


def test_the_newest_decision_takes_the_others_back(client: Browser, url: str) -> None:
    press(client, url, "not_now")
    press(client, url, "price")
    assert not Stop.objects.exists()
    press(client, url, "sold")

    assert Offer.objects.get().state == "withdrawn"
    assert ToDo.objects.open().count() == 1
    assert list(ClientAnswer.objects.live().values_list("kind", flat=True)) == ["sold"]


def test_details_are_proposed_and_a_person_accepts_them_beside_the_former_ones(
    client: Browser, as_owner: Browser, url: str
) -> None:
    sent = {
        "details-name": "Ottilie Harbourne",
        "details-email": "harbourne@example.org",
        "details-street": "3 Gull Lane",
        "details-town": "Chester",
    }
    press(client, url, "details", **sent)
    press(client, url, "details", **sent)
    owner = Client.objects.get()
    assert owner.name == "Ottilie Saltonby"  # so far only proposed
    to_do = ToDo.objects.get()

    page = text_of(as_owner.get(to_do.url))
    assert "ottilie@example.org" in page
    assert "harbourne@example.org" in page
    as_owner.post(to_do.url, {"decision": "accept"})
    as_owner.post(to_do.url, {"decision": "leave"})  # too late

    owner.refresh_from_db()
    assert (owner.name, owner.postal_street, owner.postal_town) == (
        "Ottilie Harbourne",
        "3 Gull Lane",
        "Chester",
    )
    emails = ContactPoint.objects.filter(kind="email").values_list("value", "is_preferred")
    assert dict(emails) == {"harbourne@example.org": True, "ottilie@example.org": False}
    assert ClientAnswer.objects.get().is_taken_over
    assert not ToDo.objects.open().exists()


def test_details_that_are_left_change_nothing(client: Browser, as_owner: Browser, url: str) -> None:
    press(client, url, "details", **{"details-mobile": "902-555-0177"})

    as_owner.post(ToDo.objects.get().url, {"decision": "leave"})

    assert not ContactPoint.objects.filter(value="902-555-0177").exists()
    assert not ToDo.objects.open().exists()


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({}, "Write what has changed."),
        ({"details-email": "two@example.org, more"}, "This is not one e-mail address."),
        ({"details-mobile": "call me"}, "This is not a telephone number."),
        ({"details-town": "Chester"}, "Write the street too"),
        ({"details-name": "x" * 201}, "at most 200 characters"),
    ],
)
def test_details_that_cannot_be_right_are_said_beside_the_field(
    client: Browser, url: str, values: dict[str, str], words: str
) -> None:
    answer = press(client, url, "details", **values)

    assert answer.status_code == 422
    assert words in text_of(answer)
    for value in values.values():
        assert value in answer.content.decode()  # nothing typed is lost
    assert not ClientAnswer.objects.exists()


def test_a_way_that_is_unticked_is_closed_at_once_and_ticked_it_is_open_again(
    client: Browser, business: Business, url: str
) -> None:
    assert "o…@example.org" in text_of(client.get(url))

    press(client, url, "contact")  # nothing ticked
    press(client, url, "contact")

    newest = Consent.objects.filter(channel="email").first()
    assert not newest.is_given
    assert suppression.suppressed_addresses(
        business=business, channel="email", addresses=["ottilie@example.org"]
    )
    assert Message.objects.get().state == "cancelled"
    assert ToDo.objects.get().words == (
        "Ottilie Saltonby chose how we may write: By e-mail no, By letter no. It counts already."
    )

    press(client, url, "contact", **{"contact-allowed": ["email", "text"]})
    assert set(Suppression.objects.values_list("channel", flat=True)) == {"letter"}
    given = Consent.objects.filter(is_given=True, evidence__startswith="The client’s page")
    assert set(given.values_list("channel", flat=True)) == {"email", "text"}
    assert "to … 0142" in given.get(channel="text").wording  # the words that were read
    assert "I agreed on" not in given.get(channel="text").wording
    # their copy: the words stay on their page, with the day
    assert text_of(client.get(url)).count("I agreed on") == 2


def test_one_press_stops_everything(client: Browser, url: str) -> None:
    press(client, url, "contact", **{"contact-allowed": ["email", "text", "letter", "call"]})

    press(client, url, "stop")

    for channel in ("email", "text", "letter", "call"):
        assert not Consent.objects.filter(channel=channel).first().is_given


def test_a_link_that_got_about_cannot_fill_the_book(
    client: Browser, url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(answers, "MAX_ANSWERS", 4)
    for n in range(6):
        answer = press(client, url, "details", **{"details-words": f"word {n}"})

    assert answer.status_code == 409
    assert "Please phone us instead" in text_of(answer)
    assert ClientAnswer.objects.count() == 4


def test_no_button_of_ours_changes_nothing(client: Browser, url: str) -> None:
    for action in ("", "undo-details", "undo-sold", "drop", "undo-offer"):
        assert press(client, url, action).status_code == 302
    assert not ClientAnswer.objects.exists()


def test_only_the_office_looks_at_details(
    client: Browser, as_user: Any, crew: Any, url: str
) -> None:
    press(client, url, "details", **{"details-name": "Ottilie Harbourne"})
    address = ToDo.objects.get().url

    assert as_user(crew).get(address).status_code == 403
    assert as_user(crew).post(address, {"decision": "accept"}).status_code == 403
    assert Client.objects.get().name == "Ottilie Saltonby"


def test_the_page_of_many_decks_is_a_fixed_number_of_queries(
    client: Browser, deck: Deck, django_assert_max_num_queries: Any
) -> None:
    decks = [deck, *(due_deck(site=deck.site, label=f"Deck {n}") for n in range(4))]
    url = page_url(remind_of(*decks))

    with django_assert_max_num_queries(45):
        client.get(url)


@pytest.mark.django_db(transaction=True)
def test_two_presses_at_the_same_moment_count_once() -> None:
    BusinessFactory()
    price_list()
    ReminderStepFactory(number=1, channels=["email"])
    url = page_url(remind_of(due_deck()))

    answers = at_once(*[lambda: press(Browser(), url, "price") for _ in range(4)])

    assert [answer.status_code for answer in answers] == [302] * 4
    assert Offer.objects.count() == ClientAnswer.objects.count() == ToDo.objects.count() == 1
    assert ClientLink.objects.count() == 1


def test_what_nobody_knows_of_a_job_is_said_in_words(client: Browser, deck: Deck) -> None:
    CoatFactory(
        job__deck=deck,
        job__kind="recoat",
        job__finished_from=date(2019, 1, 1),
        job__finished_on=date(2019, 12, 31),
        product=None,
        batch=None,
        colour="",
    )

    page = text_of(client.get(page_url(remind_of(deck))))

    assert "<strong>Clean and recoat</strong>, 2019</p> <p>Product not known</p>" in page
    assert "Care record of 2019 (PDF)" in page


def test_an_answer_stands_in_the_inbox_of_today_and_leads_to_what_it_is_about(
    client: Browser, as_owner: Browser, url: str
) -> None:
    press(client, url, "price")

    page = text_of(as_owner.get("/"))

    to_do = ToDo.objects.get()
    assert to_do.key == f"client-page/{ClientAnswer.objects.get().pk}"
    assert f'<a href="/offers/{Offer.objects.get().pk}/">{to_do.words}</a>' in page
