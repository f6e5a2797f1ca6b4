"""The privacy notice: for everybody, linked where clients read, in the words of the business or in
those that say what the book keeps (GDPR Art. 13 and 14; PIPEDA Sch. 1, 4.8)."""

import pytest
from django.test import Client as Browser

from clients.messaging.texts import compose_text
from clients.models import Business

pytestmark = pytest.mark.usefixtures("business")
FIELDS = {"greeting": "Ottilie", "decks": "Back deck", "due_by": "May", "since": "", "work": "x"}


def page_text(browser: Browser, path: str = "/privacy/") -> str:
    answer = browser.get(path)
    assert answer.status_code == 200
    assert not answer.cookies
    return " ".join(answer.content.decode().split())


def test_it_says_who_keeps_what_for_how_long_and_what_one_may_ask(client: Browser) -> None:
    Business.objects.update(raw_months=7)
    page = page_text(client)
    for words in (
        "Driftline Deck Care, 4 Tern Wharf",
        "photographs",
        "what you allow or refuse",
        "word for word for 7 months",
        "corrected or erased",
        "privacy authority where you live",
    ):
        assert words in page
    assert "text messages and letters" not in page  # no gateway, no such service
    assert "Ce que nous conservons à votre sujet" in page_text(client, "/privacy/?language=fr")


def test_the_words_of_the_business_take_its_place(client: Browser) -> None:
    Business.objects.update(privacy_notice="Ask Maud.\n\nShe knows <b>all</b>.")
    page = page_text(client)
    assert "<p>Ask Maud.</p>" in page
    assert "&lt;b&gt;all&lt;/b&gt;" in page
    assert "photographs" not in page


def test_each_page_that_a_client_opens_leads_to_it(client: Browser) -> None:
    for path in ("/u/unknown/", "/o/unknown/", "/p/", "/sign-in/"):
        assert 'href="/privacy/?language=en"' in client.get(path).content.decode(), path


@pytest.mark.parametrize("purpose", ["first", "overdue", "booked", "care"])
@pytest.mark.parametrize("channel", ["email", "letter"])
def test_each_mail_and_letter_leads_to_it(purpose: str, channel: str) -> None:
    for language, address in (
        ("en", "https://decks.example.com/privacy/"),
        ("fr", "https://decks.example.com/privacy/?language=fr"),
    ):
        given = FIELDS | {"care": "Oiled.", "visit_day": "Tuesday"}
        written = compose_text(purpose=purpose, channel=channel, language=language, fields=given)
        assert written.text.rstrip().endswith(address)
        assert channel == "letter" or f'href="{address}"' in written.html


def test_a_text_message_has_no_room_for_it_and_no_dead_link_goes_out(settings: object) -> None:
    short = compose_text(purpose="first", channel="text", language="en", fields=FIELDS)
    assert "privacy" not in short.text
    settings.BASE_URL = "http://localhost:8000"  # type: ignore[attr-defined]
    written = compose_text(purpose="first", channel="email", language="en", fields=FIELDS)
    assert "privacy" not in written.text
