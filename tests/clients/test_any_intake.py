"""Whatever comes in, bytes as well as text: nothing of it stops what comes after.

Half a pair of surrogates is what JSON may hold and UTF-8 may not (RFC 8259, 8.2; RFC 3629, 3);
UTF-7 is a charset that mail may name (RFC 2152); NUL is what PostgreSQL's text cannot hold (its
manual, "Character Types").
"""

import json
from datetime import timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from django.test import Client as Browser
from django.utils import timezone
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, rule, run_state_machine_as_test

from clients.messaging import incoming
from clients.messaging.incoming import intake
from clients.messaging.models import InboundEvent, Message, ToDo
from clients.messaging.models.gateway import secret_hash
from clients.models import Heartbeat
from clients.notation import storable
from reminders import tasks
from tests import database
from tests.bounces import key_of, report, sent, state_of
from tests.factories import BusinessFactory
from tests.gateway import gateway_row, queued_text

pytestmark = pytest.mark.django_db
SECRET = "hook-secret-of-these-tests"
NASTY = [
    "\x00",
    "\ud800 hi",
    "hi \udfff",
    "+AGE-",
    "\u202e",
    "😀",
    "long " * 100,
    "=?utf-7?q?+2AA-?=",
]
WORDS = st.one_of(st.sampled_from(NASTY), st.text(max_size=200), st.characters(codec="utf-32-be"))
FIELDS = st.dictionaries(
    st.sampled_from(["event_id", "reference", "id", "status", "error", "from", "text"]),
    st.one_of(WORDS, st.integers(), st.none(), st.lists(WORDS, max_size=2)),
)
HEADERS = ["Subject", "From", "Diagnostic-Code", "Content-Type", "In-Reply-To", "Auto-Submitted"]


def post(hook: str, body: bytes) -> int:
    browser = Browser(enforce_csrf_checks=True, raise_request_exception=False)
    answer = browser.post(f"/hooks/text/{SECRET}/{hook}", body, content_type="application/json")
    return answer.status_code


class Intake(RuleBasedStateMachine):
    """Strangers send what they like to each way in; in between comes something good."""

    @initialize()
    def begin(self) -> None:
        BusinessFactory()
        gateway_row("http://127.0.0.1:1/messages", hook_hash=secret_hash(SECRET), look_up_url="")
        self.number = 1

    @rule(hook=st.sampled_from(["status", "inbound"]), fields=FIELDS)
    def post_fields(self, hook: str, fields: dict[str, Any]) -> None:
        assert post(hook, json.dumps(fields).encode()) in {200, 400}

    @rule(hook=st.sampled_from(["status", "inbound"]), body=st.binary(max_size=300))
    def post_bytes(self, hook: str, body: bytes) -> None:
        assert post(hook, body) in {200, 400}

    @rule(body=st.binary(max_size=600))
    def mail_bytes(self, body: bytes) -> None:
        incoming.receive_returned_mail(content=body, now=timezone.now())

    @rule(header=st.sampled_from(HEADERS), words=WORDS, action=st.sampled_from(["failed", "x"]))
    def mail_with_words(self, header: str, words: str, action: str) -> None:
        message = self.sent()
        content = report(message, action, "5.1.1").replace(
            f"{header}:".encode(), f"{header}: {words}".encode(errors="surrogatepass"), 1
        )
        incoming.receive_returned_mail(content=content, now=timezone.now())

    @rule(words=WORDS, kind=st.sampled_from(["bounced", "delivered", "complained", "opened"]))
    def event_of_a_mail_service(self, words: str, kind: str) -> None:
        event = SimpleNamespace(
            event_type=kind,
            event_id=words,
            message_id=words,
            metadata={"key": words},
            reject_reason=words,
            mta_response=words,
            description=words,
            timestamp=timezone.now(),
            esp_event={"said": words},
        )
        incoming.receive_service_event(service="Postmark", event=event, now=timezone.now())

    @rule()
    def tick_later(self) -> None:
        InboundEvent.objects.update(received_at=timezone.now() - timedelta(hours=1))
        assert "failed" not in tasks.tick()

    @rule()
    def a_good_report_counts(self) -> None:
        message = queued_text(self.next_number())
        Message.objects.filter(pk=message.pk).update(state="accepted", accepted_at=timezone.now())
        body = {
            "event_id": f"good-{message.pk}",
            "reference": key_of(message),
            "status": "delivered",
        }
        assert post("status", json.dumps(body).encode()) == 200
        assert state_of(message) == "delivered"

    @rule()
    def a_good_bounce_counts(self) -> None:
        message = self.sent()
        incoming.receive_returned_mail(
            content=report(message, "failed", "5.1.1"), now=timezone.now()
        )
        assert state_of(message) == "bounced"

    def teardown(self) -> None:
        database.empty()

    def sent(self) -> Message:
        return sent("accepted", self.next_number())

    def next_number(self) -> int:
        self.number += 1
        return self.number


@pytest.mark.slow
@pytest.mark.usefixtures("transactional_db")
def test_nothing_that_comes_in_keeps_the_next_good_event_from_counting() -> None:
    run_state_machine_as_test(
        Intake,
        settings=settings(
            max_examples=12,
            stateful_step_count=20,
        ),
    )


@pytest.mark.parametrize("words", ["\x00", "\ud800 hi", "\udfff"])
def test_half_an_emoji_or_a_nul_is_kept_as_a_mark(business: object, words: str) -> None:
    gateway_row("http://127.0.0.1:1/messages", hook_hash=secret_hash(SECRET))
    message = sent("accepted")
    mail = report(
        message,
        "failed",
        "5.1.1",
        words=f"no {words}".encode(errors="surrogatepass").decode(errors="replace"),
    )

    assert (
        post(
            "inbound",
            json.dumps({"from": "+19025550101", "text": words, "event_id": words}).encode(),
        )
        == 200
    )
    incoming.receive_returned_mail(content=mail, now=timezone.now())

    assert state_of(message) == "bounced"
    assert InboundEvent.objects.filter(processed_at=None).count() == 0
    assert "\x00" not in "".join(InboundEvent.objects.values_list("raw", flat=True))


def test_an_event_that_always_fails_is_set_aside_before_a_person(
    business: object, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*args: object) -> None:
        raise ValueError("no use \x00")

    good = intake.READERS[intake.BOUNCE_SOURCE]
    monkeypatch.setitem(
        intake.READERS, intake.BOUNCE_SOURCE, intake.EventReader(read=good.read, process=fail)
    )
    message = sent("accepted")
    later = timezone.now() + timedelta(hours=1)

    received = incoming.receive_returned_mail(content=report(message, "failed", "5.1.1"), now=later)
    for _ in range(10):
        incoming.finish_events(now=later + timedelta(hours=1))

    event = InboundEvent.objects.get()
    assert received["words"] == "It was kept and is looked at again."
    assert event.outcome == "Set aside after 5 tries. ValueError: no use "
    assert ToDo.objects.open().get().kind == "unread"


def test_what_goes_wrong_in_one_part_of_a_tick_keeps_no_other_from_its_turn(
    business: object, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(**kwargs: object) -> None:
        raise RuntimeError("broken")

    finished: list[object] = []
    monkeypatch.setattr("clients.messaging.outbox.deliver", fail)
    monkeypatch.setattr(
        "clients.messaging.incoming.finish_events", lambda now: finished.append(now)
    )

    assert tasks.tick() == "hand_over failed"
    assert len(finished) == 1
    assert Heartbeat.objects.filter(name="worker").exists()


@pytest.mark.parametrize(
    ("given", "kept"),
    [
        ("a\x00b", "ab"),
        ("\ud83d", "\ufffd"),
        ("😀", "😀"),
        (["\ud800"], ["\ufffd"]),
        ({"\x00": 1}, {"": 1}),
    ],
)
def test_text_is_made_storable(given: Any, kept: Any) -> None:
    assert storable.make_storable(given) == kept
