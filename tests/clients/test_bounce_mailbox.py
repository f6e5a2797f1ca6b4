"""Where bounces come from: the mailbox, read by IMAP from a small server over a real socket, and
files."""

import json
from collections.abc import Iterator
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.test import Client as Browser
from pytest_django import Settings

from clients.messaging import incoming
from clients.messaging.models import InboundEvent
from reminders import tasks
from restorer import checks
from restorer.local.processes import free_port
from tests import mailbox
from tests.bounces import key_of, report, sent, state_of
from tests.mailbox import running_mailbox

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("business")]


@pytest.fixture
def imap(settings: Settings) -> Iterator[mailbox.Server]:
    with running_mailbox() as server:
        settings.BOUNCES_HOST = "127.0.0.1"
        settings.BOUNCES_PORT = server.port
        settings.BOUNCES_TLS = False
        settings.BOUNCES_USER = mailbox.USER
        settings.BOUNCES_PASSWORD = mailbox.PASSWORD
        settings.BOUNCES_MAILBOX = "INBOX"
        yield server


def test_the_mailbox_is_read_each_minute_and_marked_after_it_was_taken(
    imap: mailbox.Server,
) -> None:
    message = sent()
    imap.mails = {
        3: report(message, "failed", "5.1.1").replace(b"\n", b"\r\n"),
        12: b"Subject: spam\r\n\r\nno",
    }
    tasks.tick()
    tasks.tick()
    assert state_of(message) == "bounced"
    assert imap.seen == {3, 12}
    assert InboundEvent.objects.count() == 2
    assert sum("FETCH" in command for command in imap.commands) == 2


def test_a_mail_that_could_not_be_taken_stays_unseen(imap: mailbox.Server) -> None:
    imap.mails = {1: b"Subject: one\r\n\r\n"}
    with pytest.raises(ZeroDivisionError):
        incoming.fetch_unseen_mails(lambda content: 1 // 0)
    assert imap.seen == set()


def test_a_mailbox_that_lets_nobody_in_is_named_and_stops_nothing(
    imap: mailbox.Server, settings: Settings, caplog: pytest.LogCaptureFixture, as_owner: Browser
) -> None:
    settings.BOUNCES_PASSWORD = "another"
    with pytest.raises(CommandError, match="wrong"):
        call_command("bounces", "--imap", stdout=StringIO())
    assert tasks.tick() == "0 accepted of 0"
    assert "mail that comes back cannot be read" in as_owner.get("/outbox/").content.decode()

    settings.BOUNCES_PASSWORD = mailbox.PASSWORD
    tasks.tick()
    assert "cannot be read" not in as_owner.get("/outbox/").content.decode()

    settings.BOUNCES_PORT = free_port(2950)
    with pytest.raises(CommandError, match="refused"):
        call_command("bounces", "--imap", stdout=StringIO())
    assert "The mailbox for bounces cannot be read: 127.0.0.1" in caplog.text


def test_the_command_reads_files_and_prints_a_row_each(tmp_path: Path) -> None:
    one = sent(number=1)
    two = sent(number=2)
    single = tmp_path / "one.eml"
    many = tmp_path / "two.mbox"
    out = StringIO()
    single.write_bytes(report(one, "failed", "5.1.1"))
    envelope = b"From MAILER-DAEMON Wed Nov 25 12:00:00 2026\n"
    many.write_bytes(
        envelope + report(two, "delivered", "2.0.0") + b"\n" + envelope + b"Subject: spam\n\nno\n"
    )
    call_command("bounces", str(single), str(many), format="json", stdout=out)
    rows = json.loads(out.getvalue())
    assert [(row["report"], row["status"], row["key"]) for row in rows] == [
        ("failed", "5.1.1", key_of(one)),
        ("delivered", "2.0.0", key_of(two)),
        ("none", "", ""),
    ]
    with pytest.raises(CommandError, match="No such file"):
        call_command("bounces", str(tmp_path / "none"), stdout=StringIO())
    with pytest.raises(CommandError, match="--imap"):
        call_command("bounces", stdout=StringIO())
    with pytest.raises(CommandError, match="BOUNCES_HOST"):
        call_command("bounces", "--imap", stdout=StringIO())


def test_settings_of_the_mailbox_that_contradict_each_other_are_named(settings: Settings) -> None:
    assert checks.check_bounce_mailbox(None) == []
    settings.BOUNCES_HOST = "imap.example.com"
    settings.BOUNCES_TLS = False
    assert [each.id for each in checks.check_bounce_mailbox(None)] == [
        "restorer.E004",
        "restorer.W010",
    ]
    settings.BOUNCES_HOST = ""
    settings.BOUNCES_USER = "bounces"
    assert [each.id for each in checks.check_bounce_mailbox(None)] == ["restorer.W009"]
