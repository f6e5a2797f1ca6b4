"""The states of a message: what lets it go, and what stops it at the last moment."""

import time
from collections.abc import Callable
from datetime import date, timedelta

import pytest
from django.utils import timezone
from freezegun import freeze_time

from clients.messaging import outbox, suppression
from clients.messaging.channels.transport import TransportDownError
from clients.messaging.models import Consent, Message
from clients.messaging.outbox import decisions, ledger
from clients.models import Business, ContactPoint, User
from tests.business_day import today_there
from tests.outbox import queued, states
from tests.paper_line import PaperLine, elsewhere, history
from tests.peer import Peer

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("business")]


def test_each_step_is_a_line_of_history(line: PaperLine) -> None:
    message = queued(1)
    assert outbox.deliver().accepted == 1
    message.refresh_from_db()
    assert history(message) == ["queued", "claimed", "transmitting", "accepted"]
    assert (message.state, message.reply, message.attempts, message.lease_token) == (
        "accepted",
        "250 noted",
        1,
        None,
    )
    assert outbox.deliver().total == 0
    assert line.handed_over == ["client1@example.org"]


def test_history_cannot_be_rewritten(line: PaperLine) -> None:
    event = queued(1).events.get()
    with pytest.raises(Exception, match="append-only"):
        event.delete()


def test_not_before_held_and_expired_messages_do_not_go(line: PaperLine, owner: User) -> None:
    now = timezone.now()
    queued(1, not_before=now + timedelta(hours=1))
    decisions.hold_message(message=queued(2), now=now, by=owner)
    queued(3, expires_at=now - timedelta(seconds=1))
    queued(4)
    outbox.deliver()
    assert line.handed_over == ["client4@example.org"]
    assert states() == {"queued": 2, "cancelled": 1, "accepted": 1}


def withdraw(message: Message) -> None:
    Consent.objects.create(client=message.client, channel="email", is_given=False)


def suppress(message: Message) -> None:
    address = message.address.upper()
    suppression.suppress_address(
        business=Business.objects.get(), channel="email", address=address, reason="asked"
    )


def suspend(message: Message) -> None:
    ContactPoint.objects.filter(client=message.client).update(suspended_at=timezone.now())


def expire(message: Message) -> None:
    Message.objects.filter(pk=message.pk).update(expires_at=timezone.now())


def archive(message: Message) -> None:
    type(message.client).objects.filter(pk=message.client_id).update(archived_at=timezone.now())


def let_consent_run_out(message: Message) -> None:
    yesterday = today_there() - timedelta(days=1)
    Consent.objects.create(
        client=message.client, channel="email", wording="yes", expires_on=yesterday, is_given=True
    )


REASONS = [withdraw, suppress, suspend, expire, archive, let_consent_run_out]


@pytest.mark.parametrize("action", REASONS)
def test_what_forbids_writing_is_looked_at_when_claimed(
    line: PaperLine, action: Callable[[Message], None]
) -> None:
    action(queued(1))
    outbox.deliver()
    assert (states(), line.handed_over) == ({"cancelled": 1}, [])
    assert Message.objects.get().reply


def test_a_consent_runs_out_by_our_time_zones_and_not_by_the_servers(line: PaperLine) -> None:
    """Half past midnight in Vancouver by 2026f; an older database says half past eleven before."""
    Business.objects.update(time_zone="America/Vancouver")
    message = queued(1)
    last_day = date(2035, 1, 15)
    Consent.objects.create(
        client=message.client, channel="email", wording="yes", expires_on=last_day, is_given=True
    )
    with freeze_time("2035-01-16T07:30:00Z", tick=True):
        outbox.deliver()
    assert (states(), line.handed_over) == ({"cancelled": 1}, [])


@pytest.mark.parametrize("action", REASONS)
def test_what_forbids_writing_is_looked_at_once_more_before_handing_over(
    line: PaperLine, action: Callable[[Message], None]
) -> None:
    message = queued(1)
    line.before = lambda claimed: elsewhere(lambda: action(claimed))
    outbox.deliver()
    assert (states(), line.handed_over) == ({"cancelled": 1}, [])
    assert history(message) == ["queued", "claimed", "cancelled"]


@pytest.fixture
def stale(monkeypatch: pytest.MonkeyPatch) -> None:
    """As if the server took too long between asking for the final check and its answer."""
    monkeypatch.setattr(ledger, "PERMIT_FRESH_SECONDS", 0.0)


@pytest.mark.usefixtures("stale")
@pytest.mark.parametrize("action", REASONS)
def test_what_forbids_writing_while_a_server_dawdles_stops_the_message(
    line: PaperLine, action: Callable[[Message], None]
) -> None:
    first = queued(1)
    second = queued(2)

    def forbid_once_checked(message: Message) -> None:
        until = time.monotonic() + 5
        while states().get("transmitting") != 1 and time.monotonic() < until:
            time.sleep(0.01)
        action(message)

    def forbid_second(message: Message) -> None:
        if message == second:
            elsewhere(lambda: forbid_once_checked(second))

    line.meanwhile = forbid_second
    outbox.deliver()
    assert (states(), line.handed_over) == ({"accepted": 1, "cancelled": 1}, [first.address])
    assert history(second) == ["queued", "claimed", "transmitting", "cancelled"]


@pytest.mark.usefixtures("stale")
def test_what_is_checked_twice_counts_as_one_try(line: PaperLine) -> None:
    message = queued(1)
    assert outbox.deliver().accepted == 1
    message.refresh_from_db()
    assert message.attempts == 1
    assert history(message) == ["queued", "claimed", "transmitting", "accepted"]


def test_about_a_booked_visit_we_may_write_without_consent_but_not_to_a_suppressed_address(
    line: PaperLine,
) -> None:
    withdraw(queued(1, kind="service", text="We come on Tuesday."))
    suppress(queued(2, kind="service", text="We come on Tuesday."))
    outbox.deliver()
    assert line.handed_over == ["client1@example.org"]


def test_hold_and_cancel_reach_a_message_that_is_claimed(line: PaperLine, owner: User) -> None:
    held = queued(1)
    cancelled = queued(2)

    def decide(message: Message) -> None:
        now = timezone.now()
        if message == held:
            decisions.hold_message(message=message, now=now, by=owner)
        else:
            decisions.cancel_unsent(messages=[message], why="Booked", now=now, by=owner)

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
    assert (
        decisions.cancel_unsent(messages=[message], why="too late", now=timezone.now(), by=None)
        == 0
    )


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
            raise TransportDownError("421 closing")
        line.is_open = True

    line.connect = break_down  # type: ignore[method-assign]
    line.before = lambda message: setattr(line, "is_open", False)
    tally = outbox.deliver()
    assert (tally.accepted, tally.line_down) == (1, ["421 closing"])
    assert states() == {"accepted": 1, "queued": 3}


# The command


@pytest.mark.smtp
def test_the_command_prints_what_it_did(peer: Peer, capsys: pytest.CaptureFixture[str]) -> None:
    import json

    from django.core.management import call_command

    queued(1)
    call_command("deliver", once=True, format="json")
    printed = json.loads(capsys.readouterr().out)
    assert printed == [
        {
            "accepted": 1,
            "put_off": 0,
            "failed": 0,
            "unconfirmed": 0,
            "cancelled": 0,
            "line_down": [],
        }
    ]
