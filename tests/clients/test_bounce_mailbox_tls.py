"""The mailbox behind TLS (RFC 8314) with certificates made here;
each trouble is told, and no mail is lost by it."""

import shutil
from collections.abc import Iterator
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.test import Client as Browser
from pytest_django import Settings

from clients.messaging.incoming import mailbox as reading
from reminders import tasks
from tests import mailbox
from tests.bounces import report, sent, state_of
from tests.mailbox import make_certificate, running_mailbox

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.usefixtures("business"),
    pytest.mark.skipif(not shutil.which("openssl"), reason="no openssl to make certificates with"),
]
HERE = "IP:127.0.0.1"
ELSEWHERE = "DNS:imap.example.com"


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_certificate(tmp_path_factory.mktemp("tls") / "good.pem", HERE)


@pytest.fixture
def imap(
    settings: Settings, good: Path, request: pytest.FixtureRequest
) -> Iterator[mailbox.Server]:
    """Served with the certificate that a test asks for, by default the good one, and trusted."""
    certificate = request.getfixturevalue(getattr(request, "param", "good"))
    with running_mailbox(certificate) as server:
        settings.BOUNCES_HOST = "127.0.0.1"
        settings.BOUNCES_PORT = server.port
        settings.BOUNCES_TLS = True
        settings.BOUNCES_USER = mailbox.USER
        settings.BOUNCES_PASSWORD = mailbox.PASSWORD
        settings.BOUNCES_MAILBOX = "INBOX"
        settings.BOUNCES_CA = str(certificate)
        yield server


@pytest.fixture(scope="module")
def of_another_name(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_certificate(tmp_path_factory.mktemp("tls") / "name.pem", ELSEWHERE)


@pytest.fixture(scope="module")
def run_out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_certificate(tmp_path_factory.mktemp("tls") / "old.pem", HERE, days=0)


def told_to(owner: Browser) -> str:
    """What a tick says of it on the two pages on which the owner looks."""
    tasks.tick()
    pages = [owner.get(path).content.decode() for path in ("/outbox/", "/settings/coming-back/")]
    assert all("cannot be read" in page.lower() for page in pages)
    return pages[0]


def test_a_good_certificate_is_accepted_from_whom_we_are_told_to_trust(
    imap: mailbox.Server, as_owner: Browser
) -> None:
    message = sent()
    imap.mails = {1: report(message, "failed", "5.1.1")}

    tasks.tick()

    assert (state_of(message), imap.seen) == ("bounced", {1})
    assert "cannot be read" not in as_owner.get("/outbox/").content.decode()


@pytest.mark.parametrize(
    ("imap", "trusted", "words"),
    [
        ("good", False, "self-signed certificate"),
        ("of_another_name", True, "IP address mismatch"),
        ("run_out", True, "certificate has expired"),
    ],
    indirect=["imap"],
)
def test_a_bad_certificate_is_refused_before_the_password_leaves(
    imap: mailbox.Server, settings: Settings, as_owner: Browser, trusted: bool, words: str
) -> None:
    settings.BOUNCES_CA = settings.BOUNCES_CA if trusted else ""
    message = sent()
    imap.mails = {1: report(message, "failed", "5.1.1")}

    with pytest.raises(CommandError, match=f"{words}.*no password was sent.*BOUNCES_CA"):
        call_command("bounces", "--imap", stdout=StringIO())
    assert words in told_to(as_owner)

    assert (imap.commands, imap.seen, state_of(message)) == ([], set(), "accepted")


def test_a_server_that_hangs_up_in_mid_mail_loses_nothing(
    imap: mailbox.Server, as_owner: Browser
) -> None:
    first, second, third = (sent(number=number) for number in (1, 2, 3))
    imap.mails = {
        n: report(each, "failed", "5.1.1") for n, each in enumerate((first, second, third), 1)
    }
    imap.broken_off = {2}

    assert "it hung up in the middle" in told_to(as_owner)
    assert (imap.seen, state_of(first), state_of(second)) == ({1}, "bounced", "accepted")

    told_to(as_owner)
    assert imap.seen == {1, 3}  # what breaks it off again does not keep the others from being read

    imap.broken_off = set()
    tasks.tick()
    assert imap.seen == {1, 2, 3}
    assert {state_of(each) for each in (first, second, third)} == {"bounced"}
    assert "cannot be read" not in as_owner.get("/outbox/").content.decode()


def test_a_refused_log_in_is_told_and_loses_nothing(
    imap: mailbox.Server, settings: Settings, as_owner: Browser
) -> None:
    settings.BOUNCES_PASSWORD = "another"
    imap.mails = {1: report(sent(), "failed", "5.1.1")}

    assert "AUTHENTICATIONFAILED" in told_to(as_owner)

    assert imap.seen == set()


@pytest.mark.parametrize("path", ["/nowhere/ca.pem", "empty"])
def test_a_file_of_certificates_that_is_none_is_named(
    imap: mailbox.Server, settings: Settings, as_owner: Browser, path: str, tmp_path: Path
) -> None:
    (tmp_path / "empty").write_text("no certificate")
    settings.BOUNCES_CA = str(tmp_path / path)

    assert "BOUNCES_CA" in told_to(as_owner)


def test_a_server_that_speaks_no_tls_or_nothing_at_all_is_named(
    settings: Settings, as_owner: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(reading, "TIMEOUT_SECONDS", 0.3)
    with running_mailbox() as server:  # which waits for a command, as we for its handshake
        settings.BOUNCES_HOST = "127.0.0.1"
        settings.BOUNCES_PORT = server.port
        settings.BOUNCES_TLS = True
        settings.BOUNCES_USER = mailbox.USER
        settings.BOUNCES_PASSWORD = mailbox.PASSWORD

        assert "127.0.0.1" in told_to(as_owner)
        assert mailbox.PASSWORD not in "".join(server.commands)
