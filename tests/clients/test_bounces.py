"""Mails that come back: what they report, which message they are about, and what follows once and never back.

The delivery reports have the form of RFC 3464, section 4 and appendix E (its examples, with our names and addresses);
the automatic answer that of RFC 3834. The bounce without a standard is one that qmail's QSBMF describes (from memory).
"""

import json
from collections.abc import Iterator
from datetime import timedelta
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone
from pytest_django import Settings

from clients import bounces, outbox
from clients.bounces import reading
from clients.models import ContactPoint, InboundEvent, Message, ToDo, User
from clients.outbox import doors
from reminders import tasks
from restorer import checks
from tests import mailbox
from tests.mailbox import running_mailbox
from tests.outbox import queued

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("business")]

REPORT = """\
From: Mail Delivery Subsystem <MAILER-DAEMON@example.net>
To: {to}
Subject: Delivery report
Auto-Submitted: auto-replied
MIME-Version: 1.0
Content-Type: multipart/report; report-type=delivery-status; boundary="RAA14128.773615765/example.net"

--RAA14128.773615765/example.net

The original message was received from office.example.com.

--RAA14128.773615765/example.net
content-type: message/delivery-status

Reporting-MTA: dns; example.net

Original-Recipient: rfc822;client1@example.org
Final-Recipient: rfc822;client1@example.org
Action: {action}
Status: {status}
Diagnostic-Code: smtp; 550 {words}

--RAA14128.773615765/example.net
content-type: text/rfc822-headers

From: Driftline Deck Care <office@example.com>
Message-ID: {message_id}

--RAA14128.773615765/example.net--
"""
AWAY = """\
From: client1@example.org
To: office@example.com
Subject: Away until Monday
Auto-Submitted: auto-replied
In-Reply-To: {message_id}

We are on the water. If it bounces 5.1.1 or not: call.
"""
OLD_STYLE = """\
From: MAILER-DAEMON@example.net
To: bounces+{key}@example.com
Subject: failure notice

Hi. This is the qmail-send program at example.net.
I'm afraid I wasn't able to deliver your message to the following addresses.
This is a permanent error; I've given up. Sorry it didn't work out.

<client1@example.org>:
Sorry, no mailbox here by that name. (#5.1.1)

--- Below this line is a copy of the message.

Subject: Your deck is due
"""


def key_of(message: Message) -> str:
    return message.message_id.strip("<>").partition("@")[0]


def report(message: Message, action: str, status: str, words: str = "No such user", to: str = "") -> bytes:
    """By default found by the Message-ID that is quoted; `to` is the address it was sent back to."""
    message_id = "<of-nobody@example.com>" if to else message.message_id
    filled = REPORT.format(to=to or "office@example.com", action=action, status=status, words=words,
                           message_id=message_id)  # fmt: skip
    return filled.encode()


def receive(content: bytes) -> str:
    return bounces.receive(content=content, now=timezone.now())["words"]


def sent(state: str = "accepted", number: int = 1) -> Message:
    message = queued(number)
    Message.objects.filter(pk=message.pk).update(
        state=state, accepted_at=timezone.now() if state in {"accepted", "delivered"} else None
    )
    message.refresh_from_db()
    return message


def state_of(message: Message) -> str:
    return Message.objects.values_list("state", flat=True).get(pk=message.pk)


@pytest.mark.parametrize(
    ("before", "action", "status", "after"),
    [
        ("accepted", "failed", "5.1.1", "bounced"), ("unconfirmed", "failed", "5.1.1", "bounced"),
        ("accepted", "failed (gone)", "5.2.1 (disabled)", "bounced"), ("accepted", "failed", "4.4.7", "bounced"),
        ("accepted", "delayed", "4.4.1", "accepted"), ("unconfirmed", "delayed", "4.4.1", "accepted"),
        ("accepted", "delivered", "2.1.5", "delivered"), ("unconfirmed", "delivered", "2.1.5", "delivered"),
        ("bounced", "delivered", "2.1.5", "delivered"), ("unconfirmed", "relayed", "2.1.9", "accepted"),
        ("delivered", "failed", "5.1.1", "delivered"),  # never back
        ("queued", "delayed", "4.4.1", "accepted"), ("queued", "failed", "5.7.1", "bounced"),  # it was taken after all
        ("cancelled", "failed", "5.1.1", "cancelled"), ("accepted", "dreamt", "5.1.1", "accepted"),
    ],
)  # fmt: skip
def test_a_report_moves_a_message_only_towards_what_is_known_better(
    before: str, action: str, status: str, after: str
) -> None:
    message = sent(before)
    receive(report(message, action, status))
    assert state_of(message) == after


def test_a_wrong_address_is_suspended_once_with_a_matter_for_the_owner() -> None:
    message, waiting = sent(), queued(7, address="client7@example.org")
    Message.objects.filter(pk=waiting.pk).update(client=message.client, address="Client1@example.org")
    content = report(message, "failed", "5.1.1")

    first = receive(content)
    again = receive(content.replace(b"\n", b"\r\n"))

    point = ContactPoint.objects.get(client=message.client, value="client1@example.org")
    to_do = ToDo.objects.get()
    assert first == "It came back. 5.1.1 550 No such user"
    assert again == "Known already: nothing was done."
    assert point.suspended_at
    assert point.suspended_why == "Mail came back: 5.1.1 550 No such user"
    assert (to_do.kind, to_do.client, to_do.message) == ("address", message.client, message)
    assert state_of(waiting) == "cancelled"
    history = list(message.events.order_by("id").values_list("state", "note"))
    assert history == [("queued", ""), ("bounced", first)]
    event = InboundEvent.objects.get()
    assert (event.source, event.message, event.client, event.outcome) == ("bounce", message, message.client, first)
    assert "Action: failed" in event.raw
    assert event.processed_at


@pytest.mark.parametrize("status", ["4.4.7", "5.2.2", "5.3.4", "5.6.0", "5.7.1", "5.7.515"])
def test_what_is_no_fault_of_the_address_suspends_nothing_and_is_pointed_out_once(status: str) -> None:
    for number in (1, 2):
        receive(report(sent(number=number), "failed", status))
    assert not ContactPoint.objects.exclude(suspended_at=None).exists()
    assert "not for a wrong address" in ToDo.objects.get().words
    assert Message.objects.count_by_state() == {"bounced": 2}


def test_late_is_only_noted() -> None:
    message = sent()
    receive(report(message, "delayed", "4.4.1", "connection timed out"))
    assert not ToDo.objects.exists()
    assert not ContactPoint.objects.exclude(suspended_at=None).exists()
    last = message.events.order_by("id").last()
    assert last is not None
    assert last.state == "accepted"
    assert "connection timed out" in last.note


def test_the_return_path_says_which_message_it_was() -> None:
    """As channels/email.py writes it: a key of its own for each message."""
    message = sent()
    receive(report(message, "failed", "5.1.1", to=f"<bounces+{key_of(message)}@example.com>"))
    assert state_of(message) == "bounced"


def test_a_bounce_that_keeps_no_standard_is_read_too() -> None:
    message = sent("unconfirmed")
    receive(OLD_STYLE.format(key=key_of(message)).encode())
    assert state_of(message) == "bounced"
    assert ContactPoint.objects.exclude(suspended_at=None).count() == ToDo.objects.count() == 1


def test_an_automatic_answer_is_no_bounce_but_shows_that_it_went_out() -> None:
    message, doubtful = sent(number=1), sent("unconfirmed", 2)
    for each in (message, doubtful):
        receive(AWAY.format(message_id=each.message_id).encode())
    assert (state_of(message), state_of(doubtful)) == ("accepted", "accepted")
    assert not ToDo.objects.exists()
    assert message.events.count() == 1


def test_what_a_person_answers_is_put_before_a_person() -> None:
    message = sent()
    receive(AWAY.format(message_id=message.message_id).replace("Auto-Submitted: auto-replied\n", "").encode())
    assert ToDo.objects.get().kind == "answer"
    assert state_of(message) == "accepted"


@pytest.mark.parametrize("content", [b"", b"\xff\x00\x80", b"From: a\nContent-Type: multipart/report\n\nnothing",
                                     b"Subject: cheap pills\n\nBuy now"])  # fmt: skip
def test_what_is_none_of_ours_changes_nothing_and_is_not_kept(content: bytes) -> None:
    message = sent()
    assert receive(content) == "It is about no message of ours."
    assert InboundEvent.objects.get().raw == ""
    assert state_of(message) == "accepted"


def test_a_report_about_a_message_that_nobody_here_sent_suspends_nobody() -> None:
    """Somebody forged our address: the recipient is named, but the message is none of ours."""
    sent()
    stranger = Message(message_id="<" + "0" * 32 + "@example.com>")
    assert receive(report(stranger, "failed", "5.1.1")) == "It is about no message of ours."
    assert not ContactPoint.objects.exclude(suspended_at=None).exists()


def test_of_an_earlier_sending_only_an_arrival_counts(owner: User) -> None:
    message = sent("unconfirmed")
    failed, arrived = report(message, "failed", "5.1.1"), report(message, "delivered", "2.1.5")
    doors.send_again(message=message, now=timezone.now(), by=owner)
    receive(failed)
    assert state_of(message) == "queued"
    assert not ToDo.objects.exists()
    receive(arrived)
    assert state_of(message) == "delivered"
    assert outbox.deliver().total == 0


def test_what_was_kept_and_not_processed_is_finished_later(monkeypatch: pytest.MonkeyPatch) -> None:
    message = sent()
    with monkeypatch.context() as patch:
        patch.setattr("clients.bounces.effects.message_of", lambda key: 1 // 0)  # stands for a kill right then
        with pytest.raises(ZeroDivisionError):
            receive(report(message, "failed", "5.1.1"))
    assert state_of(message) == "accepted"
    assert InboundEvent.objects.get().processed_at is None

    InboundEvent.objects.update(received_at=timezone.now() - timedelta(minutes=5))
    tasks.read_bounces()

    assert state_of(message) == "bounced"


def test_status_codes_are_not_taken_from_addresses_of_the_internet() -> None:
    assert reading.STATUS.search("blocked 5.9.1.2, see below") is None
    assert reading.STATUS.search("550 5.1.1 <x@example.org>: unknown")[0] == "5.1.1"  # type: ignore[index]


@pytest.fixture
def imap(settings: Settings) -> Iterator[mailbox.Server]:
    with running_mailbox() as server:
        settings.BOUNCES_HOST, settings.BOUNCES_PORT, settings.BOUNCES_TLS = "127.0.0.1", server.port, False
        settings.BOUNCES_USER, settings.BOUNCES_PASSWORD = mailbox.USER, mailbox.PASSWORD
        settings.BOUNCES_MAILBOX = "INBOX"
        yield server


def test_the_mailbox_is_read_each_minute_and_marked_after_it_was_taken(imap: mailbox.Server) -> None:
    message = sent()
    imap.mails = {3: report(message, "failed", "5.1.1").replace(b"\n", b"\r\n"), 12: b"Subject: spam\r\n\r\nno"}
    tasks.tick()
    tasks.tick()
    assert state_of(message) == "bounced"
    assert imap.seen == {3, 12}
    assert InboundEvent.objects.count() == 2
    assert sum("FETCH" in command for command in imap.commands) == 2


def test_a_mail_that_could_not_be_taken_stays_unseen(imap: mailbox.Server) -> None:
    imap.mails = {1: b"Subject: one\r\n\r\n"}
    with pytest.raises(ZeroDivisionError):
        bounces.fetch(lambda content: 1 // 0)
    assert imap.seen == set()


def test_a_mailbox_that_lets_nobody_in_is_named_and_stops_nothing(
    imap: mailbox.Server, settings: Settings, caplog: pytest.LogCaptureFixture
) -> None:
    settings.BOUNCES_PASSWORD = "another"
    with pytest.raises(CommandError, match="wrong"):
        call_command("bounces", "--imap", stdout=StringIO())
    assert tasks.tick() == "0 accepted of 0"
    assert "The mailbox for bounces cannot be read: 127.0.0.1" in caplog.text


def test_the_command_reads_files_and_prints_a_row_each(tmp_path: Path) -> None:
    one, two = sent(number=1), sent(number=2)
    single, many, out = tmp_path / "one.eml", tmp_path / "two.mbox", StringIO()
    single.write_bytes(report(one, "failed", "5.1.1"))
    envelope = b"From MAILER-DAEMON Wed Nov 25 12:00:00 2026\n"
    many.write_bytes(envelope + report(two, "delivered", "2.0.0") + b"\n" + envelope + b"Subject: spam\n\nno\n")
    call_command("bounces", str(single), str(many), format="json", stdout=out)
    rows = json.loads(out.getvalue())
    assert [(row["report"], row["status"], row["key"]) for row in rows] == [
        ("failed", "5.1.1", key_of(one)), ("delivered", "2.0.0", key_of(two)), ("none", "", ""),
    ]  # fmt: skip
    with pytest.raises(CommandError, match="No such file"):
        call_command("bounces", str(tmp_path / "none"), stdout=StringIO())
    with pytest.raises(CommandError, match="--imap"):
        call_command("bounces", stdout=StringIO())
    with pytest.raises(CommandError, match="BOUNCES_HOST"):
        call_command("bounces", "--imap", stdout=StringIO())


def test_settings_of_the_mailbox_that_contradict_each_other_are_named(settings: Settings) -> None:
    assert checks.bounces(None) == []
    settings.BOUNCES_HOST, settings.BOUNCES_TLS = "imap.example.com", False
    assert [each.id for each in checks.bounces(None)] == ["restorer.E004", "restorer.W010"]
    settings.BOUNCES_HOST, settings.BOUNCES_USER = "", "bounces"
    assert [each.id for each in checks.bounces(None)] == ["restorer.W009"]
