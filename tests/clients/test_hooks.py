"""Hooks: genuine or refused, kept raw first, processed once, and states that never go back."""

import base64
import hashlib
import hmac
import json
import logging
from typing import Any

import pytest
from django.test import Client as Browser
from django.utils import timezone

from clients.messaging import incoming
from clients.messaging.incoming import status_reports
from clients.messaging.models import InboundEvent, Message, Suppression, TextGateway
from clients.messaging.models.gateway import secret_hash
from clients.messaging.outbox import decisions
from clients.models import User
from tests.gateway import gateway_row, queued_text

pytestmark = pytest.mark.usefixtures("business")
SECRET = "hook-secret-of-these-tests"


@pytest.fixture
def row(business: object) -> TextGateway:
    return gateway_row("http://127.0.0.1:1/messages", hook_hash=secret_hash(SECRET))


@pytest.fixture
def gateway() -> Browser:
    """No session, no cookie, and the forgery check switched on as in production."""
    return Browser(enforce_csrf_checks=True)


def told(browser: Browser, hook: str, body: Any, *, secret: str = SECRET, **extra: Any) -> Any:
    return browser.post(
        f"/hooks/text/{secret}/{hook}", body, content_type="application/json", **extra
    )


def sent(state: str = "accepted", number: int = 1) -> Message:
    message = queued_text(number)
    accepted = timezone.now() if state in {"accepted", "delivered"} else None
    Message.objects.filter(pk=message.pk).update(
        state=state, accepted_at=accepted, provider_id=f"gw-{number}"
    )
    message.refresh_from_db()
    return message


def report_of(message: Message, status: str, **more: str) -> dict[str, str]:
    reference = message.message_id.strip("<>").rpartition("@")[0]
    return {"event_id": f"{status}-{message.pk}", "reference": reference, "status": status, **more}


@pytest.mark.parametrize(
    ("before", "status", "after"),
    [
        ("accepted", "delivered", "delivered"),
        ("accepted", "failed", "bounced"),
        ("accepted", "sent", "accepted"),
        ("unconfirmed", "sent", "accepted"),
        ("unconfirmed", "delivered", "delivered"),
        ("unconfirmed", "failed", "bounced"),
        ("bounced", "delivered", "delivered"),
        ("delivered", "sent", "delivered"),
        ("delivered", "failed", "delivered"),  # never back
        ("queued", "sent", "accepted"),
        ("queued", "delivered", "delivered"),  # put off, and taken after all
        ("queued", "failed", "queued"),
        ("accepted", "a word of theirs", "accepted"),
    ],
)
def test_a_report_moves_a_message_only_towards_what_is_known_better(
    gateway: Browser, row: TextGateway, before: str, status: str, after: str
) -> None:
    message = sent(before)

    answer = told(gateway, "status", report_of(message, status))

    message.refresh_from_db()
    assert (answer.status_code, message.state) == (200, after)
    assert (message.accepted_at is not None) == (
        before == "delivered" or after in {"accepted", "delivered"} or before == "accepted"
    )
    event = InboundEvent.objects.get()
    assert (event.source, event.message, event.client) == ("text status", message, message.client)
    assert json.loads(event.raw)["status"] == status


def test_reports_out_of_order_and_twice_leave_it_delivered(
    gateway: Browser, row: TextGateway
) -> None:
    message = sent()
    for status in ("delivered", "sent", "delivered", "sent", "failed"):
        assert told(gateway, "status", report_of(message, status)).status_code == 200

    message.refresh_from_db()
    assert message.state == "delivered"
    assert [event.state for event in message.events.order_by("id")] == ["queued", "delivered"]
    assert InboundEvent.objects.count() == 3


def test_a_report_may_use_the_gateways_own_number_and_form_fields(
    gateway: Browser, row: TextGateway
) -> None:
    TextGateway.objects.update(hook_fields={"id": "Sid", "status": "Status", "event_id": ""})
    message = sent()

    gateway.post(
        f"/hooks/text/{SECRET}/status", {"Sid": "gw-1", "Status": "delivered"}
    )  # multipart is no form
    gateway.post(
        f"/hooks/text/{SECRET}/status",
        "Sid=gw-1&Status=delivered",
        content_type="application/x-www-form-urlencoded",
    )

    message.refresh_from_db()
    assert message.state == "delivered"


def test_news_of_an_earlier_sending_keeps_the_later_one_from_going_out(
    gateway: Browser, row: TextGateway, owner: User
) -> None:
    message = sent("unconfirmed")
    first = report_of(message, "delivered")
    lost = report_of(message, "failed")
    assert decisions.resend_message(message=message, now=timezone.now(), by=owner)

    told(gateway, "status", lost)
    message.refresh_from_db()
    assert message.state == "queued"  # the first one failed, the second may go
    told(gateway, "status", first)

    message.refresh_from_db()
    assert message.state == "delivered"


def test_a_report_that_the_number_opted_out_is_a_stop(gateway: Browser, row: TextGateway) -> None:
    message = sent()
    waiting = None
    waiting = queued_text(2, client=message.client, address=message.address)

    told(gateway, "status", report_of(message, "failed", error="opted_out"))

    message.refresh_from_db()
    waiting.refresh_from_db()
    assert (message.state, waiting.state, Suppression.objects.count()) == (
        "bounced",
        "cancelled",
        1,
    )


@pytest.mark.parametrize("hook", ["status", "inbound"])
def test_an_unknown_hook_is_refused_and_logged(
    gateway: Browser, row: TextGateway, hook: str, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.WARNING, "clients.messaging.incoming"):
        answer = told(gateway, hook, {"from": "+19025550101", "text": "STOP"}, secret="guessed")

    assert (answer.status_code, answer.content) == (404, b"There is no hook at this address.\n")
    assert "There is no hook" in caplog.text
    assert (InboundEvent.objects.count(), Suppression.objects.count()) == (0, 0)


def test_only_the_hash_of_the_secret_is_kept(gateway: Browser, row: TextGateway) -> None:
    assert row.hook_hash == hashlib.sha256(SECRET.encode()).hexdigest()
    TextGateway.objects.update(hook_hash="")
    assert told(gateway, "status", {"a": "b"}, secret="").status_code == 404
    assert told(gateway, "status", {"a": "b"}).status_code == 404


# RFC 4231, 4.3 (test case 2): HMAC-SHA-256 under the key "Jefe" of this text
JEFE = b"what do ya want for nothing?"
JEFE_HEX = "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"


def test_a_signature_is_checked_against_the_body(
    gateway: Browser, row: TextGateway, caplog: pytest.LogCaptureFixture
) -> None:
    TextGateway.objects.update(hook_key="Jefe", hook_header="X-Signature")
    message = sent()
    body = json.dumps(report_of(message, "delivered"))
    right = hmac.new(b"Jefe", body.encode(), "sha256")

    for forged in ("", "0" * 64, JEFE_HEX):
        answer = told(gateway, "status", body, headers={"X-Signature": forged})
        assert (answer.status_code, InboundEvent.objects.count()) == (403, 0)
    assert "signature is missing or wrong" in caplog.text
    assert SECRET not in caplog.text
    # the worked example is no report of ours, but its signature passes
    answer = told(gateway, "status", JEFE, headers={"X-Signature": JEFE_HEX})
    assert answer.status_code == 400
    for value in (f"sha256={right.hexdigest()}", base64.b64encode(right.digest()).decode()):
        assert told(gateway, "status", body, headers={"X-Signature": value}).status_code == 200
    message.refresh_from_db()
    assert message.state == "delivered"


@pytest.mark.parametrize(
    ("body", "status"),
    [
        (b"", 400),
        (b"[]", 400),
        (b"\xff\xfe", 400),
        (b'"text"', 400),
        (b"x" * 70_000, 400),
        (b"[" * 60_000, 400),
    ],
)
def test_nonsense_is_refused_with_a_reason(
    gateway: Browser, row: TextGateway, body: bytes, status: int
) -> None:
    answer = told(gateway, "inbound", body)

    assert (answer.status_code, InboundEvent.objects.count()) == (status, 0)
    assert b"JSON or form fields" in answer.content


def test_it_takes_a_post_and_nothing_else(gateway: Browser, row: TextGateway) -> None:
    for hook in ("status", "inbound"):
        assert gateway.get(f"/hooks/text/{SECRET}/{hook}").status_code == 405


def test_odd_values_are_kept_and_change_nothing(gateway: Browser, row: TextGateway) -> None:
    message = sent()
    for number, reference in enumerate(
        ["", "<", "%", "a" * 32, "0" * 32 + ".99999999999", message.message_id]
    ):
        report = {"event_id": f"odd-{number}\u0000", "reference": reference, "status": "delivered"}
        assert told(gateway, "status", report).status_code == 200

    message.refresh_from_db()
    assert message.state == "accepted"
    assert InboundEvent.objects.filter(message=None).count() == 6


def test_what_was_kept_and_not_processed_is_finished_later(
    gateway: Browser, row: TextGateway
) -> None:
    message = sent()
    raw = json.dumps(report_of(message, "delivered"))
    InboundEvent.objects.create(
        source="text status",
        event_id="x",
        raw=raw,
        received_at=timezone.now() - incoming.intake.FINISH_EVENTS_AFTER * 2,
    )

    assert (
        incoming.finish_events(now=timezone.now()),
        incoming.finish_events(now=timezone.now()),
    ) == (
        1,
        0,
    )

    message.refresh_from_db()
    assert message.state == "delivered"


def test_an_event_that_cannot_be_finished_keeps_no_other_from_it(
    row: TextGateway, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    messages = [sent(number=1), sent(number=2)]
    for message in messages:
        InboundEvent.objects.create(
            source="text status",
            event_id=str(message.pk),
            raw=json.dumps(report_of(message, "delivered")),
            received_at=timezone.now() - incoming.intake.FINISH_EVENTS_AFTER * 2,
        )
    broken = report_of(messages[0], "delivered")["reference"]
    found = status_reports.message_by_key
    monkeypatch.setattr(
        status_reports,
        "message_by_key",
        lambda channel, key: 1 // 0 if key == broken else found(channel, key),
    )

    assert incoming.finish_events(now=timezone.now()) == 1

    assert [Message.objects.get(pk=each.pk).state for each in messages] == ["accepted", "delivered"]
    assert InboundEvent.objects.get(processed_at=None).event_id == str(messages[0].pk)
    assert "Cannot finish a text status" in caplog.text
