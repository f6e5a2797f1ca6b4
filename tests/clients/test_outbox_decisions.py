"""What people decide about messages that are waiting, unconfirmed or held."""

import pytest
from django.utils import timezone

from clients.messaging import outbox
from clients.messaging.models import Message
from clients.messaging.outbox import decisions
from clients.models import User
from tests.outbox import queued
from tests.paper_line import PaperLine, leave

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("business")]


def test_an_unconfirmed_message_is_closed_by_a_person_once(owner: User) -> None:
    message = leave("transmitting")
    outbox.sweep()
    now = timezone.now()
    assert decisions.confirm_sent(message=message, now=now, by=owner)
    assert not decisions.confirm_sent(message=message, now=now, by=owner)
    message.refresh_from_db()
    assert (message.state, message.accepted_at) == ("accepted", now)
    assert message.events.order_by("-id")[0].by == owner


def test_sending_again_takes_a_new_message_id_and_a_second_click_does_nothing(
    line: PaperLine, owner: User
) -> None:
    message = leave("transmitting")
    outbox.sweep()
    first = message.message_id
    assert outbox.resend_message(message=message, now=timezone.now(), by=owner)
    assert not outbox.resend_message(message=message, now=timezone.now(), by=owner)
    message.refresh_from_db()
    assert message.message_id == first.replace("@", ".2@")
    assert outbox.deliver().accepted == 1
    Message.objects.update(state="bounced")
    message.refresh_from_db()
    assert outbox.resend_message(message=message, now=timezone.now(), by=owner)
    message.refresh_from_db()
    assert message.message_id == first.replace("@", ".3@")


def test_a_held_message_goes_out_after_release(line: PaperLine, owner: User) -> None:
    message = queued(1)
    assert decisions.hold_message(message=message, now=timezone.now(), by=owner)
    assert not decisions.hold_message(message=message, now=timezone.now(), by=owner)
    assert outbox.deliver().total == 0
    assert decisions.release_message(message=message, now=timezone.now(), by=owner)
    assert not decisions.release_message(message=message, now=timezone.now(), by=owner)
    assert outbox.deliver().accepted == 1
    assert [event.note for event in message.events.order_by("id")][1:3] == [
        "Held back.",
        "Released.",
    ]
