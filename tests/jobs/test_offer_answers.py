"""A client answers an offer: accepts for a week, declines, asks;
twice, with mistakes, and at the very same moment."""

import re
from datetime import date
from io import BytesIO
from typing import Any

import pytest
from django.test import Client as Browser
from freezegun import freeze_time
from icalendar import Calendar
from pypdf import PdfReader

from clients.events import work_decided
from clients.messaging.models import Attachment, Message, ToDo
from clients.models import Business, Property, User
from jobs.actions.offer_sending import send_offer
from jobs.actions.offers import OfferError
from jobs.models import Booking, CrewDay, Offer, OfferEvent
from tests.factories import (
    BusinessFactory,
    ConsentFactory,
    CrewFactory,
    EmailFactory,
)
from tests.jobs.at_once import at_once
from tests.jobs.sent_offers import NOW, WEEK, no, page_of, question, sent_offer, yes


@pytest.fixture(autouse=True)
def _clock() -> Any:
    with freeze_time(NOW, ignore=["psycopg", "concurrent"]):
        yield


@pytest.fixture
def crew_day(business: Business) -> None:
    CrewFactory(name="Tern crew", hours_a_day=8)


def test_from_the_message_to_the_diary(client: Browser, owner: User, crew_day: None) -> None:
    offer, _ = sent_offer(
        is_sent=False, state="draft", token_hash=None, drafted_on=date(2027, 5, 9)
    )
    EmailFactory(client=offer.client, value="marlow@example.org")
    ConsentFactory(client=offer.client)

    message = send_offer(offer=offer, channel="email", by=owner, now=NOW)
    url = re.findall(r"https://decks.example.com(/o/[^/]{32}/)", message.text)[0]
    client.post(url, yes())

    paper = Attachment.objects.get(message=message)
    assert client.get(f"{url}offer.pdf").content == bytes(paper.content)
    pages = PdfReader(BytesIO(bytes(paper.content))).pages
    assert url in "".join("".join(page.extract_text().split()) for page in pages)
    offer.refresh_from_db()
    assert (offer.state, offer.booking.state) == ("accepted", "booked")
    assert (
        Message.objects.exclude(pk=message.pk).get().kind == "service"
    )  # the day, with a file for the calendar


def test_accepting_books_the_week_once_and_the_page_then_shows_it(
    client: Browser, crew_day: None
) -> None:
    offer, url = sent_offer()
    told: list[Any] = []

    def hear(*, deck_ids: Any, is_wanted: bool, **_signal: object) -> None:
        told.append(([*deck_ids], is_wanted))

    work_decided.connect(hear)
    try:
        first = client.post(url, yes())
        again = client.post(url, yes())
    finally:
        work_decided.disconnect(hear)

    assert (first.status_code, first["Location"], again.status_code) == (302, f"{url}#state", 302)
    offer.refresh_from_db()
    booking = Booking.objects.get()
    assert (offer.state, offer.accepted_week, offer.answered_by) == (
        "accepted",
        date(2027, 5, 17),
        "Marlow Pennington",
    )
    assert date(2027, 5, 17) <= booking.first_on <= booking.last_on <= date(2027, 5, 23)
    assert (booking.offer, booking.hours) == (offer, offer.hours)
    assert told == [([offer.scopes.get().deck_id], True)]
    assert [event.kind for event in offer.events.all()] == ["accepted", "booked"]
    assert "accepted offer" in ToDo.objects.get(kind="answer").words
    page = page_of(client, url)
    assert "Marlow Pennington accepted it on May 10, 2027 for the week of May 17–23, 2027" in page
    assert "We’ll come on" in page
    assert 'value="accept"' not in page
    event = Calendar.from_ical(client.get(f"{url}visit.ics").content).walk("VEVENT")[0]
    assert (event["UID"], event.decoded("DTSTART")) == (str(booking.uid), booking.first_on)


def test_declining_keeps_the_reason_and_tells_who_reminds(
    client: Browser, business: Business
) -> None:
    offer, url = sent_offer()
    told: list[Any] = []

    def hear(*, deck_ids: Any, is_wanted: bool, words: str, **_signal: object) -> None:
        told.append(([*deck_ids], is_wanted, words))

    work_decided.connect(hear)
    try:
        client.post(url, no("later", "The roof comes first."))
        client.post(url, no("price"))
    finally:
        work_decided.disconnect(hear)

    offer.refresh_from_db()
    assert (offer.state, offer.decline_reason, offer.decline_words) == (
        "declined",
        "later",
        "The roof comes first.",
    )
    assert told == [
        ([offer.scopes.get().deck_id], False, f"Offer {offer.number} declined: Not this year.")
    ]
    assert "The roof comes first." in ToDo.objects.get().words
    page = page_of(client, url)
    assert "You have declined this offer" in page
    assert client.post(url, yes()).status_code == 302
    offer.refresh_from_db()
    assert offer.state == "declined"


def test_a_question_is_kept_once_put_before_a_person_and_answered_on_the_page(
    client: Browser, business: Business
) -> None:
    offer, url = sent_offer()

    for _ in range(2):
        assert client.post(url, question("Do you move the <planters>?")).status_code == 302

    asked = OfferEvent.objects.get(kind="asked")
    assert ToDo.objects.get(kind="question").url == f"/offers/{offer.pk}/"
    assert "Do you move the &lt;planters&gt;?" in page_of(client, url)
    assert "Your question is with us" in page_of(client, url)
    OfferEvent.objects.create(
        offer=offer, kind="answered", note="Yes, and we put them back.", at=NOW
    )
    assert "Yes, and we put them back." in page_of(client, url)
    assert "Your question is with us" not in page_of(client, url)
    client.post(url, question(asked.note))
    assert OfferEvent.objects.filter(kind="asked").count() == 2


def test_a_link_that_got_about_cannot_fill_the_book(client: Browser, business: Business) -> None:
    _, url = sent_offer()

    answers = [client.post(url, question(f"Question {n}")).status_code for n in range(12)]

    assert answers == [302] * 10 + [409] * 2
    assert OfferEvent.objects.count() == 10
    assert client.post(url, question("x" * 100_000)).status_code == 413


@pytest.mark.parametrize(
    ("sent", "words"),
    [
        ({"answer": "accept", "accept-name": "M"}, "Choose a week."),
        (yes(week="2027-01-04"), "This week has no room any more."),
        (yes(week="next week"), "This week has no room any more."),
        (yes(name=" "), "Write your name"),
        (yes(name="M\x00"), "Null characters are not allowed."),
        (no(reason="weather"), "Select a valid choice"),
        (question(""), "Write your question first."),
    ],
)
def test_an_answer_that_lacks_something_is_said_beside_its_field(
    client: Browser, crew_day: None, sent: dict[str, str], words: str
) -> None:
    offer, url = sent_offer()

    answer = client.post(url, sent)

    assert answer.status_code == 422  # RFC 9110, 15.5.21
    assert words in answer.content.decode()
    assert "Nothing was sent yet" in answer.content.decode()
    offer.refresh_from_db()
    assert offer.state == "open"


def test_a_button_of_nobody_changes_nothing(client: Browser, business: Business) -> None:
    _, url = sent_offer()

    assert client.post(url, {"answer": "pay"}).status_code == 302
    assert client.put(url).status_code == 405
    assert not OfferEvent.objects.exists()


def test_where_no_crew_is_in_the_book_a_person_finds_the_day(
    client: Browser, business: Business
) -> None:
    offer, url = sent_offer()
    assert "We’ll pick a day that week" in page_of(client, url)
    assert client.get(f"{url}visit.ics").status_code == 404

    client.post(url, yes())

    offer.refresh_from_db()
    assert offer.state == "accepted"
    assert not Booking.objects.exists()
    assert "It needs a day." in ToDo.objects.get(kind="book").words


@pytest.mark.django_db(transaction=True)
def test_two_clients_after_the_last_hours_of_a_week_at_the_same_moment(
    transactional_db: None,
) -> None:
    BusinessFactory()
    CrewFactory(
        hours_a_day=8, works_on=[3]
    )  # one working day a week: the offers need 6.5 hours of its 8
    offers = [sent_offer() for _ in range(2)]

    answers = at_once(*[lambda url=url: Browser().post(url, yes()) for _, url in offers])

    assert sorted(answer.status_code for answer in answers) == [302, 409]
    loser = next(index for index, answer in enumerate(answers) if answer.status_code == 409)
    told = answers[loser].content.decode()
    assert "has no room for this work any more. Choose another." in told
    assert 'value="Marlow Pennington"' in told
    assert WEEK not in told
    assert "2027-05-24" in told
    assert {offer.state for offer in Offer.objects.all()} == {"open", "accepted"}
    assert Booking.objects.count() == 1
    assert [day.hours_booked for day in CrewDay.objects.all()] == [offers[0][0].hours]
    assert Browser().post(offers[loser][1], yes("2027-05-24")).status_code == 302
    assert Booking.objects.count() == 2


@pytest.mark.django_db(transaction=True)
def test_one_client_on_two_devices_at_the_same_moment(transactional_db: None) -> None:
    BusinessFactory()
    CrewFactory(hours_a_day=8)
    offer, url = sent_offer()

    answers = at_once(
        *[lambda week=week: Browser().post(url, yes(week)) for week in [WEEK, WEEK, "2027-05-24"]]
    )
    saying_no = Browser().post(url, no())

    assert [answer.status_code for answer in [*answers, saying_no]] in (
        [302] * 4,
        [302, 302, 409, 302],
    )
    assert Booking.objects.count() == 1
    assert OfferEvent.objects.filter(kind="accepted").count() == 1
    offer.refresh_from_db()
    assert offer.state == "accepted"
    assert offer.accepted_week
    assert 0 <= (Booking.objects.get().first_on - offer.accepted_week).days < 7


def offer_abroad(country: str = "DE") -> tuple[Offer, str]:
    offer, url = sent_offer()
    Property.objects.filter(pk=offer.site_id).update(country=country)
    return offer, url


@pytest.mark.parametrize("country", ["DE", "FR", "GB"])
def test_a_consumer_of_the_union_reads_what_ordering_means(
    client: Browser, country: str, crew_day: None
) -> None:
    """Directive 2011/83/EU Art. 8(2), 6(1)(h) and Annex I; SI 2013/3134 reg. 13, 14, 29."""
    offer, url = offer_abroad(country)
    page = page_of(client, url)
    assert "Order with obligation to pay" in page
    assert "Accept, for the week chosen" not in page
    assert "within 14 days of accepting" in page
    assert "Model withdrawal form" in page
    Offer.objects.filter(pk=offer.pk).update(language="fr-CA")
    assert "Commander avec obligation de paiement" in page_of(client, url)


def test_in_the_provinces_a_client_may_cancel_even_what_is_done(
    client: Browser, as_owner: Browser, crew_day: None
) -> None:
    """R.S.N.S. 1989, c. 129 (secondary): ten days, which no work ends; 15 to pay back."""
    offer, url = sent_offer()  # Nova Scotia
    page = page_of(client, url)
    assert "Your right to cancel" in page
    assert "until 10 days after you have your copy" in page
    assert "Accept, for the week chosen" in page
    client.post(url, yes())
    Booking.objects.filter(offer=offer).update(state=Booking.State.DONE)
    assert "may take it back until May 20, 2027" in page_of(as_owner, f"/offers/{offer.pk}/")

    with freeze_time("2027-05-20 12:00", ignore=["psycopg"]):
        assert client.post(url, rescind()).status_code == 302
    offer.refresh_from_db()
    assert offer.state == Offer.State.DECLINED
    page = page_of(client, url)
    assert "You have cancelled the contract" in page
    assert "paid back within 15 days" in page


def test_after_ten_days_nobody_cancels(client: Browser, crew_day: None) -> None:
    offer, url = sent_offer()
    client.post(url, yes())
    with freeze_time("2027-05-21 12:00", ignore=["psycopg"]):
        assert "Cancel the contract here" not in page_of(client, url)
        client.post(url, rescind())
    offer.refresh_from_db()
    assert offer.state == Offer.State.ACCEPTED


def test_an_offer_for_quebec_goes_in_french_only(crew_day: None, owner: User) -> None:
    """Charter of the French language, CQLR c. C-11, s. 55 (secondary)."""
    draft = {"is_sent": False, "state": "draft", "token_hash": None}
    offer, _ = sent_offer(**draft, drafted_on=date(2027, 5, 9))
    Property.objects.filter(pk=offer.site_id).update(region="Québec")
    EmailFactory(client=offer.client, value="marlow@example.org")
    ConsentFactory(client=offer.client)
    offer.refresh_from_db()
    with pytest.raises(OfferError, match="first given in French"):
        send_offer(offer=offer, channel="email", by=owner, now=NOW)
    offer.refresh_from_db()
    assert offer.state == Offer.State.DRAFT

    Offer.objects.filter(pk=offer.pk).update(language="fr-CA")
    offer.refresh_from_db()
    assert send_offer(offer=offer, channel="email", by=owner, now=NOW).language == "fr"


def test_nobody_elsewhere_sees_any_of_it(client: Browser, crew_day: None) -> None:
    _offer, url = offer_abroad("US")
    page = page_of(client, url)
    assert "Accept, for the week chosen" in page
    assert "obligation to pay" not in page
    assert "withdraw" not in page.lower()
    assert client.post(url, yes()).status_code == 302
    assert "withdraw" not in page_of(client, url).lower()


def test_work_within_14_days_needs_an_express_request(client: Browser, crew_day: None) -> None:
    """Directive 2011/83/EU Art. 8(8), 9(2)(a): the 14 days begin on the day after the contract."""
    offer, url = offer_abroad()  # on 10 May: the 24th is the last day
    refused = client.post(url, yes("2027-05-24"))
    assert refused.status_code == 422
    assert "Tick this, or choose a later week" in refused.content.decode()
    assert Offer.objects.get().state == Offer.State.OPEN
    assert client.post(url, yes("2027-05-31")).status_code == 302

    other, its_url = offer_abroad()
    asked = client.post(its_url, yes("2027-05-24") | {"accept-asks_early": "on"})
    assert asked.status_code == 302
    words = OfferEvent.objects.get(offer=other, kind="accepted").note
    assert "Asked to begin before the time to withdraw is over" in words
    assert "Asked" not in OfferEvent.objects.get(offer=offer, kind="accepted").note


def rescind() -> dict[str, str]:
    return {"answer": "rescind", "rescind-name": "Marlow Pennington"}


def test_the_page_takes_a_withdrawal_in_time_and_cancels_the_visit(
    client: Browser, crew_day: None
) -> None:
    """Directive 2011/83/EU Art. 11a (memory): on the page, in two presses."""
    offer, url = offer_abroad()
    client.post(url, yes("2027-05-31"))
    assert "Withdraw from the contract here" in page_of(client, url)
    for _twice in range(2):
        assert client.post(url, rescind()).status_code == 302

    offer.refresh_from_db()
    assert offer.state == Offer.State.DECLINED
    assert Booking.objects.get(offer=offer).state == Booking.State.CANCELLED
    assert OfferEvent.objects.filter(offer=offer, kind="rescinded").count() == 1
    told = ToDo.objects.filter(done_at=None).values_list("key", "words")
    assert "Confirm it to them in writing" in dict(told)[f"offer/{offer.pk}/rescinded"]
    assert not ToDo.objects.filter(done_at=None, kind=ToDo.Kind.BOOK).exists()
    page = page_of(client, url)
    assert "You have withdrawn from the contract" in page
    assert "Confirm withdrawal" not in page


def test_a_withdrawal_after_the_14_days_is_refused(client: Browser, crew_day: None) -> None:
    offer, url = offer_abroad()
    client.post(url, yes("2027-05-31"))
    with freeze_time("2027-05-24 12:00", ignore=["psycopg"]):
        assert "Confirm withdrawal" in page_of(client, url)
    with freeze_time("2027-05-25 12:00", ignore=["psycopg"]):
        assert "Confirm withdrawal" not in page_of(client, url)
        client.post(url, rescind())
    offer.refresh_from_db()
    assert offer.state == Offer.State.ACCEPTED
