"""What each fault of a mail server means for the message, against a real SMTP peer."""

import socket

import pytest
from django.utils import timezone
from pytest_django import Settings

from clients.messaging import outbox
from clients.messaging.channels import email
from clients.messaging.models import Message
from tests.outbox import queued, states
from tests.peer import DROP, Peer

pytestmark = [
    pytest.mark.smtp,
    pytest.mark.django_db(transaction=True),
    pytest.mark.usefixtures("business"),
]


def the_state() -> str:
    return Message.objects.get().state


def make_due() -> None:
    Message.objects.update(not_before=timezone.now())


@pytest.mark.parametrize("phase", ["MAIL", "RCPT", "DATA", "DOT"])
def test_a_temporary_refusal_in_any_phase_is_tried_again_later(peer: Peer, phase: str) -> None:
    peer.handler.once[phase] = ["451 4.3.0 try later"]
    queued(1)
    before = timezone.now()
    assert outbox.deliver().put_off == 1
    message = Message.objects.get()
    assert (message.state, message.reply) == ("queued", "451 4.3.0 try later")
    assert message.not_before > before
    make_due()
    assert outbox.deliver().accepted == 1
    assert len(peer.taken) == 1


@pytest.mark.parametrize("phase", ["MAIL", "RCPT", "DATA", "DOT"])
def test_a_definite_refusal_in_any_phase_fails_and_says_why(peer: Peer, phase: str) -> None:
    peer.handler.answers[phase] = "550 5.7.1 not here"
    queued(1)
    assert outbox.deliver().failed == 1
    message = Message.objects.get()
    assert (message.state, message.reply, peer.taken) == ("failed", "550 5.7.1 not here", [])
    make_due()
    assert outbox.deliver().total == 0


def test_one_refused_recipient_does_not_touch_the_others(peer: Peer) -> None:
    peer.handler.refused_recipients["client2@example.org"] = "550 5.1.1 no such mailbox"
    for number in (1, 2, 3):
        queued(number)
    outbox.deliver()
    assert states() == {"accepted": 2, "failed": 1}
    assert Message.objects.get(state="failed").address == "client2@example.org"


def test_a_drop_before_the_text_is_harmless(peer: Peer) -> None:
    peer.handler.once["RCPT"] = [DROP]
    queued(1)
    assert outbox.deliver().put_off == 1
    make_due()
    assert outbox.deliver().accepted == 1
    assert len(peer.taken) == 1


def test_a_drop_of_a_connection_in_use_is_followed_by_a_new_one(peer: Peer) -> None:
    for number in (1, 2, 3):
        queued(number)
    taken = peer.handler.taken

    class DropAfterFirst(dict):
        def get(self, phase: str, default: object = None) -> object:
            if phase == "MAIL" and len(taken) == 1 and not self:
                self["done"] = []
                return [DROP]
            return None

    peer.handler.once = DropAfterFirst()
    assert outbox.deliver().accepted == 3
    assert peer.handler.commands == ["EHLO", "EHLO"]
    assert len(taken) == 3


def test_a_drop_after_the_text_is_unconfirmed_and_never_sent_again_by_the_machine(
    peer: Peer,
) -> None:
    peer.handler.answers["DOT"] = DROP
    queued(1)
    assert outbox.deliver().unconfirmed == 1
    del peer.handler.answers["DOT"]
    make_due()
    assert outbox.deliver().total == 0
    assert (the_state(), len(peer.taken)) == ("unconfirmed", 1)


def test_an_answer_that_comes_too_late_is_unconfirmed(peer: Peer, settings: Settings) -> None:
    settings.EMAIL_TIMEOUT = 0.3
    peer.handler.late_seconds = 1
    queued(1)
    assert outbox.deliver().unconfirmed == 1
    assert "timed out" in Message.objects.get().reply


def test_a_late_answer_within_the_time_is_accepted(peer: Peer) -> None:
    peer.handler.late_seconds = 0.5
    queued(1)
    assert outbox.deliver().accepted == 1
    assert Message.objects.get().reply == "250 2.0.0 taken as 1"


def test_a_server_that_is_away_leaves_the_queue_as_it_is(settings: Settings) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        settings.EMAIL_HOST = "127.0.0.1"
        settings.EMAIL_PORT = taken.getsockname()[1]
        queued(1)
        tally = outbox.deliver()
    assert "refused" in tally.line_down[0].lower()
    message = Message.objects.get()
    assert (message.state, message.attempts) == ("queued", 0)
    assert [event.state for event in message.events.all()] == ["queued"]


def test_a_refused_sign_in_leaves_the_queue_as_it_is(peer: Peer, settings: Settings) -> None:
    settings.EMAIL_HOST_USER = "office"
    settings.EMAIL_HOST_PASSWORD = "wrong"
    queued(1)
    assert outbox.deliver().line_down
    assert the_state() == "queued"


def test_tries_become_rarer_and_end(peer: Peer) -> None:
    peer.handler.answers["RCPT"] = "450 4.2.1 busy"
    queued(1)
    pauses = []
    for _ in range(20):
        before = timezone.now()
        if not outbox.deliver().put_off:
            break
        pauses.append((Message.objects.get().not_before - before).total_seconds())
        make_due()
    assert [round(pause) for pause in pauses] == sorted(round(pause) for pause in pauses)
    assert pauses[0] == pytest.approx(60, abs=5)
    assert pauses[-1] == pytest.approx(4 * 3600, abs=5)
    assert the_state() == "failed"
    assert Message.objects.get().reply.startswith("Given up after 12 tries. 450")


def test_a_fault_of_ours_goes_before_a_person_and_stops_nobody_else(
    peer: Peer, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    compose = email.compose_email

    def stumble(head: object, message: Message, **options: object) -> bytes:
        if message.address.startswith("client1@"):
            raise RuntimeError("a fault of ours")
        return compose(head, message, **options)

    monkeypatch.setattr(email, "compose_email", stumble)
    for number in (1, 2):
        queued(number)
    outbox.deliver()
    assert states() == {"failed": 1, "accepted": 1}
    assert "a fault of ours" in Message.objects.get(state="failed").reply
