"""E-mail against a real SMTP peer: what arrives, parsed by the standard library."""

import re
from email import message_from_bytes
from email.header import decode_header, make_header
from email.utils import parseaddr, parsedate_to_datetime

import pytest
from django.utils import timezone
from pytest_django import Settings

from clients.messaging import message_keys, outbox
from clients.messaging.models import Message
from clients.models import Business
from tests.outbox import queued, states
from tests.peer import Peer, running_peer

pytestmark = [
    pytest.mark.smtp,
    pytest.mark.django_db(transaction=True),
    pytest.mark.usefixtures("business"),
]


def test_a_reminder_arrives_as_the_standards_want_it(peer: Peer) -> None:
    sent = queued(
        1,
        subject="Votre terrasse à Chéticamp — prévue",
        html="<p>Bonjour à tous {unsubscribe_url}</p>",
    )
    assert outbox.deliver().accepted == 1

    envelope = peer.taken[0]
    got = peer.message()
    assert (envelope.mail_from, envelope.rcpt_tos) == (
        "reminders@example.com",
        ["client1@example.org"],
    )
    # RFC 5322, 3.6: exactly one each of the fields that must or may stand once
    for name in ("From", "To", "Subject", "Date", "Message-ID", "Reply-To", "MIME-Version"):
        assert len(got.get_all(name)) == 1, name
    assert got["Subject"] == "Votre terrasse à Chéticamp — prévue"
    assert got["From"].addresses[0].display_name == "Driftline Deck Care"
    assert got["From"].addresses[0].addr_spec == "reminders@example.com"
    assert got["Reply-To"] == "office@example.com"
    assert got["Message-ID"] == sent.message_id
    assert re.fullmatch(r"<[0-9a-f]{32}@example\.com>", sent.message_id)  # RFC 5322, 3.6.4
    assert abs((parsedate_to_datetime(got["Date"]) - timezone.now()).total_seconds()) < 60
    assert got["Auto-Submitted"] == "auto-generated"  # RFC 3834, 5
    # RFC 2369, 2: URIs in angle brackets; RFC 8058, 3.1: one HTTPS URI and exactly this key and
    # value
    link = message_keys.unsubscribe_link(Business.objects.get(), sent)
    assert got["List-Unsubscribe"] == f"<{link}>"
    assert got["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    assert got.get_content_type() == "multipart/alternative"
    plain = got.get_body(("plain",))
    html = got.get_body(("html",))
    assert link in plain.get_content()
    assert html.get_content().strip() == f"<p>Bonjour à tous {link}</p>"


def test_text_survives_dots_long_lines_and_every_alphabet(peer: Peer) -> None:
    text = (
        "{unsubscribe_url}\n.\n..two dots\n.leading\nFrom here\nMāori, Ελληνικά, 木\n"
        + "wood " * 400
        + "\ntrailing  \n"
    )
    queued(1, text=text)
    outbox.deliver()
    assert peer.message().get_content().splitlines()[1:] == text.splitlines()[1:]


def test_no_line_is_longer_than_the_standard_allows(peer: Peer) -> None:
    queued(
        1,
        text="{unsubscribe_url}\n" + "x" * 5000,
        html="<p>{unsubscribe_url}" + "y" * 5000,
        subject="z" * 300,
    )
    outbox.deliver()
    content = peer.taken[0].original_content
    assert max(map(len, content.split(b"\r\n"))) <= 998  # RFC 5322, 2.1.1
    assert content.replace(b"\r\n", b"").isascii()
    assert b"\n" not in content.replace(b"\r\n", b"")
    assert peer.message()["Subject"] == "z" * 300


def test_a_long_subject_is_folded_and_arrives_as_written(peer: Peer) -> None:
    subject = "The deck at Cormorant Lane is due, " * 8 + "and  spaced"
    queued(1, subject=subject)
    outbox.deliver()
    head = peer.taken[0].original_content.partition(b"\r\n\r\n")[0]
    assert peer.message()["Subject"] == subject
    assert (
        max(len(line) for line in head.split(b"\r\n") if not line.startswith(b"List-")) <= 78
    )  # RFC 5322, 2.1.1


@pytest.mark.parametrize(
    "name",
    [
        "Driftline\r\nBcc: spy@example.org",
        'Ana "Tide" <spy@example.org>',
        "Quai d'été, Ltd.",
        "ä" * 120,
    ],
)
def test_the_name_of_the_business_cannot_break_a_header(peer: Peer, name: str) -> None:
    Business.objects.update(name=name)
    queued(1)
    outbox.deliver()
    got = peer.message()
    assert "Bcc" not in got
    assert [each.addr_spec for each in got["From"].addresses] == ["reminders@example.com"]
    assert not got["From"].defects
    shown, _ = parseaddr(
        message_from_bytes(peer.taken[0].original_content)["From"]
    )  # unlike the newer
    assert str(make_header(decode_header(shown))) == name.replace("\r\n", " ")


def test_bounces_return_to_an_address_of_their_own(peer: Peer) -> None:
    Business.objects.update(bounce_email="bounce@mail.example.com")
    sent = queued(1)
    outbox.deliver()
    key = sent.message_id.strip("<>").partition("@")[0]
    assert peer.taken[0].mail_from == f"bounce+{key}@mail.example.com"


def test_a_message_about_a_visit_has_no_unsubscribe_link(peer: Peer) -> None:
    queued(1, kind="service", text="We come on Tuesday.")
    outbox.deliver()
    assert "List-Unsubscribe" not in peer.message()


def test_files_arrive_byte_for_byte_beside_the_text(peer: Peer) -> None:
    content = bytes(range(256)) * 400
    calendar_file = ("Été “deux”.ics", "text/calendar; charset=utf-8", b"BEGIN")
    files = [("Offer 104.pdf", "application/pdf", content), calendar_file]
    queued(1, kind="offer", html="<p>{unsubscribe_url}</p>", attachments=files)
    queued(2, kind="service", text="No HTML.", attachments=files[:1])
    queued(3)
    assert outbox.deliver().accepted == 3

    got = peer.message()
    assert got.get_content_type() == "multipart/mixed"  # RFC 2046, 5.1.3
    assert [part.get_content_type() for part in got.iter_parts()] == [
        "multipart/alternative",
        "application/pdf",
        "text/calendar",
    ]
    assert got.get_body(("html",)).get_content_type() == "text/html"
    offer, calendar = got.iter_attachments()
    assert (offer.get_filename(), offer.get_content()) == (
        "Offer 104.pdf",
        content,
    )  # RFC 2183; 2045, 6.8
    assert calendar.get_filename() == "Été “deux”.ics"  # RFC 2231
    assert not [defect for part in got.walk() for defect in part.defects]
    assert max(map(len, peer.taken[0].original_content.split(b"\r\n"))) <= 998
    plain = peer.message(1)
    other = peer.message(2)
    assert [part.get_content_type() for part in plain.iter_parts()] == [
        "text/plain",
        "application/pdf",
    ]
    assert other.get_content_type() == "text/plain"


def test_without_https_the_one_click_header_is_left_out(peer: Peer, settings: Settings) -> None:
    settings.BASE_URL = "http://127.0.0.1:8000"
    queued(1)
    outbox.deliver()
    assert peer.message()["List-Unsubscribe"].startswith("<http://127.0.0.1:8000/u/")
    assert "List-Unsubscribe-Post" not in peer.message()


def test_a_domain_beyond_ascii_goes_out_in_its_ascii_form(peer: Peer) -> None:
    queued(1, address="ines@bücher.example.org")
    outbox.deliver()
    assert peer.taken[0].rcpt_tos == ["ines@xn--bcher-kva.example.org"]


def test_a_local_part_beyond_ascii_goes_out_where_the_server_can(peer: Peer) -> None:
    queued(1, address="zoë@example.org")
    queued(2)
    assert outbox.deliver().accepted == 2
    assert peer.taken[0].rcpt_tos == ["zoë@example.org"]
    assert "SMTPUTF8" in peer.taken[0].mail_options
    assert "SMTPUTF8" not in peer.taken[1].mail_options


def test_a_local_part_beyond_ascii_is_refused_where_the_server_cannot(settings: Settings) -> None:
    with running_peer(utf8=False) as peer:
        settings.EMAIL_HOST = "127.0.0.1"
        settings.EMAIL_PORT = peer.port
        queued(1, address="zoë@example.org")
        queued(2)
        outbox.deliver()
    assert states() == {"failed": 1, "accepted": 1}
    assert "SMTPUTF8" in Message.objects.get(state="failed").reply


def test_one_connection_carries_many_messages_with_one_recipient_each(peer: Peer) -> None:
    for number in range(5):
        queued(number)
    assert outbox.deliver().accepted == 5
    assert peer.handler.commands == ["EHLO"]
    assert [len(envelope.rcpt_tos) for envelope in peer.taken] == [1] * 5
