"""The link in a reminder: in which form it goes out, what it opens, when it ends, and that nobody
can try codes through."""

import re
from datetime import date, timedelta
from typing import Any

import pytest
from django.test import Client as Browser
from freezegun import freeze_time
from pytest_django import Settings

from clients.messaging.models import Message, MessageText, ToDo
from clients.models import Business, Client
from clients.signing_in import PAGE_CODES
from jobs.models import Job
from reminders.client_links import CODE_ALPHABET, client_page_address, normalize_code
from reminders.client_page import season_end
from reminders.models import ClientAnswer, ClientLink
from tests.factories import CoatFactory, PhotoFactory
from tests.jobs.offer_book import price_list
from tests.reminders.client_pages import NOW, due_deck, page_url, press, remind_of, text_of


@pytest.fixture(autouse=True)
def _clock(business: Business) -> Any:
    with freeze_time(NOW, ignore=["psycopg", "concurrent"]):
        yield


def test_an_e_mail_has_a_button_to_a_page_of_240_bits_and_only_a_hash_is_kept() -> None:
    message = remind_of(due_deck())

    url = page_url(message)
    assert (
        f"Choose a week, ask for a price or say no: https://decks.example.com{url}" in message.text
    )
    assert re.search(
        rf'<a [^>]*href="https://decks\.example\.com{url}"[^>]*>Choose a week', message.html
    )
    assert len(url.split("/")[2]) == 40  # of 6 bits each (RFC 4648, base64url)
    link = ClientLink.objects.get()
    assert link.message == message
    assert url.split("/")[2] not in str(ClientLink.objects.values().get())
    assert re.fullmatch("[0-9a-f]{64}", link.page_hash)


def test_a_text_message_has_an_address_with_a_code_of_50_bits() -> None:
    message = remind_of(due_deck("text"))

    code = page_url(message).split("/")[2]
    assert len(code) == 10
    assert set(code) <= set(CODE_ALPHABET)
    assert len(CODE_ALPHABET) == len(set(CODE_ALPHABET)) == 2**5
    assert not set("OIL") & set(CODE_ALPHABET)


def test_no_letter_names_an_address_that_no_client_can_open(settings: Settings) -> None:
    settings.BLOCK_UNREADY = True
    settings.BASE_URL = "http://127.0.0.1:8000"

    text = remind_of(due_deck("letter")).text

    assert "127.0.0.1" not in text
    assert "type the code" not in text
    assert "Phone (902) 555-" in text
    assert not ClientLink.objects.exists()


def test_a_letter_says_where_to_type_which_code_and_it_opens_the_page(client: Browser) -> None:
    message = remind_of(due_deck("letter"))

    found = re.search(r"go to decks\.example\.com/p and type the code (\w{5}-\w{5})", message.text)
    assert found
    assert "Your code" in text_of(client.get("/p/"))
    typed = found[1].lower().replace("0", "o").replace("1", "l")
    opened = client.post("/p/", {"code": f" {typed} "}, follow=True)
    assert "7 Plover Row" in text_of(opened)


def test_no_two_messages_share_an_address(business: Business) -> None:
    keys = [f"due/1/{n}/1/text" for n in range(2_000)]

    made = {client_page_address(business, key, "text").secret for key in keys}

    assert len(made) == 2_000
    assert client_page_address(business, keys[0], "text").secret in made  # the same key again
    assert client_page_address(business, keys[0], "call") is None


@pytest.mark.parametrize(
    ("typed", "meant"),
    [("k7m2p-9xqrt", "K7M2P9XQRT"), ("oil 42", "01142"), ("  A-B c ", "ABC")],
)
def test_a_code_is_read_as_it_was_meant(typed: str, meant: str) -> None:
    assert normalize_code(typed) == meant


def test_looking_changes_nothing_and_leaves_no_trace(client: Browser) -> None:
    url = page_url(remind_of(due_deck()))
    before = str(list(ClientLink.objects.values())) + str(list(Message.objects.values()))

    for answer in (client.get(url), client.head(url), client.get(f"{url}?answer=sold")):
        assert answer.status_code == 200
        # RFC 9111, 5.2.2.5 (no-store); Referrer Policy, W3C, 3.1; robots by header.
        assert "no-store" in answer["Cache-Control"]
        assert answer["Referrer-Policy"] == "no-referrer"
        assert "noindex" in answer["X-Robots-Tag"]
        assert not answer.cookies
    assert str(list(ClientLink.objects.values())) + str(list(Message.objects.values())) == before
    assert not ClientAnswer.objects.exists()
    assert not ToDo.objects.exists()


@pytest.mark.parametrize("end", ["x", "%00", "é", "-" * 300])
def test_a_link_that_was_tampered_with_leads_nowhere_and_says_what_to_do(
    client: Browser, end: str
) -> None:
    wrong = f"{page_url(remind_of(due_deck()))[:-2]}{end}/"

    for answer in (client.get(wrong), press(client, wrong, "sold")):
        assert answer.status_code == 404
        assert "There is no page behind this link" in text_of(answer)
    assert not ClientAnswer.objects.exists()


def test_the_link_ends_as_that_of_an_offer_does(client: Browser, business: Business) -> None:
    url = page_url(remind_of(due_deck()))
    assert business.answered_link_months == 13

    with freeze_time("2028-06-09 12:00", ignore=["psycopg"]):
        assert client.get(url).status_code == 200
    with freeze_time("2028-06-10 12:00", ignore=["psycopg"]):
        for answer in (client.get(url), press(client, url, "sold")):
            assert answer.status_code == 410  # RFC 9110, 15.5.11
            assert "This link has ended" in text_of(answer)
    assert not ClientAnswer.objects.exists()


def test_the_link_of_a_client_who_was_put_away_has_ended(client: Browser) -> None:
    url = page_url(remind_of(due_deck()))
    Client.objects.update(archived_at=NOW)

    assert client.get(url).status_code == 410


def test_after_twenty_wrong_codes_an_hour_a_network_tries_no_more(client: Browser) -> None:
    deck = due_deck("text")
    code_url = page_url(remind_of(deck))

    for n in range(20):
        assert client.get(f"/p/WRONG{n:05}/").status_code == 404

    blocked = client.get(code_url)  # a right one too, else trying on would pay
    assert blocked.status_code == 429  # RFC 6585, 4
    assert blocked["Retry-After"] == "3600"
    assert client.post("/p/", {"code": code_url.split("/")[2]}).status_code == 429
    assert client.get(code_url, REMOTE_ADDR="192.0.2.7").status_code == 200
    with freeze_time(NOW + timedelta(hours=1), ignore=["psycopg"]):
        assert client.get(code_url).status_code == 200


def test_one_household_of_ipv6_is_one_network(client: Browser) -> None:
    for n in range(20):
        client.get(f"/p/WRONG{n:05}/", REMOTE_ADDR=f"2001:db8:0:1::{n:x}")

    assert client.get("/p/WRONG12345/", REMOTE_ADDR="2001:db8:0:1:f::1").status_code == 429
    assert client.get("/p/WRONG12345/", REMOTE_ADDR="2001:db8:0:2::1").status_code == 404


def test_a_header_that_anybody_can_send_does_not_say_who_asks(client: Browser) -> None:
    """Behind a proxy the web process puts the visitor into REMOTE_ADDR (test_web_server.py)."""
    for n in range(20):
        client.get(f"/p/WRONG{n:05}/", HTTP_X_FORWARDED_FOR=f"198.51.100.{n}")

    answer = client.get("/p/WRONG12345/", HTTP_X_FORWARDED_FOR="198.51.100.99")
    assert answer.status_code == 429


def test_wrong_codes_from_everywhere_together_are_limited_and_long_links_are_not(
    client: Browser,
) -> None:
    url = page_url(remind_of(due_deck()))
    for n in range(1_000):
        PAGE_CODES.note_wrong(f"198.51.{n // 250}.{n % 250}", now=NOW)

    assert client.get("/p/WRONG99999/", REMOTE_ADDR="203.0.113.9").status_code == 429
    assert client.get(url, REMOTE_ADDR="203.0.113.9").status_code == 200


def test_a_post_that_is_too_long_is_refused_before_it_is_read(client: Browser) -> None:
    url = page_url(remind_of(due_deck()))

    answer = press(client, url, "details", **{"details-words": "x" * 70_000})

    assert answer.status_code == 413
    assert not ClientAnswer.objects.exists()


def test_the_page_shows_what_was_done_with_photographs_and_the_care_record(
    client: Browser,
) -> None:
    price_list()
    deck = due_deck()
    url = page_url(remind_of(deck))
    photo = PhotoFactory(deck=deck, caption="The steps, finished")
    stranger = PhotoFactory()
    other = CoatFactory().job

    page = text_of(client.get(url))

    for part in (
        "7 Plover Row",
        "Back deck",
        "Strip and seal",
        "Jun 12, 2024",
        "Tidewood Deck Oil",
    ):
        assert part in page, part
    assert 'alt="The steps, finished"' in page
    assert "902-555-0142" not in page
    assert "ottilie@example.org" not in page  # who holds a letter need not be the client
    assert client.get(f"{url}photo/{photo.pk}/")["Content-Type"] == "image/jpeg"
    assert client.get(f"{url}photo/{stranger.pk}/").status_code == 404
    paper = client.get(f"{url}care/{Job.objects.get(deck=deck).pk}.pdf")
    assert paper.content.startswith(b"%PDF-")
    assert paper["Referrer-Policy"] == "no-referrer"
    assert client.get(f"{url}care/{other.pk}.pdf").status_code == 404


def test_a_client_who_reads_french_gets_text_and_page_in_french(client: Browser) -> None:
    message = remind_of(due_deck(language="fr"))

    assert "Choisir une semaine, demander un prix ou refuser" in message.text
    page = text_of(client.get(page_url(message)))
    for part in ("Votre terrasse", "Pas cette année", "J’ai vendu la maison", "Corriger"):
        assert part in page, part
    assert "Not this year" not in page


def test_a_text_of_our_own_without_the_link_goes_out_and_the_texts_page_says_what_is_missing(
    as_owner: Browser,
) -> None:
    body = "Hello {greeting}, {decks}\n\n{business}\n{postal_address}\n{phone}\n{unsubscribe_url}"
    MessageText.objects.create(
        purpose="overdue", channel="email", language="en", subject="Your deck", body=body
    )

    message = remind_of(due_deck())

    assert "/p/" not in message.text
    assert "no link to the client’s page" in text_of(as_owner.get("/settings/texts/"))
    page = text_of(as_owner.get("/settings/texts/overdue/email/en/"))
    assert "Add a line that ends in <code>{page_url}</code>" in page


@pytest.mark.parametrize(
    ("today", "months", "end"),
    [
        # Worked out by hand: the season that runs or comes next, at least 90 days off.
        (date(2027, 5, 10), [5, 6, 7, 8, 9, 10], date(2027, 10, 31)),
        (date(2026, 11, 25), [5, 6, 7, 8, 9, 10], date(2027, 10, 31)),
        (date(2027, 8, 2), [5, 6, 7, 8, 9, 10], date(2027, 10, 31)),
        (date(2027, 8, 3), [5, 6, 7, 8, 9, 10], date(2028, 10, 31)),
        (date(2027, 2, 1), [10, 11, 12, 1, 2, 3], date(2028, 3, 31)),
        (date(2026, 12, 1), [10, 11, 12, 1, 2, 3], date(2027, 3, 31)),
        (date(2027, 5, 10), list(range(1, 13)), date(2027, 12, 31)),
        (date(2027, 12, 1), list(range(1, 13)), date(2028, 12, 31)),
    ],
)
def test_not_this_year_lasts_until_the_season_is_over(
    today: date, months: list[int], end: date
) -> None:
    assert season_end(today, months) == end
