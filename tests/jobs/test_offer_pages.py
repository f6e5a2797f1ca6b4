"""Offers on their pages: found, changed with and without scripts, sent, revised, withdrawn,
answered."""

from datetime import UTC, datetime
from io import BytesIO
from typing import Any

import pytest
from django.test import Client as Browser
from freezegun import freeze_time
from pypdf import PdfReader
from pytest_django import Settings

from clients.messaging.models import Message
from clients.messaging.suppression import suppress_address
from clients.models import Business, Client
from jobs.actions import offer_sending, offers
from jobs.actions.offer_answers import ask_question
from jobs.models import Offer
from tests.confirm_page import posted_again
from tests.factories import ConsentFactory, EmailFactory, OfferFactory
from tests.jobs.offer_book import NOW, TODAY, deck, drafted, price_list, reachable

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _today(business: Business) -> Any:
    price_list()
    with freeze_time(NOW):
        yield


def filled(offer: Offer, **over: Any) -> dict[str, Any]:
    """The page of a draft as a browser sends it, one line only."""
    scope = offer.scopes.first()
    values = {
        "introduction": "Good morning.",
        "valid_until": "2026-12-20",
        "hours": "5",
        "seen": offer.events.order_by("-id")[0].pk,
        "lines-TOTAL_FORMS": 2,
        "lines-INITIAL_FORMS": 0,
        "lines-0-words": "Clean",
        "lines-0-kind": "work",
        "lines-0-scope": scope.pk if scope else "",
        "lines-0-quantity": "18",
        "lines-0-unit": "m²",
        "lines-0-unit_price": "3.20",
        "lines-1-words": "",
        "lines-1-kind": "work",
        "lines-1-scope": "",
        "lines-1-quantity": "1",
        "lines-1-unit": "",
        "lines-1-unit_price": "",
    }
    return values | over


def test_the_list_shows_states_apart_and_finds_by_number_name_and_town(as_owner: Browser) -> None:
    draft = drafted()
    sent = OfferFactory(number=801, is_sent=True)
    Client.objects.filter(pk=draft.client_id).update(name="Ottoline Fernpost")
    over = OfferFactory(
        number=802,
        is_sent=True,
        drafted_on="2026-08-01",
        valid_until="2026-09-01",
        site__town="Digby",
    )

    def shown(query: str) -> set[int]:
        page = as_owner.get(f"/offers/?{query}").content.decode()
        return {offer.pk for offer in Offer.objects.all() if f'href="/offers/{offer.pk}/?' in page}

    assert shown("") == {draft.pk, sent.pk, over.pk}
    assert shown("state=draft") == {draft.pk}
    assert shown("state=open") == {sent.pk}
    assert shown("state=expired") == {over.pk}
    assert shown(f"q={draft.number}") == {draft.pk}
    assert shown("q=digby") == {over.pk}
    assert shown(f"q={draft.number}-1") == {draft.pk}
    assert shown(f"q={draft.number}-2") == set()
    assert shown("q=ottoline+fernpost+lunenburg") == {draft.pk}
    assert shown("q=%00nobody&state=nonsense&page=zzz") == set()


def test_the_list_takes_the_same_number_of_queries_however_long_it_is(
    as_owner: Browser, django_assert_max_num_queries: Any
) -> None:
    for _ in range(12):
        OfferFactory(is_sent=True)

    with django_assert_max_num_queries(14):
        as_owner.get("/offers/")


def test_a_draft_is_changed_on_its_page(as_owner: Browser) -> None:
    offer = drafted()

    answer = as_owner.post(f"/offers/{offer.pk}/", filled(offer), follow=True)

    offer.refresh_from_db()
    assert "Saved and recalculated." in answer.content.decode()
    assert (offer.introduction, str(offer.net), str(offer.total)) == (
        "Good morning.",
        "57.60",
        "66.24",
    )


@pytest.mark.parametrize(
    ("over", "words"),
    [
        ({"valid_until": "2026-11-01"}, "This day is over."),
        ({"valid_until": "soon"}, "not a day of the calendar"),
        ({"lines-0-words": ""}, "Row 1, what"),
        ({"lines-0-quantity": "-2"}, "This cannot be negative."),
        ({"lines-0-unit_price": "twelve"}, "Enter a number such as 3.8"),
        ({"lines-0-scope": "999999"}, "not one of the available choices"),
        ({"lines-0-DELETE": "on"}, "at least one line"),
        ({"lines-0-unit_price": "NaN"}, "Enter a number such as 3.8"),
        ({"valid_until": "9999-12-31"}, "at most two years"),
        (
            {"lines-0-quantity": "9999999", "lines-0-unit_price": "9999"},
            "Check its quantity and price.",
        ),
        ({"seen": "0"}, "Somebody else changed this draft"),
    ],
)
def test_what_is_wrong_is_named_and_the_draft_stays(
    as_owner: Browser, over: dict[str, Any], words: str
) -> None:
    offer = drafted()
    before = offer.total

    page = as_owner.post(f"/offers/{offer.pk}/", filled(offer, **over)).content.decode()

    offer.refresh_from_db()
    assert words in page
    assert "Good morning." in page
    assert offer.total == before


def test_another_line_comes_without_scripts(as_owner: Browser) -> None:
    offer = drafted()

    page = as_owner.post(f"/offers/{offer.pk}/", filled(offer, add_row="lines")).content.decode()

    assert 'name="lines-2-words"' in page
    assert "Good morning." in page
    assert "Saved" not in page


def test_sending_revising_and_withdrawing_by_their_buttons(as_owner: Browser) -> None:
    offer = drafted()

    page = as_owner.get(f"/offers/{offer.pk}/").content.decode()
    asked = as_owner.post(f"/offers/{offer.pk}/send/", {"channel": "email"}).content.decode()
    assert not Message.objects.exists()
    sent = as_owner.post(
        f"/offers/{offer.pk}/send/", {"channel": "email", "confirm": "yes"}, follow=True
    ).content.decode()
    again = as_owner.post(
        f"/offers/{offer.pk}/send/", {"channel": "email"}, follow=True
    ).content.decode()
    revised = as_owner.post(f"/offers/{offer.pk}/revise/", follow=True)
    new = Offer.objects.get(revision=2)
    silent = as_owner.post(
        f"/offers/{new.pk}/withdraw/", {"why": " "}, follow=True
    ).content.decode()
    as_owner.post(f"/offers/{new.pk}/withdraw/", {"why": "Sold out."}, follow=True)

    assert 'value="email"' in page
    assert "Send 1 offer?" in asked
    assert "Sent to 1 (1 mailed)." in sent
    assert "Nothing was done." in again
    assert Message.objects.count() == 1
    assert revised.redirect_chain[-1][0] == f"/offers/{new.pk}/"
    assert "Say in a few words why" in silent
    new.refresh_from_db()
    assert (new.state, new.withdrawn_why) == ("withdrawn", "Sold out.")


def test_a_channel_that_is_not_allowed_is_refused_in_words(as_owner: Browser) -> None:
    offer = drafted()

    for channel in ("text", "call", "pigeon"):
        page = as_owner.post(
            f"/offers/{offer.pk}/send/", {"channel": channel}, follow=True
        ).content.decode()
        assert "Nothing was done." in page

    offer.refresh_from_db()
    assert offer.state == "draft"


def test_an_offer_by_letter_names_no_address_that_no_client_can_open(
    as_owner: Browser, settings: Settings
) -> None:
    settings.BLOCK_UNREADY = True
    settings.BASE_URL = "http://127.0.0.1:8000"
    offer = drafted()
    ConsentFactory(client=offer.client, channel="letter")

    as_owner.post(f"/offers/{offer.pk}/send/", {"channel": "letter", "confirm": "yes"})

    message = Message.objects.get(channel="letter")
    paper = PdfReader(BytesIO(message.attachments.get().content))
    enclosed = "".join(page.extract_text() for page in paper.pages)
    assert "127.0.0.1" not in message.text + enclosed
    assert "by telephone: (902) 555-" in message.text


def test_who_withdrew_by_one_way_gets_no_offer_by_letter_either_until_they_agree(
    as_owner: Browser,
) -> None:
    offer = drafted()
    ConsentFactory(client=offer.client, channel="text", is_given=False)

    page = as_owner.get(f"/offers/{offer.pk}/").content.decode()
    sent = as_owner.post(
        f"/offers/{offer.pk}/send/", {"channel": "letter"}, follow=True
    ).content.decode()

    why = "The client withdrew consent elsewhere, so they are left alone."
    assert why in page
    assert f"Nothing was done. It cannot go by letter: {why}" in sent
    assert not Message.objects.exists()

    ConsentFactory(client=offer.client, channel="letter")
    as_owner.post(f"/offers/{offer.pk}/send/", {"channel": "letter", "confirm": "yes"})
    assert Message.objects.get().basis == "express"


def test_a_consent_for_an_offer_counts_from_the_day_at_the_business(as_owner: Browser) -> None:
    """Asked late on May 24 in Lunenburg, six months ago: in UTC it was the 25th."""
    of = deck()
    EmailFactory(client=of.site.client)
    ConsentFactory(
        client=of.site.client,
        basis="inquiry",
        recorded_at=datetime(2026, 5, 25, 2, tzinfo=UTC),
    )
    offer = drafted(of)

    sent = as_owner.post(
        f"/offers/{offer.pk}/send/", {"channel": "email"}, follow=True
    ).content.decode()

    assert "The implied consent expired on Nov 24, 2026" in sent
    assert not Message.objects.exists()


def test_an_answer_is_not_mailed_to_an_address_that_asked_for_no_more(as_owner: Browser) -> None:
    offer = drafted()
    offer_sending.send_offer(offer=offer, channel="email", by=None, now=NOW)
    address = offer.client.contact_points.get().value
    suppress_address(
        business=Business.objects.get(), channel="email", address=address, reason="asked"
    )

    page = as_owner.post(
        f"/offers/{offer.pk}/answer/", {"answer": "Once it is dry."}, follow=True
    ).content.decode()

    assert "Answered. It stands on the offer’s page." in page.replace("&#x27;", "’")
    assert Message.objects.get().kind == "offer"


def test_chosen_drafts_go_together_and_each_one_that_cannot_says_why(as_owner: Browser) -> None:
    good = drafted(reachable(deck()))
    mute = drafted(deck())

    asked = as_owner.post("/offers/send/", {"offer": [good.pk, mute.pk, "x"], "channel": "email"})
    page = as_owner.post("/offers/send/", posted_again(asked), follow=True)

    good.refresh_from_db()
    mute.refresh_from_db()
    assert (good.state, mute.state) == ("open", "draft")
    assert "Sent to 1 (1 mailed)." in page.content.decode()
    why = f"Offer {mute.reference} is left out. It cannot go by e-mail"
    assert why in asked.content.decode()


def test_a_question_stands_on_the_page_and_is_answered_there(as_owner: Browser) -> None:
    offer = drafted()
    offer_sending.send_offer(offer=offer, channel="email", by=None, now=NOW)
    ask_question(
        token_hash=Offer.objects.get(pk=offer.pk).token_hash or "",
        words="Is it safe for the cat?",
        now=NOW,
    )

    too_long = "Let it dry. " * 200
    again = as_owner.post(f"/offers/{offer.pk}/answer/", {"answer": too_long}).content.decode()
    assert too_long.strip() in again
    assert "Please look at this before saving" in again

    before = as_owner.get(f"/offers/{offer.pk}/").content.decode()
    listed = as_owner.get("/offers/?state=asked").content.decode()
    as_owner.post(f"/offers/{offer.pk}/answer/", {"answer": "Once it is dry."})
    after = as_owner.get(f"/offers/{offer.pk}/").content.decode()

    assert "Is it safe for the cat?" in before
    assert f'href="/offers/{offer.pk}/?' in listed
    assert "No offer found" in as_owner.get("/offers/?state=asked").content.decode()
    assert "Once it is dry." in after


def test_an_offer_that_ran_out_says_so_and_may_be_revised(as_owner: Browser) -> None:
    offer = OfferFactory(is_sent=True, drafted_on="2026-08-01", valid_until="2026-09-01")

    page = as_owner.get(f"/offers/{offer.pk}/").content.decode()
    new = offers.revise_offer(offer=offer, today=TODAY, now=NOW, by=None)

    assert "It expired on" in page
    assert (new.valid_until - TODAY).days == 31


def test_the_paper_of_an_offer_opens_as_pdf(as_owner: Browser) -> None:
    answer = as_owner.get(f"/offers/{drafted().pk}/pdf/")

    assert answer["Content-Type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF-")
