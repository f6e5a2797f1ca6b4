"""The owner hears of it: what clients do, and what stands still, once, by mail, not at night."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from email import message_from_bytes
from email.policy import default
from typing import Any

import pytest
from pytest_django import Settings

from clients.messaging import outbox
from clients.messaging.actions.staff_notices import announce_to_staff, mail_staff_notices
from clients.messaging.actions.to_dos import add_to_do
from clients.messaging.models import SendingRules, StaffNotice, ToDo
from clients.models import Business, User
from jobs.actions import offer_answers
from reminders import tasks
from tests.jobs.offer_book import price_list
from tests.jobs.sent_offers import sent_offer
from tests.outbox import queued
from tests.peer import Peer
from tests.signing_in import signed_in

pytestmark = pytest.mark.django_db(transaction=True)
NOON = datetime(2026, 11, 30, 16, tzinfo=UTC)  # a Monday, noon in Halifax
NIGHT = NOON + timedelta(hours=10)


@pytest.fixture
def maren(owner: User) -> User:
    owner.email = "maren@example.com"
    owner.save()
    return owner


def mails(peer: Peer) -> list[Any]:
    return [message_from_bytes(each.content, policy=default) for each in peer.taken]


@pytest.mark.smtp
def test_an_answer_is_mailed_once_however_often_somebody_looks(maren: User, peer: Peer) -> None:
    announce_to_staff(key="a", words="Ottilie accepted offer 104.", url="/offers/4/", now=NOON)
    announce_to_staff(key="a", words="Ottilie accepted offer 104.", url="/offers/4/", now=NOON)

    assert [mail_staff_notices(now=NOON), mail_staff_notices(now=NOON)] == [1, 0]

    (mail,) = mails(peer)
    assert (mail["To"], mail["Subject"]) == ("maren@example.com", "Ottilie accepted offer 104.")
    assert mail["Auto-Submitted"] == "auto-generated"  # RFC 3834, 5: nobody's machine answers it
    assert "https://decks.example.com/offers/4/" in mail.get_content()


@pytest.mark.smtp
def test_what_no_server_took_waits_and_what_may_have_been_taken_does_not_go_twice(
    maren: User, peer: Peer, settings: Settings
) -> None:
    announce_to_staff(key="a", words="Ottilie asks.", now=NOON)
    port = settings.EMAIL_PORT
    settings.EMAIL_PORT = 1
    assert mail_staff_notices(now=NOON) == 0
    settings.EMAIL_PORT = port
    peer.handler.once["DOT"] = ["drop the connection"]

    mail_staff_notices(now=NOON)
    mail_staff_notices(now=NOON)

    assert len(peer.taken) == 1


@pytest.mark.smtp
def test_at_night_nothing_is_mailed_and_a_digest_comes_once_a_day(maren: User, peer: Peer) -> None:
    SendingRules.objects.create(id=1, on_sundays=True)
    announce_to_staff(key="a", words="One.", now=NIGHT)
    assert mail_staff_notices(now=NIGHT) == 0
    User.objects.update(notices_by="daily")
    morning = NIGHT + timedelta(hours=12)

    assert mail_staff_notices(now=morning) == 1
    announce_to_staff(key="b", words="Two.", now=morning)
    announce_to_staff(key="c", words="Three.", now=morning)
    assert mail_staff_notices(now=morning + timedelta(hours=2)) == 0
    assert mail_staff_notices(now=morning + timedelta(days=1)) == 1

    assert [mail["Subject"] for mail in mails(peer)] == ["One.", "2 things to look at"]


def test_who_wants_nothing_or_goes_out_with_the_crew_gets_nothing(maren: User, crew: User) -> None:
    User.objects.filter(pk=crew.pk).update(email="tern@example.com")
    User.objects.filter(pk=maren.pk).update(notices_by="none")

    announce_to_staff(key="a", words="One.", now=NOON)

    assert not StaffNotice.objects.exists()


def test_accepting_asking_declining_and_leaving_are_noted(maren: User, business: Business) -> None:
    price_list()
    asked, _ = sent_offer()
    declined, _ = sent_offer()
    now = datetime(2027, 5, 10, 12, tzinfo=UTC)

    offer_answers.ask_question(token_hash=asked.token_hash or "", words="Is it safe?", now=now)
    offer_answers.decline_offer(
        token_hash=declined.token_hash or "", reason="price", words="", name="Marlow", now=now
    )
    add_to_do(matter=ToDo(kind="answer", key="x", words="Marlow accepted offer 101."), now=now)
    message = queued(7)
    opt = outbox.unsubscribe_by_token
    link = message.text.partition("/u/")[2].split("/")[0]
    assert opt(token=link, now=now)

    words = " ".join(StaffNotice.objects.values_list("words", flat=True))
    for part in ("Is it safe?", "declined: The price", "accepted offer 101", "Unsubscribed"):
        assert part in words


def test_dead_mail_is_noted_once_a_day_and_makes_no_notice_of_its_own(
    maren: User, settings: Settings
) -> None:
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", 1
    queued(1)

    for _ in range(3):
        tasks.tick()

    notice = StaffNotice.objects.get()
    assert notice.words.startswith("E-mail: nothing could be sent at")
    assert notice.mailed_at is None


def test_on_monday_the_plan_of_the_week_is_announced(
    maren: User, business: Business, monkeypatch: pytest.MonkeyPatch
) -> None:
    plan: Callable[..., Any] = lambda *a, **k: type("Plan", (), {"planned": [1, 2, 3]})()  # noqa: E731
    monkeypatch.setattr(tasks, "plan_reminders", plan)

    assert tasks.announce_week(business, now=NOON) == 3
    assert tasks.announce_week(business, now=NOON + timedelta(days=1)) == 0

    words = StaffNotice.objects.get().words
    assert words == "The plan of this week is ready: 3 clients are to be reminded."


def test_each_person_chooses_for_themselves(maren: User) -> None:
    as_owner = signed_in(maren)
    refused = as_owner.post("/settings/notices/", {"notices_by": "daily", "email": ""})
    as_owner.post("/settings/notices/", {"notices_by": "daily", "email": "desk@example.com"})

    assert "Write the address that it goes to" in refused.content.decode()
    maren.refresh_from_db()
    assert (maren.notices_by, maren.email) == ("daily", "desk@example.com")
