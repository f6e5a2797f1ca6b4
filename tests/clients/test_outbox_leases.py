"""What senders owe each other: claims and leases, what a dead one leaves behind, and a database
that goes away."""

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.db import OperationalError, connection
from django.utils import timezone

from clients.messaging import outbox
from clients.messaging.channels.transport import SendOutcome, SendPermit, SendResult
from clients.messaging.models import Message
from clients.messaging.outbox import decisions, leases, ledger
from clients.models import Business, User
from tests.outbox import queued, states
from tests.paper_line import PaperLine, elsewhere, history, leave

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("business")]


def test_two_senders_never_take_the_same_message() -> None:
    for number in range(10):
        queued(number)
    mine = leases.claim_messages("email", 6)
    theirs: list[Message] = []
    elsewhere(lambda: theirs.extend(leases.claim_messages("email", 6)))
    assert (len(mine), len(theirs)) == (6, 4)
    assert not {message.pk for message in mine} & {message.pk for message in theirs}


def test_a_claim_under_way_elsewhere_is_not_waited_for() -> None:
    for number in range(4):
        queued(number)
    with connection.cursor() as cursor:
        cursor.execute("BEGIN")
        assert len(leases.claim_messages("email", 3)) == 3
        rest: list[Message] = []
        elsewhere(lambda: rest.extend(leases.claim_messages("email", 3)))
        cursor.execute("ROLLBACK")
    assert len(rest) == 1


def test_a_sender_that_lost_its_lease_hands_nothing_over(line: PaperLine) -> None:
    message = queued(1)
    line.before = lambda claimed: elsewhere(
        lambda: Message.objects.filter(pk=claimed.pk).update(
            lease_until=timezone.now() - timedelta(seconds=1)
        )
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


def test_a_sender_that_died_before_handing_over_costs_only_time(line: PaperLine) -> None:
    leave("claimed")
    assert outbox.deliver().accepted == 1


def test_a_sender_that_died_while_handing_over_leaves_it_to_a_person(line: PaperLine) -> None:
    message = leave("transmitting")
    assert outbox.deliver().total == 0
    message.refresh_from_db()
    assert (message.state, message.lease_token, line.handed_over) == ("unconfirmed", None, [])
    assert "nobody knows" in message.reply


def test_a_sender_that_died_leaves_one_message_to_a_person_and_the_others_to_the_queue(
    line: PaperLine,
) -> None:
    for number in range(5):
        queued(number)
    batch = leases.claim_messages("email", 5)
    dying = ledger.Ledger(Business.objects.get(), 600)
    dying.request_permit(batch[0])
    assert dying.is_permitted()
    Message.objects.update(lease_until=timezone.now() - timedelta(seconds=1))
    assert outbox.sweep() == leases.SweepCounts(requeued=4, unconfirmed=1, expired=0)
    assert Message.objects.get(state="unconfirmed") == batch[0]
    assert outbox.deliver().accepted == 4
    assert batch[0].address not in line.handed_over


def test_what_was_accepted_is_written_down_before_the_next_text_leaves(line: PaperLine) -> None:
    for number in range(4):
        queued(number)
    seen: list[dict[str, int]] = []
    line.during = lambda message: elsewhere(lambda: seen.append(states()))
    assert outbox.deliver().accepted == 4
    assert [(each.get("accepted", 0), each["transmitting"]) for each in seen] == [
        (0, 1),
        (1, 1),
        (2, 1),
        (3, 1),
    ]


def test_a_lease_that_still_runs_is_left_alone(line: PaperLine) -> None:
    leave("transmitting", ago=timedelta(seconds=-60))
    outbox.deliver()
    assert states() == {"transmitting": 1}


def test_an_acceptance_after_the_lease_closes_the_unconfirmed_message(line: PaperLine) -> None:
    message = queued(1)

    def sweep_away() -> None:
        elsewhere(lambda: Message.objects.update(lease_until=timezone.now() - timedelta(seconds=1)))
        elsewhere(outbox.sweep)

    def send_late(given: Message, permit: SendPermit) -> SendOutcome:
        if permit.is_granted():
            sweep_away()
        return SendOutcome(SendResult.ACCEPTED, "250 late")

    line.send = send_late  # type: ignore[method-assign, assignment] # stands in for it
    outbox.deliver()
    message.refresh_from_db()
    assert message.state == "accepted"
    assert history(message) == ["queued", "claimed", "transmitting", "unconfirmed", "accepted"]


def test_an_acceptance_after_a_person_sent_it_again_is_only_noted(
    line: PaperLine, owner: User
) -> None:
    message = leave("transmitting")
    message.refresh_from_db()
    outbox.sweep()
    decisions.resend_message(message=message, now=timezone.now(), by=owner)
    leases.accept_late(message)
    assert states() == {"queued": 1}
    assert message.events.order_by("-id")[0].note == leases.LATE_ACCEPTANCE_NOTE


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
    monkeypatch.setattr(ledger, "RECOVERY_WAITS", (0.01, 0.01))
    send = line.send

    def send_and_cut(given: Message, permit: SendPermit) -> SendOutcome:
        outcome = send(given, permit)
        cut_database(given)
        return outcome

    line.send = send_and_cut  # type: ignore[method-assign, assignment] # stands in for it
    with pytest.raises(OperationalError):
        outbox.deliver()
    message.refresh_from_db()
    assert (message.state, message.reply) == ("accepted", "250 noted")
    assert history(message) == ["queued", "claimed", "transmitting", "accepted"]
