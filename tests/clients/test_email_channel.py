"""E-mail against a real SMTP peer: what arrives, parsed by the standard library, and what each fault means."""

import re
import socket
from collections.abc import Iterator
from email import message_from_bytes
from email.header import decode_header, make_header
from email.utils import parseaddr, parsedate_to_datetime

import pytest
from django.utils import timezone
from pytest_django import Settings

from clients import message_keys, outbox
from clients.channels import email
from clients.models import Business, Message
from tests.outbox import queued, states
from tests.peer import DROP, Peer, running_peer

pytestmark = [pytest.mark.smtp, pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("business")]


@pytest.fixture
def peer(settings: Settings) -> Iterator[Peer]:
    with running_peer() as running:
        settings.EMAIL_HOST, settings.EMAIL_PORT, settings.EMAIL_TIMEOUT = "127.0.0.1", running.port, 2
        yield running


def the_state() -> str:
    return Message.objects.get().state


def make_due() -> None:
    Message.objects.update(not_before=timezone.now())


# What arrives


def test_a_reminder_arrives_as_the_standards_want_it(peer: Peer) -> None:
    sent = queued(1, subject="Votre terrasse à Chéticamp — prévue", html="<p>Bonjour à tous {unsubscribe_url}</p>")
    assert outbox.deliver().accepted == 1

    envelope, got = peer.taken[0], peer.message()
    assert (envelope.mail_from, envelope.rcpt_tos) == ("reminders@example.com", ["client1@example.org"])
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
    # RFC 2369, 2: URIs in angle brackets; RFC 8058, 3.1: one HTTPS URI and exactly this key and value
    link = message_keys.link_of(Business.objects.get(), sent)
    assert got["List-Unsubscribe"] == f"<{link}>"
    assert got["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    assert got.get_content_type() == "multipart/alternative"
    plain, html = got.get_body(("plain",)), got.get_body(("html",))
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
    queued(1, text="{unsubscribe_url}\n" + "x" * 5000, html="<p>{unsubscribe_url}" + "y" * 5000, subject="z" * 300)
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
    assert max(len(line) for line in head.split(b"\r\n") if not line.startswith(b"List-")) <= 78  # RFC 5322, 2.1.1


@pytest.mark.parametrize(
    "name", ["Driftline\r\nBcc: spy@example.org", 'Ana "Tide" <spy@example.org>', "Quai d'été, Ltd.", "ä" * 120]
)
def test_the_name_of_the_business_cannot_break_a_header(peer: Peer, name: str) -> None:
    Business.objects.update(name=name)
    queued(1)
    outbox.deliver()
    got = peer.message()
    assert "Bcc" not in got
    assert [each.addr_spec for each in got["From"].addresses] == ["reminders@example.com"]
    assert not got["From"].defects
    shown, _ = parseaddr(message_from_bytes(peer.taken[0].original_content)["From"])  # unlike the newer
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
        "multipart/alternative", "application/pdf", "text/calendar",
    ]  # fmt: skip
    assert got.get_body(("html",)).get_content_type() == "text/html"
    offer, calendar = got.iter_attachments()
    assert (offer.get_filename(), offer.get_content()) == ("Offer 104.pdf", content)  # RFC 2183; 2045, 6.8
    assert calendar.get_filename() == "Été “deux”.ics"  # RFC 2231
    assert not [defect for part in got.walk() for defect in part.defects]
    assert max(map(len, peer.taken[0].original_content.split(b"\r\n"))) <= 998
    plain, other = peer.message(1), peer.message(2)
    assert [part.get_content_type() for part in plain.iter_parts()] == ["text/plain", "application/pdf"]
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
        settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", peer.port
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


# Faults


@pytest.mark.parametrize("phase", ["MAIL", "RCPT", "DATA", "DOT"])
def test_a_temporary_refusal_in_any_phase_is_tried_again_later(peer: Peer, phase: str) -> None:
    peer.handler.once[phase] = ["451 4.3.0 try later"]
    queued(1)
    before = timezone.now()
    assert outbox.deliver().put_off == 1
    message = Message.objects.get()
    assert (message.state, message.reply) == ("queued", "451 4.3.0 try later")
    assert message.not_before > before
    make_due()
    assert outbox.deliver().accepted == 1
    assert len(peer.taken) == 1


@pytest.mark.parametrize("phase", ["MAIL", "RCPT", "DATA", "DOT"])
def test_a_definite_refusal_in_any_phase_fails_and_says_why(peer: Peer, phase: str) -> None:
    peer.handler.answers[phase] = "550 5.7.1 not here"
    queued(1)
    assert outbox.deliver().failed == 1
    message = Message.objects.get()
    assert (message.state, message.reply, peer.taken) == ("failed", "550 5.7.1 not here", [])
    make_due()
    assert outbox.deliver().total == 0


def test_one_refused_recipient_does_not_touch_the_others(peer: Peer) -> None:
    peer.handler.refused_recipients["client2@example.org"] = "550 5.1.1 no such mailbox"
    for number in (1, 2, 3):
        queued(number)
    outbox.deliver()
    assert states() == {"accepted": 2, "failed": 1}
    assert Message.objects.get(state="failed").address == "client2@example.org"


def test_a_drop_before_the_text_is_harmless(peer: Peer) -> None:
    peer.handler.once["RCPT"] = [DROP]
    queued(1)
    assert outbox.deliver().put_off == 1
    make_due()
    assert outbox.deliver().accepted == 1
    assert len(peer.taken) == 1


def test_a_drop_of_a_connection_in_use_is_followed_by_a_new_one(peer: Peer) -> None:
    for number in (1, 2, 3):
        queued(number)
    taken = peer.handler.taken

    class DropAfterFirst(dict):
        def get(self, phase: str, default: object = None) -> object:
            if phase == "MAIL" and len(taken) == 1 and not self:
                self["done"] = []
                return [DROP]
            return None

    peer.handler.once = DropAfterFirst()
    assert outbox.deliver().accepted == 3
    assert peer.handler.commands == ["EHLO", "EHLO"]
    assert len(taken) == 3


def test_a_drop_after_the_text_is_unconfirmed_and_never_sent_again_by_the_machine(peer: Peer) -> None:
    peer.handler.answers["DOT"] = DROP
    queued(1)
    assert outbox.deliver().unconfirmed == 1
    del peer.handler.answers["DOT"]
    make_due()
    assert outbox.deliver().total == 0
    assert (the_state(), len(peer.taken)) == ("unconfirmed", 1)


def test_an_answer_that_comes_too_late_is_unconfirmed(peer: Peer, settings: Settings) -> None:
    settings.EMAIL_TIMEOUT = 0.3
    peer.handler.late_seconds = 1
    queued(1)
    assert outbox.deliver().unconfirmed == 1
    assert "timed out" in Message.objects.get().reply


def test_a_late_answer_within_the_time_is_accepted(peer: Peer) -> None:
    peer.handler.late_seconds = 0.5
    queued(1)
    assert outbox.deliver().accepted == 1
    assert Message.objects.get().reply == "250 2.0.0 taken as 1"


def test_a_server_that_is_away_leaves_the_queue_as_it_is(settings: Settings) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", taken.getsockname()[1]
        queued(1)
        tally = outbox.deliver()
    assert "refused" in tally.line_down[0].lower()
    message = Message.objects.get()
    assert (message.state, message.attempts) == ("queued", 0)
    assert [event.state for event in message.events.all()] == ["queued"]


def test_a_refused_sign_in_leaves_the_queue_as_it_is(peer: Peer, settings: Settings) -> None:
    settings.EMAIL_HOST_USER, settings.EMAIL_HOST_PASSWORD = "office", "wrong"
    queued(1)
    assert outbox.deliver().line_down
    assert the_state() == "queued"


def test_tries_become_rarer_and_end(peer: Peer) -> None:
    peer.handler.answers["RCPT"] = "450 4.2.1 busy"
    queued(1)
    pauses = []
    for _ in range(20):
        before = timezone.now()
        if not outbox.deliver().put_off:
            break
        pauses.append((Message.objects.get().not_before - before).total_seconds())
        make_due()
    assert [round(pause) for pause in pauses] == sorted(round(pause) for pause in pauses)
    assert pauses[0] == pytest.approx(60, abs=5)
    assert pauses[-1] == pytest.approx(4 * 3600, abs=5)
    assert the_state() == "failed"
    assert Message.objects.get().reply.startswith("Given up after 12 tries. 450")


def test_a_fault_of_ours_goes_before_a_person_and_stops_nobody_else(
    peer: Peer, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    compose = email.compose

    def stumble(head: object, message: Message, **options: object) -> bytes:
        if message.address.startswith("client1@"):
            raise RuntimeError("a fault of ours")
        return compose(head, message, **options)

    monkeypatch.setattr(email, "compose", stumble)
    for number in (1, 2):
        queued(number)
    outbox.deliver()
    assert states() == {"failed": 1, "accepted": 1}
    assert "a fault of ours" in Message.objects.get(state="failed").reply
