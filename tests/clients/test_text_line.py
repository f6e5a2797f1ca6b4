"""Text messages through a real HTTP peer:
how each answer ends, what leaves when, and what a lost answer proves."""

from collections.abc import Iterator
from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone
from pytest_django import Settings

from clients.messaging import channels, outbox, suppression
from clients.messaging.models import Message, MessageEvent, SendingRules, Suppression, TextGateway
from clients.messaging.outbox import decisions, delivery_reports
from clients.models import Business, User
from tests.gateway import Peer, gateway_row, queued_text, running_gateway
from tests.outbox import states

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("business")]


@pytest.fixture
def peer(settings: Settings) -> Iterator[Peer]:
    settings.GATEWAY_TIMEOUT = 0.3
    with running_gateway() as running:
        running.gateway.manners = type(running.gateway.manners)(stall_seconds=0.8)
        yield running


@pytest.fixture
def row(peer: Peer) -> TextGateway:
    return gateway_row(peer.url)


def test_a_message_goes_out_once_with_our_reference(peer: Peer, row: TextGateway) -> None:
    message = queued_text(1)
    TextGateway.objects.update(hook_hash="0" * 64)  # it reports by itself

    assert outbox.deliver().accepted == 1
    assert outbox.deliver().total == 0

    message.refresh_from_db()
    reference = message.message_id.strip("<>").partition("@")[0]
    assert peer.taken == [
        {"to": "+19025550101", "from": "+19025550100", "text": message.text, "reference": reference}
    ]
    assert (message.state, message.provider_id, message.attempts) == ("accepted", "fake-1", 1)
    assert message.reply.startswith("201 ")
    assert [event.state for event in message.events.order_by("id")] == [
        "queued",
        "claimed",
        "transmitting",
        "accepted",
    ]


def test_a_gateway_that_cannot_post_to_us_is_asked_what_arrived(
    peer: Peer, row: TextGateway
) -> None:
    message = queued_text(1)

    outbox.deliver()

    message.refresh_from_db()
    assert (message.state, len(peer.taken)) == ("delivered", 1)


def test_many_share_a_connection_and_each_has_one_recipient(peer: Peer, row: TextGateway) -> None:
    TextGateway.objects.update(look_up_url="")
    for number in range(1, 6):
        queued_text(number)

    outbox.deliver()

    assert sorted(each["to"] for each in peer.taken) == [
        f"+190255501{number:02d}" for number in range(1, 6)
    ]
    assert states() == {"accepted": 5}


def withdraw(message: Message) -> None:
    suppression.suppress_address(
        business=Business.objects.get(), channel="text", address=message.address, reason="asked"
    )


def test_the_body_does_not_leave_once_the_number_is_suppressed(
    peer: Peer, row: TextGateway, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Late(channels.text.GatewayTransport):
        def post(self, values: dict[str, str], permit: Any) -> Any:
            withdraw(message)  # after the claim, before the last look
            return super().post(values, permit)

    message = queued_text(1)
    monkeypatch.setitem(channels.TRANSPORTS, "text", Late)

    outbox.deliver()

    message.refresh_from_db()
    assert (message.state, peer.taken) == ("cancelled", [])


def test_refusals_end_as_the_row_says(peer: Peer, row: TextGateway) -> None:
    refused = queued_text(1)
    put_off = queued_text(2)
    opted_out = queued_text(3)
    peer.gateway.planned_faults = ["refuse", "busy", "opted_out"]
    waiting = queued_text(4, client=opted_out.client, not_before=timezone.now() + timedelta(days=1))

    tally = outbox.deliver()

    assert (tally.failed, tally.put_off) == (2, 1)
    for message in (refused, put_off, opted_out, waiting):
        message.refresh_from_db()
    assert [each.state for each in (refused, put_off, opted_out, waiting)] == [
        "failed",
        "queued",
        "failed",
        "cancelled",
    ]
    assert put_off.not_before > timezone.now()
    assert Suppression.objects.get().channel == "text"
    newest = opted_out.client.consents.filter(channel="text")[0]
    assert (newest.is_given, "asked to hear no more" in newest.wording) == (False, True)


def test_a_lost_answer_is_unconfirmed_and_never_sent_again(peer: Peer, row: TextGateway) -> None:
    TextGateway.objects.update(look_up_url="")
    messages = [queued_text(number) for number in (1, 2)]
    peer.gateway.planned_faults = ["stall", "lose"]

    for _ in range(3):
        outbox.deliver()

    assert (len(peer.taken), states()) == (1, {"unconfirmed": 2})
    # once the gateway can be asked, it proves one of them; of the other it may not know yet
    TextGateway.objects.update(look_up_url=row.look_up_url)
    outbox.deliver()
    for message in messages:
        message.refresh_from_db()
    assert sorted(message.state for message in messages) == ["delivered", "unconfirmed"]
    assert (
        "reports that it arrived"
        in Message.objects.get(state="delivered").events.order_by("-id")[0].note
    )


def later(message: Message) -> None:
    """As if all that happened to it were an hour ago."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(delivery_reports, "SETTLING_TIME", timedelta(0))
        assert delivery_reports.query_gateway(message=message, now=timezone.now())


def test_what_the_gateway_does_not_know_after_a_while_did_not_go_out(
    peer: Peer, row: TextGateway, owner: User
) -> None:
    message = queued_text(1)
    peer.gateway.planned_faults = ["lose"]
    outbox.deliver()
    assert delivery_reports.query_gateway(message=message, now=timezone.now()).startswith(
        "The gateway does not know it yet"
    )

    later(message)

    message.refresh_from_db()
    assert (message.state, peer.taken) == ("failed", [])
    assert decisions.resend_message(message=message, now=timezone.now(), by=owner)
    outbox.deliver()
    message.refresh_from_db()
    assert message.state == "delivered"
    assert [each["reference"] for each in peer.taken] == [
        message.message_id.strip("<>").rpartition("@")[0]
    ]


def test_one_that_drops_repeated_references_gets_the_same_one_again(
    peer: Peer, row: TextGateway, owner: User
) -> None:
    TextGateway.objects.update(honours_reference=True, look_up_url="")
    message = queued_text(1)
    peer.gateway.planned_faults = ["forget"]
    outbox.deliver()
    message.refresh_from_db()
    assert message.state == "unconfirmed"

    assert decisions.resend_message(message=message, now=timezone.now(), by=owner)
    outbox.deliver()

    first, second = peer.taken
    assert first["reference"] == second["reference"]


def test_three_lost_answers_in_a_row_spare_the_rest_of_the_queue(
    peer: Peer, row: TextGateway
) -> None:
    TextGateway.objects.update(look_up_url="")
    for number in range(1, 8):
        queued_text(number)
    peer.gateway.planned_faults = ["forget"] * 7

    tally = outbox.deliver()

    assert states() == {"unconfirmed": 3, "queued": 4}
    assert "3 answers in a row were lost" in tally.line_down[0]
    assert not Message.objects.filter(state="queued", attempts__gt=0).exists()


def test_a_gateway_that_is_not_there_leaves_the_queue_as_it_is(row: TextGateway) -> None:
    message = queued_text(1)
    for over in ({"url": "http://127.0.0.1:1/messages"}, {"is_on": False}):
        TextGateway.objects.update(**over)

        assert len(outbox.deliver().line_down) == 1

        message.refresh_from_db()
        assert (message.state, message.attempts) == ("queued", 0)
    assert not MessageEvent.objects.filter(state="claimed").exists()


def test_a_gateway_that_does_not_let_us_in_stops_the_line_not_the_messages(
    row: TextGateway, monkeypatch: pytest.MonkeyPatch
) -> None:
    queued_text(1), queued_text(2)
    monkeypatch.setattr(
        "clients.messaging.channels.fake_gateway.FakeGatewayHandler.respond",
        lambda self, *_: self.send_json(401, {"error": "key"}),
    )

    tally = outbox.deliver()

    assert states() == {"queued": 2}
    assert "401" in tally.line_down[0]


def test_we_show_who_we_are(peer: Peer, row: TextGateway) -> None:
    ways = [
        ({"auth": "bearer", "auth_secret": "s3"}, "authorization", "Bearer s3"),
        ({"auth": "header", "auth_name": "X-Key", "auth_secret": "s3"}, "x-key", "s3"),
        # RFC 7617, 2: the worked example
        (
            {"auth": "basic", "auth_name": "Aladdin", "auth_secret": "open sesame"},
            "authorization",
            "Basic QWxhZGRpbjpvcGVuIHNlc2FtZQ==",
        ),
    ]
    for number, (over, header, value) in enumerate(ways, 1):
        TextGateway.objects.update(**over)
        queued_text(number)
        outbox.deliver()
        assert peer.gateway.request_headers[-1][header] == value


def test_what_waited_does_not_ring_at_night(peer: Peer, row: TextGateway) -> None:
    reminder = queued_text(1)
    answer = queued_text(2, kind="service", text="We come on Tuesday.")
    own = timezone.now().astimezone(ZoneInfo("America/Halifax"))
    hour = (
        (own + timedelta(hours=2)).time().replace(microsecond=0)
    )  # of the wall clock at the property
    SendingRules.objects.update(quiet_from=(own - timedelta(hours=2)).time(), quiet_until=hour)

    assert outbox.deliver().accepted == 1

    reminder.refresh_from_db()
    assert [each["text"] for each in peer.taken] == [answer.text]
    assert (reminder.state, reminder.attempts) == ("queued", 0)
    assert (
        reminder.not_before.astimezone(ZoneInfo("America/Halifax")).time().replace(microsecond=0)
        == hour
    )
    assert "Quiet hours there until" in reminder.events.order_by("-id")[0].note
