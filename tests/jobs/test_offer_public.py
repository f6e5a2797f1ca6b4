"""The offer behind its link: what looking shows, and what a link that is tampered with, late or
taken back leads to."""

from datetime import date
from typing import Any

import pytest
from django.test import Client as Browser
from freezegun import freeze_time
from pytest_django import DjangoAssertNumQueries

from clients.models import Business
from jobs.models import Booking, Offer, OfferEvent
from jobs.offers import links
from tests.factories import CrewFactory, OfferLineFactory, OfferScopeFactory, PhotoFactory
from tests.jobs.sent_offers import NOW, WEEK, no, page_of, question, sent_offer, yes


@pytest.fixture(autouse=True)
def _clock() -> Any:
    with freeze_time(NOW, ignore=["psycopg", "concurrent"]):
        yield


@pytest.fixture
def crew_day(business: Business) -> None:
    CrewFactory(name="Tern crew", hours_a_day=8)


def test_the_link_holds_192_random_bits_and_only_its_hash_is_kept(business: Business) -> None:
    tokens = {links.new_token()[0] for _ in range(100)}
    offer, url = sent_offer()

    assert len(tokens) == 100
    assert {len(token) for token in tokens} == {32}  # 32 characters of 6 bits (RFC 4648, base64url)
    assert offer.token_hash
    assert offer.token_hash not in url
    assert links.offer_url("abc") == "https://decks.example.com/o/abc/"


def test_looking_changes_nothing_and_leaves_no_trace(client: Browser, business: Business) -> None:
    offer, url = sent_offer()
    before = Offer.objects.filter(pk=offer.pk).values().get()

    answers = [
        client.get(url),
        client.head(url),
        client.get(f"{url}?answer=accept&accept-week={WEEK}&accept-name=x"),
    ]

    for answer in answers:
        assert answer.status_code == 200
        # RFC 9111, 5.2.2.5 (no-store); Referrer Policy, W3C, 3.1; robots by header.
        assert "no-store" in answer["Cache-Control"]
        assert answer["Referrer-Policy"] == "no-referrer"
        assert "noindex" in answer["X-Robots-Tag"]
        assert not answer.cookies
    assert Offer.objects.filter(pk=offer.pk).values().get() == before
    assert not OfferEvent.objects.exists()


def test_the_page_says_what_the_paper_says(client: Browser, crew_day: None) -> None:
    offer, url = sent_offer()
    photo = PhotoFactory(deck=offer.scopes.get().deck, caption="Greyed along the rail")

    page = page_of(client, url)

    for part in (
        f"Offer {offer.number}",
        "Driftline Deck Care",
        "Clean and seal in two coats",
        "$27.67",
        "HST 15 %",
        "$572.77",
        "Jun 1, 2027",
        "May 17",
        "Greyed along the rail",
        "water soaks in",
        "keep people and pets off",
    ):
        assert part in page, part
    assert client.get(f"{url}photo/{photo.pk}/")["Content-Type"] == "image/jpeg"
    assert client.get(f"{url}photo/{PhotoFactory().pk}/").status_code == 404
    paper = client.get(f"{url}offer.pdf")
    assert paper.content.startswith(b"%PDF-1.7")
    assert paper["Referrer-Policy"] == "no-referrer"


@pytest.mark.parametrize(
    ("values", "words"),
    [
        (
            {"valid_until": date(2027, 5, 9), "drafted_on": date(2027, 4, 1)},
            "This offer was valid until May 9, 2027",
        ),
        ({"state": "withdrawn", "withdrawn_why": "The deck was sold."}, "The deck was sold."),
        ({"state": "replaced"}, "A newer revision has taken the place of this offer"),
    ],
)
def test_an_offer_that_is_gone_says_so_and_takes_no_answer(
    client: Browser, crew_day: None, values: dict[str, Any], words: str
) -> None:
    offer, url = sent_offer()
    Offer.objects.filter(pk=offer.pk).update(**values)

    answer = client.get(url)

    assert answer.status_code == 410  # RFC 9110, 15.5.11
    assert words in answer.content.decode()
    assert "$572.77" not in answer.content.decode()
    assert client.get(f"{url}offer.pdf").status_code == 404
    for sent in (yes(), no()):
        assert client.post(url, sent).status_code == 302
    assert Offer.objects.values_list("state", flat=True).get() == values.get("state", "open")
    assert not Booking.objects.exists()
    assert client.post(url, question("May we have a new one?")).status_code == 302
    assert OfferEvent.objects.get().kind == "asked"


def test_it_stands_through_its_last_day_where_the_business_is(
    client: Browser, crew_day: None
) -> None:
    _, url = sent_offer(valid_until=date(2027, 5, 10), drafted_on=date(2027, 4, 1))

    with freeze_time("2027-05-11 02:30:00", ignore=["psycopg"]):  # 23:30 of the tenth in Halifax
        assert client.get(url).status_code == 200
    with freeze_time("2027-05-11 03:30:00", ignore=["psycopg"]):
        assert client.get(url).status_code == 410


def another(letter: str) -> str:
    return "y" if letter == "x" else "x"


@pytest.mark.parametrize("end", ["another", "", "%00", "é", "-" * 300])
def test_a_link_that_was_tampered_with_leads_nowhere_and_says_what_to_do(
    client: Browser, business: Business, end: str
) -> None:
    offer, url = sent_offer()
    wrong = f"{url[:-2]}{end.replace('another', another(url[-2]))}/"

    for answer in (client.get(wrong), client.post(wrong, yes())):
        assert answer.status_code == 404
        assert "There is no offer behind this link" in answer.content.decode()
    assert client.get(f"{wrong}offer.pdf").status_code == 404
    offer.refresh_from_db()
    assert offer.state == "open"


def test_a_draft_has_no_page(client: Browser, business: Business) -> None:
    _, url = sent_offer(is_sent=False, state="draft")

    assert client.get(url).status_code == 404


def test_a_page_is_a_fixed_number_of_queries(
    client: Browser, crew_day: None, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    offer, url = sent_offer()
    for position in range(2, 6):
        scope = OfferScopeFactory(offer=offer, position=position)
        OfferLineFactory(offer=offer, scope=scope)
        PhotoFactory(deck=scope.deck)

    with django_assert_max_num_queries(21):
        client.get(url)


@pytest.mark.parametrize(
    ("today", "is_offered"), [("2027-05-14", True), ("2027-05-15", False), ("2027-05-17", False)]
)
def test_a_week_is_offered_three_days_before_it_begins_and_not_later(
    client: Browser, crew_day: None, today: str, is_offered: bool
) -> None:
    _, url = sent_offer()

    with freeze_time(f"{today} 12:00", ignore=["psycopg"]):
        page = page_of(client, url)

    assert ("2027-05-17" in page) is is_offered
    assert "2027-05-24" in page
