"""The table of transitions: the guide prints it, and whatever happens to a message keeps to it."""

import json
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import timedelta
from itertools import count
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from django.db import connection
from django.test import Client as Browser
from django.utils import timezone
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    precondition,
    rule,
    run_state_machine_as_test,
)

from clients.messaging import channels, incoming, outbox
from clients.messaging.actions import calls, letters
from clients.messaging.channels.transport import SendOutcome, SendResult
from clients.messaging.models import CallNote, LetterBatch, Message, Sending
from clients.messaging.models.gateway import secret_hash
from clients.messaging.models.message import State
from clients.messaging.outbox import decisions, leases, opt_out, outcomes
from clients.messaging.outbox.ledger import Ledger
from clients.messaging.outbox.transitions import Cause, Transition
from tests import database
from tests.bounces import key_of, report
from tests.clients.test_calls import queued_call
from tests.clients.test_complaints import COMPLAINT
from tests.clients.test_letters import queued_letter
from tests.factories import BusinessFactory, UserFactory
from tests.gateway import gateway_row, queued_text
from tests.outbox import queued
from tests.paper_line import PaperLine

GUIDE = Path(__file__).parents[2] / "docs" / "owner.md"
SECRET = "hook-secret-of-these-tests"
AN_HOUR = timedelta(hours=1)
WHY = "For a test."
TURN = count(1)  # what is posted twice would be known
QUEUE = {"email": queued, "text": queued_text, "letter": queued_letter, "call": queued_call}
ANSWER = (
    "From: client1@example.org\nTo: bounces+{key}@example.com\nSubject: Thanks {turn}\n\nYes.\n"
)
AUTOMATIC = "Auto-Submitted: auto-replied\n" + ANSWER
OUTCOMES = [
    *(SendOutcome(result, "as it is") for result in SendResult),
    SendOutcome(SendResult.REFUSED, "stopped", has_opted_out=True),
]
MAILS = {
    "delivered": lambda m: report(m, "delivered", "2.0.0", str(next(TURN))),
    "relayed": lambda m: report(m, "relayed", "2.0.0", str(next(TURN))),
    "delayed": lambda m: report(m, "delayed", "4.4.1", str(next(TURN))),
    "no such address": lambda m: report(m, "failed", "5.1.1", str(next(TURN))),
    "taken for a nuisance": lambda m: report(m, "failed", "5.7.1", str(next(TURN))),
    "complaint": lambda m: COMPLAINT.format(kind="abuse", message_id=m.message_id).encode(),
    "answer": lambda m: ANSWER.format(key=key_of(m), turn=next(TURN)).encode(),
    "automatic answer": lambda m: AUTOMATIC.format(key=key_of(m), turn=next(TURN)).encode(),
}
DECISIONS = {
    "cancel": lambda m, **how: decisions.cancel_unsent(messages=[m], why=WHY, **how),
    "take back": lambda m, **how: take_back_alone(m, **how),
    "dismiss": lambda m, **how: decisions.dismiss_message(message=m, **how),
    "confirm": lambda m, **how: decisions.confirm_sent(message=m, **how),
    "resend": lambda m, **how: decisions.resend_message(message=m, **how),
    "return": lambda m, **how: decisions.mark_letter_returned(message=m, **how),
    "hold": lambda m, **how: decisions.hold_message(message=m, **how),
    "release": lambda m, **how: decisions.release_message(message=m, **how),
}
EVENT_TYPES = ["sent", "deferred", "delivered", "bounced", "rejected", "failed"]
EVENT_TYPES += ["autoresponded", "complained", "unsubscribed"]


def take_back_alone(message: Message, **how: Any) -> None:
    """Whoever sent this message alone takes it back."""
    now = how["now"]
    sending = Sending.objects.create(by=how["by"], at=now, held_until=now)
    Message.objects.filter(pk=message.pk).update(sending=sending)
    outbox.take_back_sending(sending=sending, **how)


def is_taken_back(message: Message) -> bool:
    """Its name then is one that no mail ever left under."""
    return message.message_id.startswith("<taken-back-")


def row_of_the_guide(transition: Transition) -> str:
    starts = ", ".join(state.value for state in State if state in transition.starts)
    causes = ", ".join(transition.causes)
    name = transition.name.lower()
    return f"| {name} | {transition.meaning} | {starts} | {transition.end.value} | {causes} |"


def test_the_guide_prints_the_table_as_it_is() -> None:
    text = GUIDE.read_text()
    printed = text.partition("## How a message moves")[2].partition("\n## ")[0]

    rows = [line for line in printed.splitlines() if line.startswith("| ")]

    assert rows[2:] == [row_of_the_guide(each) for each in Transition]


def test_nothing_leads_on_from_delivered_and_only_an_arrival_from_cancelled() -> None:
    assert [each for each in Transition if State.DELIVERED in each.starts] == []
    assert [each for each in Transition if State.CANCELLED in each.starts] == [
        Transition.REPORT_ARRIVAL
    ]


class Walk(RuleBasedStateMachine):
    """One message, and everything that may happen to it, by the ways in which it does."""

    line: PaperLine

    @initialize(channel=st.sampled_from(list(QUEUE)))
    def queue(self, channel: str) -> None:
        self.business = BusinessFactory()
        self.owner = UserFactory(username="maren", role="owner")
        gateway_row("http://127.0.0.1:1/messages", hook_hash=secret_hash(SECRET), look_up_url="")
        self.channel = channel
        self.pk = QUEUE[channel](1).pk
        self.in_hand: Message | None = None
        self.references = [key_of(self.message)]

    @property
    def message(self) -> Message:
        return Message.objects.select_related("client").get(pk=self.pk)

    @property
    def how(self) -> dict[str, Any]:
        return {"by": self.owner, "now": timezone.now()}

    @contextmanager
    def change(self, *causes: Cause, notes: int = 0) -> Iterator[Message]:
        """What happens behind it keeps to the table, and leaves one line of history a move;
        beside that at most so many `notes`."""
        moves_before = len(self.moves())
        events_before = len(self.history())
        yield self.message
        moves = self.moves()[moves_before:]
        events = self.history()[events_before:]
        for before, after in moves:
            assert any(
                before in each.starts and after == each.end and {*causes} & {*each.causes}
                for each in Transition
            ), f"{before} → {after} by {causes}"
        assert len(moves) <= len(events) <= len(moves) + notes
        assert is_within([after for _, after in moves], events)
        assert self.history()[-1] == self.message.state

    def moves(self) -> list[tuple[str, str]]:
        """As PostgreSQL itself noted them."""
        with connection.cursor() as cursor:
            cursor.execute("SELECT before, after FROM moves ORDER BY id")
            return cursor.fetchall()

    def history(self) -> list[str]:
        return list(self.message.events.order_by("id").values_list("state", flat=True))

    def is_automatic(self) -> bool:
        return self.channel in {"email", "text"}

    # The sender

    @precondition(is_automatic)
    @rule(outcome=st.sampled_from(OUTCOMES))
    def deliver(self, outcome: SendOutcome) -> None:
        self.line.outcome = outcome
        with self.change(Cause.SENDER, Cause.SWEEP):
            outbox.deliver()

    @precondition(is_automatic)
    @rule(decision=st.sampled_from(["hold", "cancel", "take back"]))
    def deliver_while_somebody_decides(self, decision: str) -> None:
        self.line.before = lambda message: DECISIONS[decision](message, **self.how)
        with self.change(Cause.SENDER, Cause.SWEEP, Cause.PERSON, notes=1):
            outbox.deliver()
        self.line.before = lambda message: None

    @precondition(is_automatic)
    @rule(begins_to_hand_over=st.booleans())
    def claim_and_die(self, begins_to_hand_over: bool) -> None:
        with self.change(Cause.SENDER):
            claimed = leases.claim_messages(self.channel, 1)
            if claimed and begins_to_hand_over:
                ledger = Ledger(self.business, 600)
                ledger.request_permit(claimed[0])
                ledger.is_permitted()
        self.in_hand = claimed[0] if claimed else self.in_hand

    @precondition(lambda self: self.in_hand)
    @rule(outcome=st.sampled_from(OUTCOMES))
    def answer_late(self, outcome: SendOutcome) -> None:
        assert self.in_hand
        with self.change(Cause.SENDER, notes=1):
            outcomes.record_outcome(self.business, self.in_hand, outcome)

    # Time

    @rule()
    def sweep(self) -> None:
        with self.change(Cause.SWEEP):
            outbox.sweep()

    @precondition(lambda self: self.message.lease_token)
    @rule()
    def end_lease(self) -> None:
        Message.objects.update(lease_until=timezone.now() - AN_HOUR)

    @rule()
    def come_due(self) -> None:
        Message.objects.update(not_before=timezone.now() - AN_HOUR)

    @rule()
    def run_out(self) -> None:
        Message.objects.update(expires_at=timezone.now() - AN_HOUR)

    # People

    @rule(decision=st.sampled_from(list(DECISIONS)))
    def decide(self, decision: str) -> None:
        with self.change(Cause.PERSON, notes=decision in {"hold", "release"}) as message:
            DECISIONS[decision](message, **self.how)
        self.references.append(key_of(self.message))

    @rule()
    def unsubscribe(self) -> None:
        with self.change(Cause.PERSON) as message:
            asked = opt_out.OptOut.of_recipient(message, WHY, evidence=WHY)
            opt_out.opt_out_address(asked=asked, now=timezone.now())

    @precondition(lambda self: self.channel == "call")
    @rule(result=st.sampled_from(CallNote.Result.values))
    def call(self, result: str) -> None:
        with self.change(Cause.PERSON) as message:
            calls.record_call_result(message=message, result=result, note="", **self.how)

    @precondition(lambda self: self.channel == "letter")
    @rule(is_posted=st.booleans())
    def print_letters(self, is_posted: bool) -> None:
        with self.change(Cause.PERSON, notes=1):
            batch = letters.create_letter_batch(**self.how)
            if batch and is_posted:
                LetterBatch.objects.update(prints=1)
                letters.mark_batch_posted(batch=batch, **self.how)
            elif batch:
                letters.dissolve_letter_batch(batch=batch, **self.how)

    # Reports

    @precondition(lambda self: self.channel == "text")
    @rule(data=st.data(), status=st.sampled_from(["delivered", "failed", "sent", "unknown"]))
    def report_by_gateway(self, data: st.DataObject, status: str) -> None:
        reference = data.draw(st.sampled_from(self.references))
        error = data.draw(st.sampled_from(["", "opted_out"]))
        body = {"status": status, "reference": reference, "error": error, "event_id": next(TURN)}
        with self.change(Cause.GATEWAY_REPORT):
            path = f"/hooks/text/{SECRET}/status"
            answer = Browser().post(path, json.dumps(body), content_type="application/json")
            assert answer.status_code == 200

    @precondition(lambda self: self.channel == "email")
    @rule(kind=st.sampled_from(list(MAILS)))
    def send_mail_back(self, kind: str) -> None:
        with self.change(Cause.MAIL_REPORT, notes=1) as message:
            told = incoming.receive_returned_mail(content=MAILS[kind](message), now=timezone.now())
            assert told["key"] == ("" if is_taken_back(message) else key_of(message))

    @precondition(lambda self: self.channel == "email")
    @rule(data=st.data(), kind=st.sampled_from(EVENT_TYPES))
    def report_by_mail_service(self, data: st.DataObject, kind: str) -> None:
        reasons = ["", "invalid", "spam"]
        event = SimpleNamespace(
            event_type=kind,
            event_id=str(next(TURN)),
            message_id="",
            metadata={"key": data.draw(st.sampled_from(self.references))},
            reject_reason=data.draw(st.sampled_from(reasons)),
            mta_response="",
            description="",
            timestamp=timezone.now(),
            esp_event={},
        )
        with self.change(Cause.MAIL_REPORT, notes=1):
            incoming.receive_service_event(service="Postmark", event=event, now=timezone.now())

    def teardown(self) -> None:
        database.empty()


def is_within(few: Sequence[str], many: Sequence[str]) -> bool:
    """In this order, maybe with others between them."""
    rest = iter(many)
    return all(each in rest for each in few)


@pytest.fixture
def _noted_moves(transactional_db: None) -> Iterator[None]:
    """PostgreSQL notes each move of a message by itself, whoever makes it."""
    with connection.cursor() as cursor:
        cursor.execute("""
            CREATE TABLE moves (id bigserial, before text, after text);
            CREATE FUNCTION note_move() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN
                INSERT INTO moves (before, after) VALUES (OLD.state, NEW.state); RETURN NULL;
            END $$;
            CREATE TRIGGER note_move AFTER UPDATE OF state ON clients_message
                FOR EACH ROW EXECUTE FUNCTION note_move();
        """)
    yield
    with connection.cursor() as cursor:
        cursor.execute("DROP FUNCTION note_move CASCADE; DROP TABLE moves;")


@pytest.mark.slow
@pytest.mark.usefixtures("_noted_moves")
def test_whatever_happens_to_a_message_keeps_to_the_table(
    line: PaperLine, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(channels.TRANSPORTS, "text", lambda business: line)
    Walk.line = line

    run_state_machine_as_test(
        Walk,
        settings=settings(
            max_examples=20,
            stateful_step_count=25,
        ),
    )
