"""What nobody knows to have gone out is said as a letter or by telephone:
by a person, in time, once."""

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client as Browser
from django.utils import timezone

from clients.messaging import message_keys
from clients.messaging.models import Attachment, Consent, Message, MessageEvent
from clients.models import Business
from tests.factories import PropertyFactory
from tests.outbox import queued

pytestmark = pytest.mark.usefixtures("business")


def doubtful(hours: float = 49, kind: str = "offer", **over: Any) -> Message:
    """Unconfirmed for so long; 48 hours is what the rules say."""
    then = timezone.now() - timedelta(days=4)
    message = queued(1, kind=kind, key="offer/12-1/email", now=then, **over)
    PropertyFactory(client=message.client)
    Message.objects.filter(pk=message.pk).update(state="unconfirmed")
    MessageEvent.objects.create(
        message=message, state="unconfirmed", at=timezone.now() - timedelta(hours=hours)
    )
    return message


def press(browser: Browser, message: Message, action: str) -> str:
    return browser.post(f"/outbox/{message.pk}/{action}/", follow=True).content.decode()


def states() -> list[tuple[str, str]]:
    return list(Message.objects.order_by("pk").values_list("channel", "state"))


def test_after_the_hours_of_the_rules_it_goes_as_a_letter_once(as_owner: Browser) -> None:
    message = doubtful(attachments=[("offer.pdf", "application/pdf", b"%PDF-1.7 offer")])
    page = as_owner.get(f"/outbox/{message.pk}/").content.decode()
    assert "Send it as a letter" in page
    assert "Put it on the call list" in page

    assert "among the letters to print" in press(as_owner, message, "by_letter")
    assert "Nothing was changed" in press(as_owner, message, "by_letter")
    assert "Nothing was changed" in press(as_owner, message, "by_call")

    assert states() == [("email", "cancelled"), ("letter", "queued")]
    letter = Message.objects.get(channel="letter")
    link = message_keys.unsubscribe_link(Business.objects.get(), message)
    assert (letter.idempotency_key, letter.kind) == ("offer/12-1/email/letter", "offer")
    assert link
    assert link not in letter.text
    assert "To stop" not in letter.text
    assert "The finish on your deck is due." in letter.text
    assert bytes(Attachment.objects.get(message=letter).content) == b"%PDF-1.7 offer"


def test_before_that_nothing_is_offered_and_nothing_goes(as_owner: Browser) -> None:
    message = doubtful(hours=47)
    assert "another way" not in as_owner.get(f"/outbox/{message.pk}/").content.decode()
    assert "Nothing was changed" in press(as_owner, message, "by_letter")
    assert states() == [("email", "unconfirmed")]


def test_who_objected_to_letters_or_has_no_number_is_left_alone_and_the_page_says_why(
    as_owner: Browser,
) -> None:
    message = doubtful()
    Consent.objects.create(client=message.client, channel="letter", is_given=False)
    assert "withdrew consent" in press(as_owner, message, "by_letter")
    assert "It cannot go by phone call" in press(as_owner, message, "by_call")
    assert states() == [("email", "unconfirmed")]


def test_a_reminder_goes_on_along_its_steps_instead(as_owner: Browser) -> None:
    message = doubtful(kind="reminder")
    page = as_owner.get(f"/outbox/{message.pk}/").content.decode()
    assert f'action="/reminders/otherwise/{message.pk}/"' in page
    assert "Nothing was changed" in press(as_owner, message, "by_letter")
