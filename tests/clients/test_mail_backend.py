"""E-mail by another Django backend: Django's own in memory, and one that fails in every way a mail
service can."""

from collections.abc import Sequence
from types import SimpleNamespace
from typing import Any

import pytest
from django.core import mail
from django.core.mail.backends.base import BaseEmailBackend

from clients.messaging import outbox
from clients.messaging.models import Message
from clients.models import Business
from tests.outbox import queued, states

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("business")]
SERVICE = "tests.clients.test_mail_backend.Service"


class ServiceError(Exception):
    """As the HTTP errors of mail services: with the code of the answer, if there was one."""

    def __init__(self, code: int | None, words: str) -> None:
        super().__init__(words)
        self.status_code = code


class AnymailRecipientsRefused(Exception):  # noqa: N818 - the name by which it is known
    pass


class Service(BaseEmailBackend):
    """Takes a message, or does with it what `behaviour` says."""

    behaviour: Any = None
    taken: list[Any] = []

    def send_messages(self, email_messages: Sequence[Any]) -> int:
        if isinstance(self.behaviour, Exception):
            raise self.behaviour
        for message in email_messages:
            message.anymail_status = SimpleNamespace(
                status=self.behaviour or {"queued"}, message_id="svc-17"
            )
            self.taken.append(message)
        return len(email_messages)


@pytest.fixture
def service(settings: Any, monkeypatch: pytest.MonkeyPatch) -> type[Service]:
    settings.OUTBOX_BACKEND = SERVICE
    monkeypatch.setattr(Service, "behaviour", None)
    monkeypatch.setattr(Service, "taken", [])
    return Service


def test_a_message_goes_out_by_djangos_own_backend_with_the_headers_it_owes(settings: Any) -> None:
    """RFC 2369 and 8058 (unsubscribing), 3834 (by a machine), 5322 (Message-ID), read from Django's
    message."""
    settings.OUTBOX_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
    message = queued(
        1,
        html='<p>Your deck. <a href="{unsubscribe_url}">No more</a></p>',
        attachments=[
            ("offer.pdf", "application/pdf", b"%PDF-1.7"),
        ],
    )

    assert outbox.deliver().accepted == 1

    (sent,) = mail.outbox
    read = sent.message()
    assert read["Message-ID"] == message.message_id
    assert read["Auto-Submitted"] == "auto-generated"
    assert read["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    assert read["List-Unsubscribe"].startswith("<https://decks.example.com/u/")
    assert sent.to == ["client1@example.org"]
    assert sent.attachments[0][:2] == ("offer.pdf", b"%PDF-1.7")
    assert sent.alternatives[0][1] == "text/html"


def test_the_service_gets_our_key_and_its_number_is_kept(service: type[Service]) -> None:
    message = queued(1)

    outbox.deliver()

    message.refresh_from_db()
    assert (message.state, message.provider_id, message.reply) == ("accepted", "svc-17", "queued")
    assert service.taken[0].metadata == {"key": message.message_id.strip("<>").partition("@")[0]}


@pytest.mark.parametrize(
    ("behaviour", "state"),
    [
        ({"rejected"}, "failed"),
        ({"invalid"}, "failed"),
        (AnymailRecipientsRefused("all refused"), "failed"),
        (ServiceError(400, "bad address"), "failed"),
        (ServiceError(422, "bad address"), "failed"),
        (ServiceError(401, "who are you"), "queued"),
        (ServiceError(429, "slow down"), "queued"),
        (ServiceError(503, "not now"), "queued"),
        (ServiceError(408, "too slow"), "unconfirmed"),
        (ServiceError(500, "broken"), "unconfirmed"),
        (ServiceError(None, "connection reset"), "unconfirmed"),
        (TimeoutError("timed out"), "unconfirmed"),
        (ValueError("anything"), "unconfirmed"),
    ],
)
def test_only_what_is_known_to_be_refused_counts_as_refused(
    service: type[Service], behaviour: Any, state: str
) -> None:
    service.behaviour = behaviour
    queued(1)

    outbox.deliver()

    assert states() == {state: 1}


def test_nothing_is_handed_over_twice(service: type[Service]) -> None:
    service.behaviour = TimeoutError("timed out")
    queued(1)
    outbox.deliver()
    service.behaviour = None
    outbox.deliver()

    assert service.taken == []
    assert states() == {"unconfirmed": 1}


def test_a_backend_that_is_not_there_leaves_the_queue_as_it_is(settings: Any) -> None:
    settings.OUTBOX_BACKEND = "nowhere.to.be.Found"
    queued(1)

    tally = outbox.deliver()

    assert "nowhere" in tally.line_down[0]
    assert states() == {"queued": 1}


def test_a_name_cannot_start_another_header(service: type[Service]) -> None:
    Business.objects.update(name="Driftline\r\nBcc: all@example.org")
    message = Message.objects.get(pk=queued(1).pk)

    outbox.deliver()

    assert "\n" not in service.taken[0].from_email
    assert message.address in service.taken[0].to


@pytest.mark.parametrize(
    ("backend", "takes_metadata"),
    [("postmark", True), ("mailgun", True), ("mailersend", False), ("postal", False)],
)
def test_real_services_get_a_mail_in_their_form_with_our_key_if_they_take_one(
    settings: Any, monkeypatch: pytest.MonkeyPatch, backend: str, takes_metadata: bool
) -> None:
    """Django-anymail's own backends, as far as the post that would leave this machine."""
    base = pytest.importorskip(
        "anymail.backends.base_requests", reason="the extra `esp` is not installed"
    )
    names = ("API_KEY", "API_TOKEN", "SERVER_TOKEN")
    settings.ANYMAIL = {f"{backend.upper()}_{name}": "invented" for name in names} | {
        "MAILGUN_SENDER_DOMAIN": "example.com",
        "POSTAL_API_URL": "https://post.example.com/",
    }
    settings.OUTBOX_BACKEND = f"anymail.backends.{backend}.EmailBackend"
    posted: list[str] = []

    def post(self: Any, payload: Any, message: Any) -> None:
        posted.append(str(payload.get_request_params("https://api.example.com")))
        raise ServiceError(429, "slow down")

    monkeypatch.setattr(base.AnymailRequestsBackend, "post_to_esp", post)
    message = queued(1)

    outbox.deliver()

    assert states() == {"queued": 1}
    (words,) = posted
    assert "client1@example.org" in words
    assert "List-Unsubscribe-Post" in words
    assert (
        f"'{backend_key(message)}'" in words or f'"{backend_key(message)}"' in words
    ) == takes_metadata


def backend_key(message: Message) -> str:
    return message.message_id.strip("<>").partition("@")[0]
