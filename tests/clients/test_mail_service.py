"""Reports of a mail service, posted through django-anymail's own views into the database.

The shapes of the payloads are those of django-anymail's tests (tests/test_postmark_webhooks.py and
tests/test_mailgun_webhooks.py; BSD licence), which say of the latter that they were received so;
names, addresses and numbers are ours.
"""

import base64
import hashlib
import hmac
import json
import logging
from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client as Browser
from django.utils import timezone
from pytest_django import Settings

from clients.messaging import incoming
from clients.messaging.channels.mail_backend import metadata_key
from clients.messaging.incoming import mail_events, mail_service
from clients.messaging.models import Consent, InboundEvent, Message, Suppression, ToDo
from clients.messaging.outbox import decisions
from clients.messaging.views.mail_service import receive_mail_event
from clients.models import ContactPoint, User
from tests.bounces import sent, state_of
from tests.outbox import queued

signals = pytest.importorskip(
    "anymail.signals", reason="the extra `esp` (django-anymail) is not installed"
)
pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("business")]
SECRET = "reports:a-password-of-these-tests"
SIGNING = "a-signing-key-of-these-tests"
NUMBER = "2f6e0c1a-0000-4000-8000-902555010100"


@pytest.fixture(autouse=True)
def service(settings: Settings) -> Iterator[None]:
    """As in production: connected once, the password in the environment."""
    settings.OUTBOX_BACKEND = "anymail.backends.postmark.EmailBackend"
    settings.ANYMAIL = {"WEBHOOK_SECRET": SECRET}
    mail_service.connect_tracking_signal(receive_mail_event)
    yield
    signals.tracking.disconnect(dispatch_uid="clients.messaging.incoming.mail_service")


def told(body: Any, *, secret: str = SECRET, to: str = "postmark") -> Any:
    basic = f"Basic {base64.b64encode(secret.encode()).decode()}"
    headers = {"Authorization": basic} if secret else {}
    browser = Browser(enforce_csrf_checks=True)
    return browser.post(f"/hooks/mail/{to}", body, content_type="application/json", headers=headers)


def report(message: Message | None, kind: str, **more: Any) -> dict[str, Any]:
    """As the service posts it, with our key where there is a message."""
    metadata = {"key": metadata_key(message)} if message else {}
    return {
        "RecordType": kind,
        "ServerID": 23,
        "MessageID": NUMBER,
        "Metadata": metadata,
        "Email": "client1@example.org",
        "Recipient": "client1@example.org",
        "From": "office@example.com",
        "Subject": "Your deck is due this spring",
    } | more


def bounce(
    message: Message | None, kind: str, details: str, number: int = 901542550
) -> dict[str, Any]:
    return report(
        message,
        "Bounce",
        ID=number,
        Type=kind,
        TypeCode=1,
        Name=kind,
        Details=details,
        Description="The server was unable to deliver your message.",
        BouncedAt="2026-11-25T16:28:50.3963933-04:00",
    )


DELIVERY = {"DeliveredAt": "2026-11-25T13:28:10.2735393-04:00", "Details": "smtp;250 2.0.0 OK"}
NO_SUCH = "smtp;550 5.1.1 The email account that you tried to reach does not exist."


def test_delivered_is_taken_and_a_replay_changes_nothing() -> None:
    message = sent("unconfirmed")
    other = sent(number=2)
    body = report(message, "Delivery", **DELIVERY)

    answers = [told(body).status_code for _ in range(3)]

    assert answers == [200, 200, 200]
    assert (state_of(message), state_of(other)) == ("delivered", "accepted")
    event = InboundEvent.objects.get()
    assert (event.source, event.message, event.client) == ("mail postmark", message, message.client)
    assert json.loads(json.loads(event.raw)["said"]) == body  # as it came
    assert message.events.filter(state="delivered").count() == 1
    assert "250 2.0.0 OK" in event.outcome


def test_an_address_that_bounces_for_good_is_suspended_with_a_to_do() -> None:
    message = sent()
    waiting = queued(7, address="client7@example.org")
    Message.objects.filter(pk=waiting.pk).update(
        client=message.client, address="Client1@example.org"
    )

    for _ in range(2):
        assert told(bounce(message, "HardBounce", NO_SUCH)).status_code == 200

    assert (state_of(message), state_of(waiting)) == ("bounced", "cancelled")
    point = ContactPoint.objects.get(value="client1@example.org")
    assert "5.1.1" in point.suspended_why
    assert (ToDo.objects.get().client, InboundEvent.objects.get().event_id) == (
        message.client,
        "901542550",
    )


@pytest.mark.parametrize(
    ("kind", "details", "state", "suspended"),
    [
        ("HardBounce", "", "bounced", 1),
        ("HardBounce", "smtp;550 5.7.1 refused by policy", "bounced", 0),
        ("SoftBounce", "", "bounced", 0),
        ("Transient", "smtp;451 4.4.1 try later", "accepted", 0),
        ("BadEmailAddress", "", "failed", 1),
        ("Blocked", "", "failed", 0),
        ("SMTPApiError", "", "failed", 0),
        ("AutoResponder", "", "accepted", 0),
        ("Unknown", "", "accepted", 0),
    ],
)
def test_only_a_fault_of_the_address_suspends_it(
    kind: str, details: str, state: str, suspended: int
) -> None:
    message = sent()

    told(bounce(message, kind, details))

    assert state_of(message) == state
    assert ContactPoint.objects.exclude(suspended_at=None).count() == suspended
    assert ToDo.objects.count() == (state != "accepted")
    assert not Suppression.objects.exists()


def test_late_is_a_note_and_shows_that_it_did_go_out() -> None:
    message = sent()
    doubtful = sent("unconfirmed", 2)
    for number, each in enumerate((message, doubtful)):
        told(bounce(each, "Transient", "smtp;451 4.4.1 connection timed out", number))

    assert (state_of(message), state_of(doubtful)) == ("accepted", "accepted")
    assert "4.4.1 connection timed out" in message.events.order_by("-id")[0].note
    assert not ToDo.objects.exists()


@pytest.mark.parametrize(
    ("body", "why", "state"),
    [
        (
            {"RecordType": "SpamComplaint", "ID": 5, "Type": "SpamComplaint", "Details": "abuse"},
            "unwanted",
            "delivered",
        ),
        (
            {
                "RecordType": "SubscriptionChange",
                "SuppressSending": True,
                "SuppressionReason": "ManualSuppression",
                "Origin": "Recipient",
                "ChangedAt": "2026-11-25T17:17:32Z",
            },
            "send no more",
            "accepted",
        ),
    ],
)
def test_a_complaint_and_an_unsubscription_are_an_opt_out_in_the_same_transaction(
    body: dict[str, Any], why: str, state: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    message = sent("unconfirmed")
    waiting = queued(2, client=message.client, address=message.address)
    with monkeypatch.context() as patch:
        patch.setattr(
            "clients.messaging.incoming.mail_reports.apply_bounce_to_message",
            lambda *given: 1 // 0,
        )  # stands for a fall right after it
        answer = told(report(message, **{"kind": ""}) | body)
    assert answer.status_code == 200  # it is kept: nothing is gained by posting it again
    assert (Suppression.objects.count(), state_of(waiting)) == (0, "queued")
    assert InboundEvent.objects.get().processed_at is None  # kept, to be finished

    InboundEvent.objects.update(received_at=timezone.now() - timedelta(minutes=5))
    assert (
        incoming.finish_events(now=timezone.now()),
        incoming.finish_events(now=timezone.now()),
    ) == (
        1,
        0,
    )
    told(report(message, **{"kind": ""}) | body)

    newest = Consent.objects.filter(client=message.client)[0]
    assert (newest.is_given, why in newest.wording, "Report" in newest.evidence) == (
        False,
        True,
        True,
    )
    assert (Suppression.objects.count(), state_of(waiting), state_of(message)) == (
        1,
        "cancelled",
        state,
    )


def test_a_state_never_goes_back_in_whatever_order_reports_come() -> None:
    message = sent()
    for body in (
        report(message, "Delivery", **DELIVERY),
        bounce(message, "SoftBounce", "", 1),
        bounce(message, "Transient", "", 2),
        bounce(message, "Blocked", "", 3),
    ):
        told(body)

    assert state_of(message) == "delivered"


def test_the_services_own_number_matches_where_it_hands_no_key_back() -> None:
    """A report can be quicker than our writing the number down: then it is looked at once more."""
    message = sent()
    body = report(None, "Delivery", **DELIVERY)
    told(body)
    assert state_of(message) == "accepted"
    assert incoming.finish_events(now=timezone.now()) == 0

    Message.objects.filter(pk=message.pk).update(provider_id=NUMBER)
    assert incoming.finish_events(now=timezone.now() + incoming.intake.FINISH_EVENTS_AFTER * 2) == 1

    assert state_of(message) == "delivered"


def test_what_the_service_sent_for_others_is_not_kept() -> None:
    told(report(None, "Delivery", Metadata={"key": "f" * 32}, **DELIVERY))
    told(report(None, "Open", FirstOpen=True, ReceivedAt="2026-11-25T16:21:41Z"))

    event = InboundEvent.objects.get()  # and nothing at all of who opened what
    assert (event.raw, event.outcome, event.message) == ("", mail_events.MAIL_EVENT_NOT_OURS, None)


def test_of_an_earlier_sending_only_an_arrival_counts(owner: User) -> None:
    message = sent("unconfirmed")
    lost = bounce(message, "HardBounce", NO_SUCH)
    assert decisions.resend_message(message=message, now=timezone.now(), by=owner)

    told(lost)

    assert (state_of(message), ToDo.objects.count()) == ("queued", 0)


def signed(
    message: Message, event: str, token: str, key: str = SIGNING, **more: Any
) -> dict[str, Any]:
    """Proved by an HMAC-SHA256 of time and token (RFC 2104);
    the number is the Message-ID without its brackets."""
    stamp = "1795600000"
    signature = hmac.new(key.encode(), f"{stamp}{token}".encode(), hashlib.sha256).hexdigest()
    data = {
        "event": event,
        "timestamp": 1795600000.153125,
        "recipient": message.address,
        "user-variables": {},
        "message": {
            "headers": {"message-id": message.message_id.strip("<>"), "to": message.address}
        },
    }
    return {
        "signature": {"timestamp": stamp, "token": token, "signature": signature},
        "event-data": data | more,
    }


def test_a_signed_report_is_told_from_a_forged_one(
    settings: Settings, caplog: pytest.LogCaptureFixture
) -> None:
    settings.OUTBOX_BACKEND = "anymail.backends.mailgun.EmailBackend"
    settings.ANYMAIL = {"MAILGUN_WEBHOOK_SIGNING_KEY": SIGNING}
    message = sent()
    forged = [
        signed(message, "delivered", "t1", key="guessed"),
        {"event-data": {"event": "delivered"}},
        [],
        "nothing",
    ]

    with caplog.at_level(logging.WARNING, "clients.messaging.incoming"):
        assert [told(body, secret="", to="mailgun").status_code for body in forged] == [403] * 4
    assert (state_of(message), InboundEvent.objects.count()) == ("accepted", 0)
    assert (
        caplog.text.count(
            "Refused a mail service's report: The signature or password is missing or wrong."
        )
        == 4
    )

    failed = {
        "severity": "permanent",
        "reason": "bounce",
        "delivery-status": {"code": 550, "message": NO_SUCH},
    }
    assert (
        told(signed(message, "failed", "t2", **failed), secret="", to="mailgun").status_code == 200
    )
    assert (
        told(signed(message, "delivered", "t2"), secret="", to="mailgun").status_code == 200
    )  # its token is used up
    assert (state_of(message), InboundEvent.objects.get().event_id) == ("bounced", "t2")


@pytest.mark.parametrize("secret", ["", "reports:guessed", "reports", "é:ü"])
def test_a_wrong_password_is_refused_with_a_reason_and_logged(
    secret: str, caplog: pytest.LogCaptureFixture
) -> None:
    message = sent()
    with caplog.at_level(logging.WARNING, "clients.messaging.incoming"):
        answer = told(report(message, "Delivery", **DELIVERY), secret=secret)

    assert (answer.status_code, b"password is missing or wrong" in answer.content) == (403, True)
    assert "Refused a mail service's report" in caplog.text
    assert SECRET not in caplog.text
    assert (state_of(message), InboundEvent.objects.count()) == ("accepted", 0)


def test_what_nothing_proves_is_refused_whatever_it_says(
    settings: Settings, caplog: pytest.LogCaptureFixture
) -> None:
    settings.ANYMAIL = {}
    with caplog.at_level(logging.WARNING, "clients.messaging.incoming"):
        answers = [
            told(report(sent(), "Delivery", **DELIVERY), to=name)
            for name in ("postmark", "mailgun")
        ]

    assert [answer.status_code for answer in answers] == [403, 403]
    assert b"ANYMAIL_WEBHOOK_SECRET" in answers[0].content
    assert caplog.text.count("Nothing proves who posts here") == 2


def test_other_addresses_methods_and_bodies_are_refused(settings: Settings) -> None:
    assert [
        told(body).status_code
        for body in ("", "[]", "no JSON", '{"RecordType": "Inbound"}', "[" * 60_000)
    ] == [
        400,
        400,
        400,
        400,
        400,
    ]
    assert told({}, to="nobody").status_code == 404
    assert (
        Browser().get("/hooks/mail/postmark").status_code,
        Browser().head("/hooks/mail/postmark").status_code,
    ) == (
        405,
        200,
    )
    settings.DATA_UPLOAD_MAX_MEMORY_SIZE = 10
    assert told(report(None, "Delivery")).status_code == 413
    settings.OUTBOX_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    assert told({}).status_code == 404
    assert not InboundEvent.objects.exists()
