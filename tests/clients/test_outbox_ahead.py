"""Looking at several messages ahead, and sending by several connections:
faster, and no less safe."""

from datetime import datetime, timedelta

import pytest
from django.utils import timezone
from pytest_django import Settings

from clients.messaging import channels, outbox
from clients.messaging.channels.transport import TransportDownError
from clients.messaging.models import Consent, Message
from clients.messaging.outbox import (
    channel_health,
    delivering,
    leases,
    ledger,
    sender,
    sweeping,
)
from clients.models import Business
from tests.outbox import queued, states
from tests.paper_line import PaperLine, elsewhere, history
from tests.peer import Peer

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("business")]


@pytest.fixture
def quick(line: PaperLine, monkeypatch: pytest.MonkeyPatch) -> PaperLine:
    """Each message goes within the time of a look, however busy this machine is."""
    line.looks_ahead = True
    monkeypatch.setattr(sender, "PERMIT_FRESH_SECONDS", 60.0)
    monkeypatch.setattr(ledger, "PERMIT_FRESH_SECONDS", 60.0)
    return line


@pytest.fixture
def stale(quick: PaperLine, monkeypatch: pytest.MonkeyPatch) -> None:
    """As if each look were too old by the time that its message goes."""
    monkeypatch.setattr(ledger, "PERMIT_FRESH_SECONDS", 0.0)


def five() -> list[Message]:
    return [queued(number) for number in range(1, 6)]


def test_those_behind_a_quick_message_are_looked_at_together(quick: PaperLine) -> None:
    five()
    seen: list[int] = []
    quick.during = lambda message: elsewhere(lambda: seen.append(states()["transmitting"]))
    assert outbox.deliver().accepted == 5
    assert seen[2:] == [3, 2, 1]  # by the second the pace is known, and the database may be at it


def test_behind_a_slow_message_nothing_is_looked_at_ahead(
    quick: PaperLine, monkeypatch: pytest.MonkeyPatch
) -> None:
    five()
    seen: list[int] = []
    quick.during = lambda message: elsewhere(lambda: seen.append(states()["transmitting"]))
    monkeypatch.setattr(
        sender, "PERMIT_FRESH_SECONDS", 0.0
    )  # so many seconds that no message is quick enough
    assert outbox.deliver().accepted == 5
    assert seen == [1, 1, 1, 1, 1]


@pytest.mark.usefixtures("stale")
def test_a_withdrawal_after_the_look_stops_what_has_not_gone(quick: PaperLine) -> None:
    fourth = five()[3]

    def withdraw(message: Message) -> None:
        if message == fourth:
            elsewhere(
                lambda: Consent.objects.create(
                    client=fourth.client, channel="email", is_given=False
                )
            )

    quick.before = withdraw
    outbox.deliver()
    assert states() == {"accepted": 4, "cancelled": 1}
    assert fourth.address not in quick.handed_over
    assert history(fourth) == ["queued", "claimed", "transmitting", "cancelled"]


@pytest.mark.usefixtures("stale")
def test_what_is_looked_at_twice_counts_as_one_try(quick: PaperLine) -> None:
    five()
    assert outbox.deliver().accepted == 5
    assert set(Message.objects.values_list("attempts", flat=True)) == {1}
    assert history(Message.objects.order_by("pk")[3]) == [
        "queued",
        "claimed",
        "transmitting",
        "accepted",
    ]


def test_stopping_gives_back_what_was_looked_at_and_counts_no_try(quick: PaperLine) -> None:
    five()
    outbox.deliver(stop=lambda: len(quick.handed_over) >= 3)
    assert states() == {"accepted": 3, "queued": 2}
    assert set(Message.objects.filter(state="queued").values_list("attempts", flat=True)) == {0}


def test_a_sender_whose_time_ran_out_looks_again_at_all_that_is_behind(quick: PaperLine) -> None:
    five()

    def run_out(message: Message) -> None:
        if len(quick.handed_over) == 3 and Message.objects.filter(state="transmitting").count() > 1:
            elsewhere(
                lambda: Message.objects.filter(state="transmitting").update(
                    lease_until=an_instant_ago()
                )
            )
            elsewhere(outbox.sweep)

    quick.during = lambda message: elsewhere(lambda: run_out(message))
    outbox.deliver()
    assert sorted(quick.handed_over) == [f"client{number}@example.org" for number in range(1, 6)]
    assert states() == {"accepted": 5}


def an_instant_ago() -> datetime:
    return timezone.now() - timedelta(seconds=1)


# What a dead sender leaves behind


@pytest.fixture
def left_behind() -> list[Message]:
    """Three of five were looked at together when the sender was killed;
    whether the first went out nobody knows."""
    five()
    batch = leases.claim_messages("email", 5)
    taken = ledger.Ledger(Business.objects.get(), 600)
    taken.request_permits(batch[:3])
    taken.sync()
    assert states() == {"transmitting": 3, "claimed": 2}
    return batch


def test_only_the_first_of_those_looked_at_may_have_gone_out(
    left_behind: list[Message], line: PaperLine
) -> None:
    Message.objects.update(lease_until=an_instant_ago())
    assert outbox.sweep() == sweeping.SweepCounts(requeued=4, unconfirmed=1, expired=0)
    assert Message.objects.get(state="unconfirmed") == left_behind[0]
    assert set(Message.objects.filter(state="queued").values_list("attempts", flat=True)) == {0}
    assert outbox.deliver().accepted == 4
    assert left_behind[0].address not in line.handed_over


def test_the_order_is_that_of_the_batch_and_not_of_the_rows(line: PaperLine) -> None:
    first = queued(1)
    second = queued(2)
    Message.objects.filter(pk=second.pk).update(not_before=timezone.now() - timedelta(days=1))
    assert [message.pk for message in leases.claim_messages("email", 2)] == [
        second.pk,
        first.pk,
    ]
    Message.objects.update(state="transmitting", lease_until=an_instant_ago())
    outbox.sweep()
    assert Message.objects.get(state="unconfirmed") == second


def test_nothing_is_decided_while_one_of_them_has_time_left(left_behind: list[Message]) -> None:
    Message.objects.filter(pk__in=[left_behind[0].pk, left_behind[1].pk]).update(
        lease_until=an_instant_ago()
    )
    assert outbox.sweep() == sweeping.SweepCounts(requeued=0, unconfirmed=0, expired=0)


def test_the_batches_of_two_senders_are_told_apart(left_behind: list[Message]) -> None:
    for number in (6, 7):
        queued(number)
    leases.claim_messages("email", 5)
    Message.objects.filter(address__in=["client6@example.org", "client7@example.org"]).update(
        state="transmitting"
    )
    Message.objects.update(lease_until=an_instant_ago())
    assert outbox.sweep() == sweeping.SweepCounts(requeued=5, unconfirmed=2, expired=0)


# Several connections


@pytest.fixture
def small_batches(monkeypatch: pytest.MonkeyPatch, settings: Settings) -> None:
    monkeypatch.setattr(delivering, "BATCH_SIZE", 2)
    monkeypatch.setattr(sender, "BATCH_SIZE", 2)
    settings.EMAIL_CONNECTIONS = 2


@pytest.mark.smtp
@pytest.mark.usefixtures("small_batches")
def test_much_goes_out_by_two_connections_and_each_message_once(peer: Peer) -> None:
    peer.handler.late_seconds = 0.05
    for number in range(8):
        queued(number)
    assert outbox.deliver().accepted == 8
    assert peer.handler.commands == ["EHLO", "EHLO"]
    assert sorted(envelope.rcpt_tos[0] for envelope in peer.taken) == [
        f"client{n}@example.org" for n in range(8)
    ]


@pytest.mark.smtp
@pytest.mark.usefixtures("small_batches")
def test_little_goes_out_by_one(peer: Peer) -> None:
    queued(1)
    queued(2)
    assert outbox.deliver().accepted == 2
    assert peer.handler.commands == ["EHLO"]


@pytest.mark.usefixtures("small_batches")
def test_a_limit_holds_for_all_connections_together(line: PaperLine) -> None:
    for number in range(8):
        queued(number)
    assert outbox.deliver(limit=5).accepted == 5


@pytest.mark.usefixtures("small_batches")
def test_a_server_that_lets_only_one_in_gets_all_by_one(monkeypatch: pytest.MonkeyPatch) -> None:
    lines = [PaperLine(), PaperLine()]
    monkeypatch.setattr(lines[1], "connect", refuse)
    rest = list(lines)
    monkeypatch.setitem(channels.TRANSPORTS, "email", lambda business: rest.pop(0))
    for number in range(6):
        queued(number)
    tally = outbox.deliver()
    assert (tally.accepted, tally.line_down, channel_health.down_reasons(["email"])) == (6, [], {})
    assert len(lines[0].handed_over) == 6


def refuse() -> None:
    raise TransportDownError("421 too many connections")
