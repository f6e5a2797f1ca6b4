"""The look of an e-mail: complete without pictures, narrow, in the dark, without its style sheet,
and as received."""

import re
from html.parser import HTMLParser

import pytest
from django.utils import timezone

from clients.messaging import outbox
from clients.messaging.models import Message
from clients.messaging.texts import MESSAGE_FIELDS, compose_text
from clients.models import Business
from tests.factories import ConsentFactory, EmailFactory, PropertyFactory
from tests.peer import Peer

LONG = "Landing by the " + "averyverylongword" * 6
GIVEN = {
    "greeting": "Ottilie & <Saltonby>",
    "decks": f"{MESSAGE_FIELDS['decks'].sample}\n\n{LONG}",
    "due_by": "March 2027",
    "offer_number": "104",
    "total": "$684.25",
    "offer_url": "https://decks.example.com/o/" + "a" * 43 + "/",
    "valid_until": "Apr 30, 2027",
}
SHEET = re.compile(r"<style>.*?</style>", re.DOTALL)


class Reader(HTMLParser):
    """What a reader that shows no pictures and no styles would have:
    words, links and open elements."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.words: list[str] = []
        self.links: list[str] = []
        self.tags: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.links += [
            value or "" for name, value in attrs if name in {"href", "src", "background"}
        ]

    def handle_data(self, data: str) -> None:
        self.words.append(data)


@pytest.fixture
def offer(business: Business) -> str:
    html = compose_text(
        purpose="offer", channel="email", language="en", fields=GIVEN, basis="express"
    ).html
    return html.replace("{unsubscribe_url}", "https://decks.example.com/u/xyz/")


def test_nothing_is_fetched_and_nothing_runs(offer: str) -> None:
    found = Reader(offer)
    assert not {"img", "script", "link", "iframe", "form", "object", "video"} & set(found.tags)
    assert "url(" not in offer
    assert found.links == [
        GIVEN["offer_url"],
        "tel:+19025550100",
        "tel:+19025550100",
        "mailto:office@example.com",
        "https://decks.example.com/u/xyz/",
        "https://decks.example.com/privacy/",
    ]


def test_plain_text_and_html_say_the_same(business: Business) -> None:
    written = compose_text(purpose="first", channel="email", language="fr", fields=GIVEN)
    said = " ".join(Reader(SHEET.sub("", written.html)).words).split()
    text = written.text.replace(": {unsubscribe_url}", "").replace("--\n", "")
    address = "https://decks.example.com/privacy/?language=fr"  # behind its words in the HTML
    assert f'href="{address}"' in written.html
    plain = text.replace(address, "").split()
    missing = [
        word for word in plain if word not in said and word.strip(":.,") not in "".join(said)
    ]
    assert missing == []


def luminance(colour: str) -> float:
    """WCAG 2.2, relative luminance."""
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    linear = [
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


# Text and its ground, light (inline) and dark (in the style sheet).
PAIRS = [
    ("#e8eeec", "#22363b"),
    ("#1a2629", "#fbfcfb"),
    ("#1a2629", "#f1efe9"),
    ("#4a595c", "#fbfcfb"),
    ("#17526d", "#fbfcfb"),
    ("#ffffff", "#1c4f64"),
    ("#e5ebe8", "#192427"),
    ("#e5ebe8", "#263437"),
    ("#a9b7b5", "#192427"),
    ("#8fc6de", "#192427"),
    ("#0b1d25", "#8fc6de"),
]


def test_every_text_stands_out_from_its_ground(offer: str) -> None:
    """WCAG 2.2, 1.4.3: at least 4.5 to 1."""
    for text, ground in PAIRS:
        assert text in offer
        assert ground in offer
        light, dark = sorted([luminance(text), luminance(ground)], reverse=True)
        assert (light + 0.05) / (dark + 0.05) >= 4.5, (text, ground)
    assert set(re.findall(r"[^-]color ?: ?(#\w{6})", offer)) <= {text for text, _ in PAIRS}


@pytest.mark.smtp
@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize(
    ("purpose", "language"), [("first", "en"), ("offer", "fr"), ("last", "fr")]
)
def test_what_is_written_arrives_whole(
    business: Business, peer: Peer, purpose: str, language: str
) -> None:
    client = EmailFactory(client=PropertyFactory().client).client
    consent = ConsentFactory(client=client)
    written = compose_text(
        purpose=purpose, channel="email", language=language, fields=GIVEN, basis="express"
    )
    kind = Message.Kind.OFFER if purpose == "offer" else Message.Kind.REMINDER
    outgoing = outbox.OutgoingMessage(
        client=client,
        kind=kind,
        channel="email",
        key=f"k/{purpose}",
        address="a@example.org",
        consent=consent,
        basis="express",
        written=written,
    )
    message, _ = outbox.queue_message(outgoing=outgoing, now=timezone.now())
    assert outbox.deliver().accepted == 1

    got = peer.message()
    link = got["List-Unsubscribe"].strip("<>")
    assert got["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"  # RFC 8058, 3.1
    assert got["Subject"] == written.subject  # RFC 2047
    plain = got.get_body(("plain",)).get_content()
    html = got.get_body(("html",)).get_content()
    assert plain.splitlines() == message.text.splitlines()
    assert link in plain
    assert link in Reader(html).links
    assert html.splitlines() == message.html.splitlines()
    assert [part.get_content_type() for part in got.iter_parts()] == [
        "text/plain",
        "text/html",
    ]  # RFC 2046, 5.1.4
    assert all(
        len(line) <= 998 for line in peer.taken[0].original_content.split(b"\r\n")
    )  # RFC 5322, 2.1.1
    assert not [defect for part in got.walk() for defect in part.defects]
