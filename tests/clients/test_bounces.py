"""Mails that come back: what they report, which message they are about, and what follows once and
never back.

The delivery reports have the form of RFC 3464, section 4 and appendix E (its examples, with our
names and addresses); the automatic answer that of RFC 3834. The bounce without a standard is one
that qmail's QSBMF describes (from memory).
"""

from datetime import timedelta

import pytest
from django.utils import timezone

from clients.messaging import incoming, outbox
from clients.messaging.incoming import returned_mail
from clients.messaging.models import InboundEvent, Message, ToDo
from clients.messaging.outbox import decisions
from clients.models import ContactPoint, User
from reminders import tasks
from tests.bounces import global_report, key_of, report, sent, state_of
from tests.outbox import queued

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("business")]

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


def receive(content: bytes) -> str:
    return incoming.receive_returned_mail(content=content, now=timezone.now())["words"]


@pytest.mark.parametrize(
    ("before", "action", "status", "after"),
    [
        ("accepted", "failed", "5.1.1", "bounced"),
        ("unconfirmed", "failed", "5.1.1", "bounced"),
        ("accepted", "failed (gone)", "5.2.1 (disabled)", "bounced"),
        ("accepted", "failed", "4.4.7", "bounced"),
        ("accepted", "delayed", "4.4.1", "accepted"),
        ("unconfirmed", "delayed", "4.4.1", "accepted"),
        ("accepted", "delivered", "2.1.5", "delivered"),
        ("unconfirmed", "delivered", "2.1.5", "delivered"),
        ("bounced", "delivered", "2.1.5", "delivered"),
        ("unconfirmed", "relayed", "2.1.9", "accepted"),
        ("delivered", "failed", "5.1.1", "delivered"),  # never back
        ("queued", "delayed", "4.4.1", "accepted"),
        ("queued", "failed", "5.7.1", "bounced"),  # it was taken after all
        ("cancelled", "failed", "5.1.1", "cancelled"),
        ("accepted", "dreamt", "5.1.1", "accepted"),
    ],
)
def test_a_report_moves_a_message_only_towards_what_is_known_better(
    before: str, action: str, status: str, after: str
) -> None:
    message = sent(before)
    receive(report(message, action, status))
    assert state_of(message) == after


def test_a_wrong_address_is_suspended_once_with_a_matter_for_the_owner() -> None:
    message = sent()
    waiting = queued(7, address="client7@example.org")
    Message.objects.filter(pk=waiting.pk).update(
        client=message.client, address="Client1@example.org"
    )
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
    assert (event.source, event.message, event.client, event.outcome) == (
        "bounce",
        message,
        message.client,
        first,
    )
    assert "Action: failed" in event.raw
    assert event.processed_at


@pytest.mark.parametrize("encoding", ["8bit", "base64", "quoted-printable"])
def test_a_report_about_an_address_beyond_ascii_is_read(encoding: str) -> None:
    message = sent()
    assert receive(global_report(message, encoding)) == 'It came back. 5.1.1 unknown user: "zoë"'
    assert state_of(message) == "bounced"


@pytest.mark.parametrize("status", ["4.4.7", "5.2.2", "5.3.4", "5.6.0", "5.7.1", "5.7.515"])
def test_what_is_no_fault_of_the_address_suspends_nothing_and_is_pointed_out_once(
    status: str,
) -> None:
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
    message = sent(number=1)
    doubtful = sent("unconfirmed", 2)
    for each in (message, doubtful):
        receive(AWAY.format(message_id=each.message_id).encode())
    assert (state_of(message), state_of(doubtful)) == ("accepted", "accepted")
    assert not ToDo.objects.exists()
    assert message.events.count() == 1


def test_what_a_person_answers_is_put_before_a_person() -> None:
    message = sent()
    receive(
        AWAY.format(message_id=message.message_id)
        .replace("Auto-Submitted: auto-replied\n", "")
        .encode()
    )
    assert ToDo.objects.get().kind == "answer"
    assert state_of(message) == "accepted"


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"\xff\x00\x80",
        b"From: a\nContent-Type: multipart/report\n\nnothing",
        b"Subject: cheap pills\n\nBuy now",
    ],
)
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
    failed = report(message, "failed", "5.1.1")
    arrived = report(message, "delivered", "2.1.5")
    decisions.resend_message(message=message, now=timezone.now(), by=owner)
    receive(failed)
    assert state_of(message) == "queued"
    assert not ToDo.objects.exists()
    receive(arrived)
    assert state_of(message) == "delivered"
    assert outbox.deliver().total == 0


def test_what_was_kept_and_not_processed_is_finished_later(monkeypatch: pytest.MonkeyPatch) -> None:
    message = sent()
    with monkeypatch.context() as patch:
        patch.setattr(
            "clients.messaging.incoming.mail_reports.message_by_key", lambda channel, key: 1 // 0
        )  # stands for a fall right then
        kept = receive(report(message, "failed", "5.1.1"))
    assert kept == "It was kept and is looked at again."
    assert state_of(message) == "accepted"
    assert InboundEvent.objects.get().processed_at is None

    InboundEvent.objects.update(received_at=timezone.now() - timedelta(minutes=5))
    tasks.tick()

    assert state_of(message) == "bounced"


def test_status_codes_are_not_taken_from_addresses_of_the_internet() -> None:
    assert returned_mail.STATUS_CODE_PATTERN.search("blocked 5.9.1.2, see below") is None
    assert (
        returned_mail.STATUS_CODE_PATTERN.search("550 5.1.1 <x@example.org>: unknown")[0] == "5.1.1"
    )
