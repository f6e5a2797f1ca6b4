"""The outbox page: what needs a person, what everything says and where it stands, and who may press
what."""

from datetime import UTC, datetime

import pytest
from django.test import Client
from django.utils import timezone
from pytest_django import DjangoAssertNumQueries

from clients.messaging import outbox
from clients.messaging.models import Message
from clients.models import User
from tests.outbox import queued

pytestmark = pytest.mark.usefixtures("business")


def put(message: Message, state: str, **changes: object) -> Message:
    if state in {"accepted", "delivered"}:
        changes.setdefault("accepted_at", timezone.now())
    Message.objects.filter(pk=message.pk).update(state=state, **changes)
    message.refresh_from_db()
    return message


def test_the_page_counts_and_shows_first_what_needs_a_person(as_owner: Client) -> None:
    put(queued(1), "unconfirmed")
    put(queued(2), "failed", reply="550 5.1.1 no such mailbox")
    queued(3)
    page = as_owner.get("/outbox/").content.decode()
    assert page.index("Needs you") < page.index("All messages")
    assert "550 5.1.1 no such mailbox" in page
    assert "It went out" in page
    assert "Send again" in page
    assert 'href="?state=queued"' in page


def test_an_empty_outbox_says_what_to_do(as_owner: Client) -> None:
    assert "Nothing has been said yet" in as_owner.get("/outbox/").content.decode()


def test_messages_are_found_by_state_and_by_client(as_owner: Client) -> None:
    wanted = queued(1)
    other = put(queued(2), "accepted")
    by_state = as_owner.get("/outbox/", {"state": "accepted"}).content.decode()
    assert other.client.name in by_state
    assert wanted.client.name not in by_state
    by_name = as_owner.get("/outbox/", {"q": wanted.client.name.upper()}).content.decode()
    assert wanted.client.name in by_name
    assert f">{other.client.name}<" not in by_name
    assert as_owner.get("/outbox/", {"state": "no such state", "page": "x"}).status_code == 200


def test_a_long_outbox_has_pages_and_few_queries(
    as_owner: Client, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    for number in range(52):
        put(queued(number), "unconfirmed")
    with django_assert_max_num_queries(11):  # one is what can be taken back
        page = as_owner.get("/outbox/")
    assert "Page" in page.content.decode()
    assert as_owner.get("/outbox/?page=2").content.decode().count('class="lead"') == 2


def test_the_message_shows_its_text_its_steps_and_the_last_answer(
    as_owner: Client, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    message = put(queued(1), "failed", reply="550 5.1.1 <no> such mailbox")
    with django_assert_max_num_queries(8):
        page = as_owner.get(f"/outbox/{message.pk}/").content.decode()
    assert "The finish on your deck is due." in page
    assert "550 5.1.1 &lt;no&gt; such mailbox" in page
    assert "Each step" in page


def test_decisions_act_once_and_say_so(as_owner: Client, owner: User) -> None:
    message = put(queued(1), "unconfirmed")
    first = as_owner.post(f"/outbox/{message.pk}/confirm/", follow=True).content.decode()
    second = as_owner.post(f"/outbox/{message.pk}/again/", follow=True).content.decode()
    assert "Noted: it went out." in first
    assert "Nothing was changed: the message is sent now." in second
    message.refresh_from_db()
    assert message.state == "accepted"
    assert message.events.order_by("-id")[0].by == owner


@pytest.mark.parametrize(
    ("state", "action", "after"),
    [
        ("queued", "cancel", "cancelled"),
        ("failed", "again", "queued"),
        ("bounced", "aside", "cancelled"),
        ("unconfirmed", "again", "queued"),
        ("unconfirmed", "aside", "cancelled"),
        ("queued", "hold", "queued"),
    ],
)
def test_each_action_leads_where_it_says(
    as_owner: Client, state: str, action: str, after: str
) -> None:
    message = put(queued(1), state)
    assert (
        f"/outbox/{message.pk}/{action}/" in as_owner.get(f"/outbox/{message.pk}/").content.decode()
    )
    as_owner.post(f"/outbox/{message.pk}/{action}/", {"back": "list"})
    message.refresh_from_db()
    assert message.state == after


def test_a_look_changes_nothing_and_an_unknown_action_is_none(as_owner: Client) -> None:
    message = queued(1)
    assert as_owner.get(f"/outbox/{message.pk}/cancel/").status_code == 405
    assert as_owner.post(f"/outbox/{message.pk}/burn/").status_code == 404
    assert as_owner.post("/outbox/999999/cancel/").status_code == 404


def test_the_crew_has_no_part_in_it(crew: User, as_user: object) -> None:
    message = queued(1)
    client = as_user(crew)
    assert client.get("/outbox/").status_code == 403
    assert client.get(f"/outbox/{message.pk}/").status_code == 403
    assert client.post(f"/outbox/{message.pk}/cancel/").status_code == 403
    message.refresh_from_db()
    assert message.state == "queued"


def test_the_office_may_send(office: User, as_user: object) -> None:
    assert as_user(office).get("/outbox/").status_code == 200


def test_a_mail_server_that_is_away_is_told_on_the_page(as_owner: Client, settings: object) -> None:
    settings.EMAIL_HOST = "127.0.0.1"  # type: ignore[attr-defined]
    settings.EMAIL_PORT = 1  # type: ignore[attr-defined]
    queued(1)
    outbox.deliver()
    assert "The mail server cannot be reached." in as_owner.get("/outbox/").content.decode()


def test_a_late_evening_counts_as_the_day_it_is_at_the_business(as_owner: Client) -> None:
    # 02:30 in UTC on 2 July is 23:30 on 1 July in Halifax (UTC−3 in summer, IANA time zone
    # database).
    message = put(queued(1), "queued", queued_at=datetime(2026, 7, 2, 2, 30, tzinfo=UTC))
    page = as_owner.get("/outbox/").content.decode()
    assert "Jul 1, 2026" in page
    assert message.queued_at.day == 2
