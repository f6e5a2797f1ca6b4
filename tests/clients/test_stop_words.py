"""Words sent back: STOP at once and for good, START only what was stopped, HELP, and the rest
before a person."""

from typing import Any

import pytest
from django.test import Client as Browser
from django.utils import timezone

from clients.messaging import channels, outbox, suppression
from clients.messaging.channels.transport import SendOutcome, SendResult
from clients.messaging.incoming.keywords import (
    Keyword,
    has_more_than_keyword,
    keyword_of,
)
from clients.messaging.models import Consent, InboundEvent, Message, Suppression, TextGateway, ToDo
from clients.messaging.models.gateway import secret_hash
from clients.messaging.reach import ContactPurpose, Refusal, route_to
from clients.models import Business
from tests.business_day import today_there
from tests.clients.test_hooks import SECRET, told
from tests.factories import ConsentFactory, PhoneFactory
from tests.gateway import gateway_row, queued_text
from tests.outbox import queue_test_message

# 47 CFR 64.1200(a)(10) (Federal Register 2024-04587) names these seven; the rest is custom, from
# memory.
FCC = ["stop", "quit", "end", "revoke", "opt out", "cancel", "unsubscribe"]


@pytest.mark.parametrize(
    "text", [*FCC, "STOP", " Stop! ", "StopAll", "ARRÊT", "arret", "Remove", "opt-out", "STOP.\n"]
)
def test_these_words_stop(text: str) -> None:
    assert keyword_of(text) is Keyword.STOP
    assert not has_more_than_keyword(text)


@pytest.mark.parametrize(
    "text", ["stop texting me", "Cancel my visit", "end of May suits us", "Opt out please"]
)
def test_the_first_word_is_enough_and_the_rest_is_read_too(text: str) -> None:
    assert keyword_of(text) is Keyword.STOP
    assert has_more_than_keyword(text)


@pytest.mark.parametrize(
    "text", ["", "No", "yes please", "Don't stop", "ending soon", "Start in May", "👍", "stopped"]
)
def test_other_answers_are_for_a_person(text: str) -> None:
    assert keyword_of(text) is Keyword.NONE


def test_start_and_help_count_only_alone() -> None:
    assert [keyword_of(text) for text in ("START", "unstop", "Help", "INFO?")] == [
        Keyword.START
    ] * 2 + [Keyword.HELP] * 2


@pytest.fixture
def row(business: Business) -> TextGateway:
    return gateway_row("http://127.0.0.1:1/messages", hook_hash=secret_hash(SECRET))


@pytest.fixture
def gateway() -> Browser:
    return Browser(enforce_csrf_checks=True)


def says(browser: Browser, text: str, *, number: str = "+1 902-555-0101", event: str = "") -> Any:
    body = {"from": number, "text": text, "event_id": event or f"in-{InboundEvent.objects.count()}"}
    return told(browser, "inbound", body)


def test_stop_takes_effect_in_the_same_transaction(gateway: Browser, row: TextGateway) -> None:
    first = queued_text(1)
    second = queued_text(1 + 1)
    other = queued_text(3)
    Message.objects.filter(pk=second.pk).update(address=first.address)

    assert says(gateway, "STOP").status_code == 200

    states = {each.pk: each.state for each in Message.objects.filter(kind="reminder")}
    assert states == {first.pk: "cancelled", second.pk: "cancelled", other.pk: "queued"}
    assert suppression.suppressed_addresses(
        business=Business.objects.get(), channel="text", addresses=["+19025550101"]
    )
    newest = Consent.objects.filter(client=first.client)[0]
    assert (newest.is_given, newest.channel, "“STOP”" in newest.evidence) == (False, "text", True)
    refused = route_to(first.client, "text", ContactPurpose.MARKETING, on=today_there())
    assert isinstance(refused, Refusal)
    assert not ToDo.objects.exists()


def test_stop_is_all_or_nothing(
    gateway: Browser, row: TextGateway, monkeypatch: pytest.MonkeyPatch
) -> None:
    message = queued_text(1)
    gateway.raise_request_exception = False
    monkeypatch.setattr("clients.messaging.outbox.decisions.cancel_unsent", lambda **options: 1 / 0)

    assert says(gateway, "STOP", event="x").status_code == 200  # it is kept, to be finished

    message.refresh_from_db()
    assert (message.state, Suppression.objects.count()) == ("queued", 0)
    assert (
        InboundEvent.objects.get().processed_at is None
    )  # kept raw; posted again, it is processed
    monkeypatch.undo()
    assert says(gateway, "STOP", event="x").status_code == 200
    assert Suppression.objects.count() == 1


def test_one_confirmation_and_it_promotes_nothing(gateway: Browser, row: TextGateway) -> None:
    queued_text(1)
    for _ in range(3):
        says(gateway, "STOP")

    answer = Message.objects.get(kind="service")
    assert answer.text == "Driftline Deck Care: you will get no more text messages from us."
    assert answer.expires_at
    # 47 CFR 64.1200(a)(12): within five minutes
    assert (answer.expires_at - answer.queued_at).total_seconds() == 300


@pytest.mark.django_db(transaction=True)
def test_only_the_confirmation_goes_to_a_number_that_said_stop(
    gateway: Browser, row: TextGateway, monkeypatch: pytest.MonkeyPatch
) -> None:
    client = queued_text(1).client
    says(gateway, "STOP")
    now = timezone.now()
    queue_test_message(
        client=client,
        kind="service",
        channel="text",
        address="+19025550101",
        text="We come on Tuesday.",
        key="visit/1",
        now=now,
    )
    handed_over: list[str] = []

    class Paper(channels.text.GatewayTransport):
        is_open = True

        def connect(self) -> None:
            """Nobody is called."""

        def send(self, message: Message, permit: Any) -> SendOutcome:
            if not permit.is_granted():
                return SendOutcome(SendResult.WITHHELD)
            handed_over.append(message.text)
            return SendOutcome(SendResult.ACCEPTED)

    monkeypatch.setitem(channels.TRANSPORTS, "text", Paper)
    outbox.deliver()

    assert handed_over == ["Driftline Deck Care: you will get no more text messages from us."]


def test_a_confirmation_speaks_the_clients_language_in_one_part(
    gateway: Browser, row: TextGateway
) -> None:
    point = PhoneFactory(value="902-555-0101", client__language="fr-CA")
    ConsentFactory(client=point.client, channel="text")

    says(gateway, "Arrêt")

    text = Message.objects.get(kind="service").text
    assert text.startswith("Driftline Deck Care : vous ne recevrez plus")
    # 3GPP TS 23.038, 6.2.1: é and è are in the default alphabet; ê, î and ç (small) are not
    assert set(text) - set(map(chr, range(32, 127))) <= {"é", "è"}
    assert len(text) <= 160


def test_start_lifts_what_was_stopped_and_nothing_else(gateway: Browser, row: TextGateway) -> None:
    client = queued_text(1).client
    says(gateway, "STOP")
    says(gateway, "start")

    newest = client.consents.filter(channel="text")[0]
    assert (newest.is_given, newest.basis, newest.wording) == (True, "express", "start")
    assert Suppression.objects.count() == 0
    stranger = PhoneFactory(value="902-555-0177").client
    says(gateway, "START", number="902-555-0177")
    assert not stranger.consents.exists()


def test_a_replayed_start_does_not_undo_a_later_stop(gateway: Browser, row: TextGateway) -> None:
    queued_text(1)
    for text, event in (("STOP", "1"), ("START", "2"), ("STOP", "3"), ("START", "2")):
        answer = says(gateway, text, event=event)

    assert b"Known already" in answer.content
    assert Suppression.objects.count() == 1


def test_stop_counts_again_where_events_have_no_ids(gateway: Browser, row: TextGateway) -> None:
    queued_text(1)
    for text in ("STOP", "START", "STOP"):
        told(gateway, "inbound", {"from": "+19025550101", "text": text})

    assert Suppression.objects.count() == 1


def test_help_says_who_writes(gateway: Browser, row: TextGateway) -> None:
    queued_text(1)
    says(gateway, "Help")

    text = Message.objects.get(kind="service").text
    assert "Driftline Deck Care" in text
    assert "902-555-0100" in text
    assert "STOP" in text


def test_any_other_answer_comes_before_a_person_once(gateway: Browser, row: TextGateway) -> None:
    message = queued_text(1)
    Message.objects.filter(pk=message.pk).update(state="accepted", accepted_at=timezone.now())
    for _ in range(2):
        says(gateway, "Yes please, <b>any</b> Tuesday in May", event="7")

    to_do = ToDo.objects.get()
    assert (to_do.kind, to_do.client, to_do.message) == ("answer", message.client, message)
    assert "“Yes please, <b>any</b> Tuesday in May”" in to_do.words
    assert to_do.url == f"/clients/{message.client_id}/"


def test_a_stranger_is_suppressed_and_read_but_not_answered(
    gateway: Browser, row: TextGateway
) -> None:
    says(gateway, "stop", number="902-555-0188")
    says(gateway, "Who is this?", number="902-555-0188")
    says(gateway, "STOP", number="DRIFT")

    assert (Suppression.objects.count(), Message.objects.count(), ToDo.objects.count()) == (1, 0, 1)
    assert InboundEvent.objects.order_by("-id")[0].outcome.startswith("From no number")
