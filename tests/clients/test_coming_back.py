"""The settings of what comes back: where from, whether it works, and the end of its words."""

import json
from datetime import UTC, datetime, timedelta
from io import StringIO
from typing import Any

import pytest
from django.core.management import call_command
from django.test import Client as Browser
from django.utils import timezone
from freezegun import freeze_time
from pytest_django import Settings

from clients.messaging import incoming
from clients.messaging.actions.retention import empty_raw_events
from clients.messaging.models import InboundEvent
from clients.messaging.outbox import sender
from clients.models import Business
from reminders import tasks
from restorer import checks
from tests.bounces import report, sent, state_of

pytestmark = pytest.mark.usefixtures("business")
PAGE = "/settings/coming-back/"
SERVICE = "anymail.backends.postmark.EmailBackend"


def words_of(browser: Browser) -> str:
    return browser.get(PAGE).content.decode()


def test_words_are_emptied_after_the_months_that_the_owner_set_and_the_facts_stay(
    as_owner: Browser,
) -> None:
    message = sent()
    content = report(message, "failed", "5.1.1")
    incoming.receive_returned_mail(content=content, now=datetime(2026, 3, 31, 12, tzinfo=UTC))
    event = InboundEvent.objects.get()
    # February of a common year has 28 days: the month before March 31 is over when April begins at
    # the business
    as_owner.post(PAGE, {"raw_months": "1", "answered_link_months": "13"})

    for now, emptied in (
        (datetime(2026, 4, 30, 12, tzinfo=UTC), 0),
        (datetime(2026, 5, 1, 2, tzinfo=UTC), 0),
        (datetime(2026, 5, 1, 4, tzinfo=UTC), 1),
        (datetime(2026, 5, 2, tzinfo=UTC), 0),
    ):
        assert empty_raw_events(now=now) == emptied

    after = InboundEvent.objects.get()
    assert (after.raw, after.outcome, after.message, after.client) == (
        "",
        event.outcome,
        message,
        message.client,
    )
    assert after.received_at == event.received_at
    again = incoming.receive_returned_mail(content=content, now=datetime(2026, 5, 3, tzinfo=UTC))
    assert (again["words"], InboundEvent.objects.count()) == ("Known already: nothing was done.", 1)
    assert state_of(message) == "bounced"


def test_thirteen_months_unless_the_owner_says_otherwise_and_nothing_unprocessed() -> None:
    made: dict[str, Any] = {"source": "bounce", "raw": "words"}
    now = timezone.now()
    for number, days in enumerate((380, 430)):
        InboundEvent.objects.create(
            event_id=f"{number}", received_at=now - timedelta(days=days), processed_at=now, **made
        )
    InboundEvent.objects.create(event_id="left", received_at=now - timedelta(days=900), **made)
    out = StringIO()

    call_command("forget_words", format="json", stdout=out)

    assert json.loads(out.getvalue()) == [{"emptied": 1, "months": 13}]
    assert sorted(InboundEvent.objects.exclude(raw="").values_list("event_id", flat=True)) == [
        "0",
        "left",
    ]
    assert tasks.tidy_nightly() == 0


@pytest.mark.parametrize("months", ["0", "-1", "121", "1.5", "a year", ""])
def test_what_is_no_number_of_months_is_named_and_nothing_is_kept(
    as_owner: Browser, months: str
) -> None:
    answer = as_owner.post(PAGE, {"raw_months": months, "answered_link_months": "24"})

    assert answer.status_code == 200
    words = "Please fill this in." if not months else "Write whole months from 1 to 120."
    assert words in answer.content.decode()
    assert Business.objects.get().answered_link_months == 13


def test_the_page_says_where_news_comes_from_and_whether_it_does(
    as_owner: Browser, settings: Settings
) -> None:
    assert "mail that comes back is not read" in words_of(as_owner)

    settings.BOUNCES_HOST = "imap.example.com"
    settings.BOUNCES_USER = "bounces"
    assert "Read each minute" in words_of(as_owner)
    sender.mark_down(sender.BOUNCE_MAILBOX, "imap.example.com: wrong password")
    assert "Cannot be read" in words_of(as_owner)
    assert "wrong password" in words_of(as_owner)

    with freeze_time("2026-11-25 12:00"):
        message = sent()
        incoming.receive_returned_mail(
            content=report(message, "failed", "5.1.1"), now=timezone.now()
        )
    assert message.client.name in words_of(as_owner)
    assert f"/outbox/{message.pk}/" in words_of(as_owner)


def test_a_mail_service_whose_reports_nothing_proves_is_named(
    as_owner: Browser, settings: Settings
) -> None:
    pytest.importorskip("anymail", reason="the extra `esp` (django-anymail) is not installed")
    settings.OUTBOX_BACKEND = SERVICE
    settings.ANYMAIL = {}
    assert "Reports are refused" in words_of(as_owner)
    assert [each.id for each in checks.check_mail_reports(None)] == ["restorer.W011"]

    settings.ANYMAIL = {"WEBHOOK_SECRET": "reports:of-these-tests"}
    page = words_of(as_owner)
    assert "Reports are taken" in page
    assert "https://decks.example.com/hooks/mail/postmark" in page
    assert "of-these-tests" not in page
    assert checks.check_mail_reports(None) == []
