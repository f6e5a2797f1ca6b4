"""The call list: who, what to say, and what each ending does to the message and to what may be said
later."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client as Browser
from django.utils import timezone
from freezegun import freeze_time

from clients.messaging import outbox, suppression
from clients.messaging.models import CallNote, Message, ToDo
from clients.messaging.reach import ContactPurpose, Refusal, route_to
from clients.models import Business, ContactPoint, User
from tests.business_day import today_there
from tests.factories import ConsentFactory, PhoneFactory, PropertyFactory
from tests.outbox import queue_test_message

pytestmark = pytest.mark.usefixtures("business")


def queued_call(number: int = 1, **over: Any) -> Message:
    point = PhoneFactory(value=f"902-555-01{number:02d}", kind="phone")
    PropertyFactory(client=point.client)
    ConsentFactory(client=point.client, channel="call", wording="Yes, call me.")
    values: dict[str, Any] = {
        "client": point.client,
        "kind": "service",
        "channel": "call",
        "address": point.normalized,
        "text": "Ask whether a Tuesday in May suits.",
        "key": f"call/{number}",
    }
    return queue_test_message(**(values | over))


def note(browser: Browser, message: Message, result: str, words: str = "") -> str:
    answer = browser.post(
        f"/outbox/calls/{message.pk}/", {"result": result, "note": words}, follow=True
    )
    return answer.content.decode()


def test_the_list_says_whom_to_call_and_what_to_say(as_owner: Browser) -> None:
    message = queued_call(1)
    queued_call(2, not_before=timezone.now() + timedelta(hours=3))

    page = as_owner.get("/outbox/calls/").content.decode()

    # RFC 3966: tel:+ and the number without spaces
    assert 'href="tel:+19025550101"' in page
    assert "(902) 555-0101" in page
    assert "Ask whether a Tuesday in May suits." in page
    assert message.client.name in page
    assert "1 to make now, 1 later" in page
    assert outbox.deliver().total == 0  # no machine calls


def test_the_time_at_the_property_is_shown(owner: User, as_user: Callable[[User], Browser]) -> None:
    with freeze_time("2026-07-01 16:30:00"):
        message = queued_call(1)
        message.client.properties.update(time_zone="America/Vancouver")  # UTC-7 in summer

        page = as_user(owner).get("/outbox/calls/").content.decode()

    assert "9:30" in page


@pytest.mark.parametrize(("result", "state"), [("reached", "delivered"), ("left_word", "accepted")])
def test_a_word_spoken_or_left_is_the_message_handed_over(
    as_owner: Browser, owner: User, result: str, state: str
) -> None:
    message = queued_call(1)

    said = note(as_owner, message, result, "Wants the 12th of May")

    message.refresh_from_db()
    assert (message.state, message.accepted_at is not None) == (state, True)
    assert "Wants the 12th of May" in message.reply
    kept = CallNote.objects.get()
    assert (kept.by, kept.result) == (owner, result)
    assert "Noted for" in said
    assert "is not on the list any more" in note(as_owner, message, "no_answer")  # a second click
    assert CallNote.objects.count() == 1


def test_without_an_answer_it_comes_again_and_not_for_ever(as_owner: Browser) -> None:
    message = queued_call(1)
    waits = []
    for _ in range(3):
        note(as_owner, message, "no_answer")
        message.refresh_from_db()
        waits.append(message.not_before - timezone.now())
        assert message.state == "queued"
        Message.objects.update(not_before=timezone.now() - timedelta(minutes=1))
    assert waits == sorted(waits)
    assert waits[0] > timedelta(hours=3)

    note(as_owner, message, "no_answer")

    message.refresh_from_db()
    assert (message.state, message.reply) == ("failed", "Nobody answered in 4 tries.")
    assert message in Message.objects.needing_a_person()


def test_a_wrong_number_is_not_used_again_by_any_channel(as_owner: Browser) -> None:
    message = queued_call(1)
    other = queue_test_message(
        client=message.client,
        kind="service",
        channel="text",
        address=message.address,
        text="Driftline Deck Care: we come on Tuesday.",
        key="visit/1",
    )

    note(as_owner, message, "wrong")

    message.refresh_from_db()
    other.refresh_from_db()
    assert (message.state, other.state) == ("failed", "cancelled")
    assert "Wrong number" in ContactPoint.objects.get().suspended_why
    to_do = ToDo.objects.get()
    assert (to_do.kind, to_do.client) == ("address", message.client)
    assert as_owner.get(to_do.url).status_code == 200


def test_whoever_asks_not_to_be_called_is_never_called_again(as_owner: Browser) -> None:
    message = queued_call(1)
    again = queued_call(2, client=message.client, address=message.address)

    note(as_owner, message, "stop", "Please never again")

    message.refresh_from_db()
    again.refresh_from_db()
    assert (message.state, again.state) == ("cancelled", "cancelled")
    business = Business.objects.get()
    assert suppression.suppressed_addresses(
        business=business, channel="call", addresses=["+19025550101"]
    )
    newest = message.client.consents.filter(channel="call")[0]
    assert (newest.is_given, "Please never again" in newest.evidence) == (False, True)
    assert isinstance(
        route_to(message.client, "call", ContactPurpose.MARKETING, on=today_there()),
        Refusal,
    )


def test_a_call_that_may_not_be_made_any_more_has_no_buttons(as_owner: Browser) -> None:
    message = queued_call(1)
    suppression.suppress_address(
        business=Business.objects.get(), channel="call", address=message.address, reason="asked"
    )

    page = as_owner.get("/outbox/calls/").content.decode()

    assert "Do not call" in page
    assert "asked not to be written to" in page
    assert 'name="result"' not in page


def test_an_ending_that_is_none_changes_nothing(as_owner: Browser) -> None:
    message = queued_call(1)
    for result in ("", "shouted", "reached\x00"):
        note(as_owner, message, result)
    note(as_owner, message, "reached", "x" * 501)

    message.refresh_from_db()
    assert (message.state, CallNote.objects.count()) == ("queued", 0)
