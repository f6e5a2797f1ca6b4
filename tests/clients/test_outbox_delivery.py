"""The states of a message: who takes it, what stops it at the last moment, and what a dead sender leaves behind."""

import threading
from collections.abc import Callable, Iterator
from datetime import timedelta
from typing import Any

import pytest
from django.db import OperationalError, connection
from django.utils import timezone
from pytest_django import Settings

from clients import channels, outbox, suppression
from clients.channels.contract import LineDownError, Look, Outcome, Result
from clients.models import Business, Consent, ContactPoint, Message, User
from clients.outbox import delivering, doors, steps
from tests.outbox import queued, states
from tests.peer import Peer, running_peer

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("business")]


class PaperLine:
    """A channel that notes what it is given; `before` runs right before the last look."""

    lease_seconds = 600.0
    is_open = False

    def __init__(self, before: Callable[[Message], Any] = lambda message: None) -> None:
        self.handed_over: list[str] = []
        self.before = before
        self.outcome = Outcome(Result.ACCEPTED, "250 noted")

    def connect(self) -> None:
        self.is_open = True

    def send(self, message: Message, look: Look) -> Outcome:
        self.before(message)
        if not look.go():
            return Outcome(Result.WITHHELD)
        self.handed_over.append(message.address)
        return self.outcome

    def close(self) -> None:
        self.is_open = False


@pytest.fixture
def line(monkeypatch: pytest.MonkeyPatch) -> PaperLine:
    made = PaperLine()
    monkeypatch.setitem(channels.LINES, "email", lambda business: made)
    return made


def history(message: Message) -> list[str]:
    return [event.state for event in message.events.order_by("id")]


def elsewhere(deed: Callable[[], Any]) -> None:
    """In a thread with a database connection of its own, as another process would do it."""

    def act() -> None:
        try:
            deed()
        finally:
            connection.close()

    thread = threading.Thread(target=act)
    thread.start()
    thread.join(timeout=10)
    assert not thread.is_alive()


def test_each_step_is_a_line_of_history(line: PaperLine) -> None:
    message = queued(1)
    assert outbox.deliver().accepted == 1
    message.refresh_from_db()
    assert history(message) == ["queued", "claimed", "transmitting", "accepted"]
    assert (message.state, message.reply, message.attempts, message.lease_token) == ("accepted", "250 noted", 1, None)
    assert outbox.deliver().total == 0
    assert line.handed_over == ["client1@example.org"]


def test_history_cannot_be_rewritten(line: PaperLine) -> None:
    event = queued(1).events.get()
    with pytest.raises(Exception, match="append-only"):
        event.delete()


def test_not_before_held_and_expired_messages_do_not_go(line: PaperLine, owner: User) -> None:
    now = timezone.now()
    queued(1, not_before=now + timedelta(hours=1))
    doors.hold(message=queued(2), now=now, by=owner)
    queued(3, expires_at=now - timedelta(seconds=1))
    queued(4)
    outbox.deliver()
    assert line.handed_over == ["client4@example.org"]
    assert states() == {"queued": 2, "cancelled": 1, "accepted": 1}


def withdraw(message: Message) -> None:
    Consent.objects.create(client=message.client, channel="email", is_given=False)


def suppress(message: Message) -> None:
    address = message.address.upper()
    suppression.suppress(business=Business.objects.get(), channel="email", address=address, reason="asked")


def suspend(message: Message) -> None:
    ContactPoint.objects.filter(client=message.client).update(suspended_at=timezone.now())


def expire(message: Message) -> None:
    Message.objects.filter(pk=message.pk).update(expires_at=timezone.now())


def archive(message: Message) -> None:
    type(message.client).objects.filter(pk=message.client_id).update(archived_at=timezone.now())


def let_consent_run_out(message: Message) -> None:
    yesterday = timezone.now().date() - timedelta(days=2)
    Consent.objects.create(client=message.client, channel="email", wording="yes", expires_on=yesterday, is_given=True)


REASONS = [withdraw, suppress, suspend, expire, archive, let_consent_run_out]


@pytest.mark.parametrize("deed", REASONS)
def test_what_forbids_writing_is_looked_at_when_claimed(line: PaperLine, deed: Callable[[Message], None]) -> None:
    deed(queued(1))
    outbox.deliver()
    assert (states(), line.handed_over) == ({"cancelled": 1}, [])
    assert Message.objects.get().reply


@pytest.mark.parametrize("deed", REASONS)
def test_what_forbids_writing_is_looked_at_once_more_before_handing_over(
    line: PaperLine, deed: Callable[[Message], None]
) -> None:
    message = queued(1)
    line.before = lambda claimed: elsewhere(lambda: deed(claimed))
    outbox.deliver()
    assert (states(), line.handed_over) == ({"cancelled": 1}, [])
    assert history(message) == ["queued", "claimed", "cancelled"]


def test_about_a_booked_visit_we_may_write_without_consent_but_not_to_a_suppressed_address(line: PaperLine) -> None:
    withdraw(queued(1, kind="service", text="We come on Tuesday."))
    suppress(queued(2, kind="service", text="We come on Tuesday."))
    outbox.deliver()
    assert line.handed_over == ["client1@example.org"]


def test_hold_and_cancel_reach_a_message_that_is_claimed(line: PaperLine, owner: User) -> None:
    held, cancelled = queued(1), queued(2)

    def decide(message: Message) -> None:
        now = timezone.now()
        if message == held:
            doors.hold(message=message, now=now, by=owner)
        else:
            doors.cancel(messages=[message], why="Booked", now=now, by=owner)

    line.before = lambda message: elsewhere(lambda: decide(message))
    outbox.deliver()
    assert line.handed_over == []
    held.refresh_from_db()
    cancelled.refresh_from_db()
    assert (held.state, held.held_at is None) == ("queued", False)
    assert cancelled.state == "cancelled"


def test_what_is_being_handed_over_cannot_be_called_back(line: PaperLine) -> None:
    message = queued(1)
    Message.objects.update(state="transmitting", lease_token="7" * 32, lease_until=timezone.now())
    assert doors.cancel(messages=[message], why="too late", now=timezone.now(), by=None) == 0


def test_two_senders_never_take_the_same_message() -> None:
    for number in range(10):
        queued(number)
    mine = steps.claim("email", 6)
    theirs: list[Message] = []
    elsewhere(lambda: theirs.extend(steps.claim("email", 6)))
    assert (len(mine), len(theirs)) == (6, 4)
    assert not {message.pk for message in mine} & {message.pk for message in theirs}


def test_a_claim_under_way_elsewhere_is_not_waited_for() -> None:
    for number in range(4):
        queued(number)
    with connection.cursor() as cursor:
        cursor.execute("BEGIN")
        assert len(steps.claim("email", 3)) == 3
        rest: list[Message] = []
        elsewhere(lambda: rest.extend(steps.claim("email", 3)))
        cursor.execute("ROLLBACK")
    assert len(rest) == 1


def test_a_sender_that_lost_its_lease_hands_nothing_over(line: PaperLine) -> None:
    message = queued(1)
    line.before = lambda claimed: elsewhere(
        lambda: Message.objects.filter(pk=claimed.pk).update(lease_until=timezone.now() - timedelta(seconds=1))
    )
    outbox.deliver(limit=1, stop=stop_after(1, line))
    assert line.handed_over == []
    assert Message.objects.get(pk=message.pk).attempts == 0


def stop_after(calls: int, line: PaperLine) -> Callable[[], bool]:
    seen: list[int] = []

    def stop() -> bool:
        seen.append(1)
        return len(seen) > calls + 1

    return stop


def leave(state: str, *, ago: timedelta = timedelta(seconds=1)) -> Message:
    """A row as a sender leaves it that was killed."""
    message = queued(1)
    Message.objects.update(state=state, lease_token="7" * 32, lease_until=timezone.now() - ago)
    return message


def test_a_sender_that_died_before_handing_over_costs_only_time(line: PaperLine) -> None:
    leave("claimed")
    assert outbox.deliver().accepted == 1


def test_a_sender_that_died_while_handing_over_leaves_it_to_a_person(line: PaperLine) -> None:
    message = leave("transmitting")
    assert outbox.deliver().total == 0
    message.refresh_from_db()
    assert (message.state, message.lease_token, line.handed_over) == ("unconfirmed", None, [])
    assert "nobody knows" in message.reply


def test_a_lease_that_still_runs_is_left_alone(line: PaperLine) -> None:
    leave("transmitting", ago=timedelta(seconds=-60))
    outbox.deliver()
    assert states() == {"transmitting": 1}


def test_an_acceptance_after_the_lease_closes_the_unconfirmed_message(line: PaperLine) -> None:
    message = queued(1)
    line.send = lambda given, look: (look.go() and sweep_away()) or Outcome(Result.ACCEPTED, "250 late")  # type: ignore[method-assign]

    def sweep_away() -> None:
        elsewhere(lambda: Message.objects.update(lease_until=timezone.now() - timedelta(seconds=1)))
        elsewhere(outbox.sweep)

    outbox.deliver()
    message.refresh_from_db()
    assert message.state == "accepted"
    assert history(message) == ["queued", "claimed", "transmitting", "unconfirmed", "accepted"]


def test_an_acceptance_after_a_person_sent_it_again_is_only_noted(line: PaperLine, owner: User) -> None:
    message = leave("transmitting")
    message.refresh_from_db()
    outbox.sweep()
    doors.send_again(message=message, now=timezone.now(), by=owner)
    steps.accept_late(message)
    assert states() == {"queued": 1}
    assert message.events.order_by("-id")[0].note == steps.LATE


def test_stopping_gives_back_what_is_left(line: PaperLine) -> None:
    for number in range(6):
        queued(number)
    outbox.deliver(stop=lambda: len(line.handed_over) >= 2)
    assert states() == {"accepted": 2, "queued": 4}


def test_the_deadline_and_the_limit_are_kept(line: PaperLine) -> None:
    for number in range(6):
        queued(number)
    assert outbox.deliver(limit=4).accepted == 4
    assert outbox.deliver(deadline_seconds=0).total == 0
    assert states() == {"accepted": 4, "queued": 2}


def test_a_line_that_breaks_down_in_the_middle_gives_the_rest_back(line: PaperLine) -> None:
    for number in range(4):
        queued(number)

    def break_down() -> None:
        if line.handed_over:
            raise LineDownError("421 closing")
        line.is_open = True

    line.connect = break_down  # type: ignore[method-assign]
    line.before = lambda message: setattr(line, "is_open", False)
    tally = outbox.deliver()
    assert (tally.accepted, tally.line_down) == (1, ["421 closing"])
    assert states() == {"accepted": 1, "queued": 3}


def cut_database(message: Message) -> None:
    """The server ends our connection, as a restart does."""
    pid = connection.connection.info.backend_pid

    def end() -> None:
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_terminate_backend(%s, 5000)", [pid])

    elsewhere(end)


def test_a_database_that_went_away_before_handing_over_costs_only_time(line: PaperLine) -> None:
    queued(1)
    line.before = cut_database
    with pytest.raises(OperationalError):
        outbox.deliver()
    assert (states(), line.handed_over) == ({"queued": 1}, [])
    line.before = lambda message: None
    assert outbox.deliver().accepted == 1


def test_what_was_accepted_is_written_down_after_the_database_came_back(
    line: PaperLine, monkeypatch: pytest.MonkeyPatch
) -> None:
    message = queued(1)
    monkeypatch.setattr(delivering, "RESCUE_WAITS", (0.01, 0.01))
    send = line.send

    def send_and_cut(given: Message, look: Look) -> Outcome:
        outcome = send(given, look)
        cut_database(given)
        return outcome

    line.send = send_and_cut  # type: ignore[method-assign]
    with pytest.raises(OperationalError):
        outbox.deliver()
    message.refresh_from_db()
    assert (message.state, message.reply) == ("accepted", "250 noted")
    assert history(message) == ["queued", "claimed", "transmitting", "accepted"]


# A person's doors


def test_an_unconfirmed_message_is_closed_by_a_person_once(owner: User) -> None:
    message = leave("transmitting")
    outbox.sweep()
    now = timezone.now()
    assert doors.confirm(message=message, now=now, by=owner)
    assert not doors.confirm(message=message, now=now, by=owner)
    message.refresh_from_db()
    assert (message.state, message.accepted_at) == ("accepted", now)
    assert message.events.order_by("-id")[0].by == owner


def test_sending_again_takes_a_new_message_id_and_a_second_click_does_nothing(line: PaperLine, owner: User) -> None:
    message = leave("transmitting")
    outbox.sweep()
    first = message.message_id
    assert outbox.send_again(message=message, now=timezone.now(), by=owner)
    assert not outbox.send_again(message=message, now=timezone.now(), by=owner)
    message.refresh_from_db()
    assert message.message_id == first.replace("@", ".2@")
    assert outbox.deliver().accepted == 1
    Message.objects.update(state="bounced")
    message.refresh_from_db()
    assert outbox.send_again(message=message, now=timezone.now(), by=owner)
    message.refresh_from_db()
    assert message.message_id == first.replace("@", ".3@")


def test_a_held_message_goes_out_after_release(line: PaperLine, owner: User) -> None:
    message = queued(1)
    assert doors.hold(message=message, now=timezone.now(), by=owner)
    assert not doors.hold(message=message, now=timezone.now(), by=owner)
    assert outbox.deliver().total == 0
    assert doors.release(message=message, now=timezone.now(), by=owner)
    assert not doors.release(message=message, now=timezone.now(), by=owner)
    assert outbox.deliver().accepted == 1
    assert [event.note for event in message.events.order_by("id")][1:3] == ["Held back.", "Released."]


# The command


@pytest.fixture
def peer(settings: Settings) -> Iterator[Peer]:
    with running_peer() as running:
        settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", running.port
        yield running


@pytest.mark.smtp
def test_the_command_prints_what_it_did(peer: Peer, capsys: pytest.CaptureFixture[str]) -> None:
    import json

    from django.core.management import call_command

    queued(1)
    call_command("deliver", once=True, format="json")
    printed = json.loads(capsys.readouterr().out)
    assert printed == [
        {"accepted": 1, "put_off": 0, "failed": 0, "unconfirmed": 0, "cancelled": 0, "line_down": []}
    ]  # fmt: skip
