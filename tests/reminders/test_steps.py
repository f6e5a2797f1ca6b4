"""The sequence of words about a coat: which is next, when and by which channel."""

from datetime import UTC, date, datetime, timedelta
from itertools import product
from zoneinfo import ZoneInfo

import pytest
from django.db import IntegrityError, transaction

from clients.messaging import suppression
from clients.messaging.models import Message, SendingRules, TextGateway
from clients.messaging.reach import ContactPurpose, Reach, Refusal, Route, route_to
from clients.models import Client
from reminders.models import Reminder
from tests.factories import (
    ClientFactory,
    ConsentFactory,
    EmailFactory,
    PhoneFactory,
    PropertyFactory,
    ReminderStepFactory,
)
from tests.reminders.conftest import NOW, TODAY
from tests.reminders.sequence import HALIFAX, planned, remind, went, why


def test_each_word_waits_for_its_day_in_the_morning_of_the_property(due):
    soon = due(due_on=date(2027, 1, 28))
    later = due(due_on=date(2027, 2, 27), late=date(2027, 3, 1))

    (message,) = remind().queued

    assert message.reminders.get().deck == soon
    assert message.not_before == datetime(2026, 12, 3, 9, tzinfo=HALIFAX)
    assert not Reminder.objects.filter(deck=later).exists()


def test_haste_does_not_wait_for_the_day_but_leaves_what_is_not_due_in_time(due):
    soon = due(due_on=date(2026, 12, 30))
    later = due(due_on=date(2027, 1, 1))

    result = remind(deck_ids=[soon.pk, later.pk], at_once=True)

    assert [message.not_before for message in result.queued] == [NOW]
    assert why(result) == {later.pk: "It is due January 2027, after this time."}


def test_the_second_word_waits_until_the_first_has_left_and_some_days_more(due, business):
    deck = due(due_on=date(2026, 11, 20))
    (first,) = remind().queued
    assert why(planned(business)) == {deck.pk: "The first reminder waits in the outbox."}
    went(first)

    (second,) = planned(business).planned
    assert (second.step.number, second.day) == (2, TODAY + timedelta(days=7))

    SendingRules.objects.create(id=1, days_between=20)
    assert planned(business).planned[0].day == TODAY + timedelta(days=20)


def test_after_the_last_word_there_is_silence(due, business):
    deck = due(due_on=date(2026, 11, 2), late=date(2026, 11, 3))
    for days, purpose in ((0, "first"), (10, "second"), (20, "last")):
        now = NOW + timedelta(days=days)
        (message,) = remind(now=now).queued
        assert message.reminders.get().step == {"first": 1, "second": 2, "last": 3}[purpose]
        went(message, at=now)

    end = planned(business, now=NOW + timedelta(days=30), until=date(2027, 6, 1))

    assert why(end) == {deck.pk: "All reminders have been sent, the last on Dec 15, 2026."}


def test_a_word_that_reached_nobody_goes_by_the_next_channel(due, business):
    deck = due()
    (first,) = remind().queued
    Message.objects.filter(pk=first.pk).update(state="bounced")

    (second,) = remind().queued

    assert (first.channel, second.channel) == ("email", "letter")
    assert second.idempotency_key == f"due/{deck.site_id}/{deck.jobs.get().pk}/1/letter"
    assert second.reminders.get().replaces == first.reminders.get()
    Message.objects.filter(pk=second.pk).update(state="failed")
    assert why(planned(business)) == {
        deck.pk: "E-mail: It reached nobody. Letter: It reached nobody."
    }


def test_the_database_keeps_a_coat_and_step_to_one_reminder_in_any_channel(due):
    due()
    (message,) = remind().queued
    first = message.reminders.get()

    def again(**others):
        Reminder.objects.create(deck=first.deck, job=first.job, message=message, step=1, **others)

    with pytest.raises(IntegrityError, match="reminder_once_a_coat_and_step"), transaction.atomic():
        again(channel="letter")
    again(channel="letter", replaces=first)
    with pytest.raises(IntegrityError, match="replaces"), transaction.atomic():
        again(channel="call", replaces=first)


def test_an_unconfirmed_word_is_not_said_again_by_the_machine(due, business):
    deck = due()
    (message,) = remind().queued
    Message.objects.filter(pk=message.pk).update(state="unconfirmed")

    assert why(planned(business))[deck.pk].startswith(
        "Nobody knows whether the first reminder went out"
    )


def test_who_did_not_agree_to_email_gets_a_letter_unless_they_object(due, business):
    plain = ClientFactory()
    objecting = ClientFactory()
    due(client=plain)
    silent = due(client=objecting)
    ConsentFactory(client=objecting, channel="text", is_given=False)

    result = remind()

    assert [(message.client, message.channel, message.consent) for message in result.queued] == [
        (plain, "letter", None)
    ]
    assert silent.pk in why(planned(business))


@pytest.fixture
def gateway(db):
    return TextGateway.objects.create(
        id=1, url="https://gateway.example.com/send", template={"to": "{to}"}, is_on=True
    )


def test_a_clients_favourite_way_comes_first_and_keeps_quiet_times(due, business, gateway):
    client = ClientFactory(preferred_channel="text")
    EmailFactory(client=client)
    ConsentFactory(client=client)
    PhoneFactory(client=client)
    ConsentFactory(client=client, channel="text", basis="written")
    due(client=client)
    late = datetime(2026, 11, 28, 21, tzinfo=HALIFAX)  # a Saturday evening

    (message,) = remind(now=late).queued

    assert message.channel == "text"
    assert message.not_before == datetime(2026, 11, 30, 9, tzinfo=HALIFAX)  # Sunday is quiet


def test_where_answers_are_owed_no_text_comes_from_a_name(due, business, gateway):
    """New Zealand's law wants text messages that can be answered; the letter goes instead."""
    TextGateway.objects.update(sender="DRIFTLINE")
    client = ClientFactory(preferred_channel="text")
    PhoneFactory(client=client)
    ConsentFactory(client=client, channel="text", basis="written")
    due(
        site=PropertyFactory(
            client=client, country="NZ", region="Nelson", time_zone="Pacific/Auckland"
        )
    )

    assert [message.channel for message in remind().queued] == ["letter"]


def test_a_client_with_decks_in_two_zones_hears_when_both_are_awake(due, business, gateway):
    client = ClientFactory(preferred_channel="text")
    PhoneFactory(client=client)
    ConsentFactory(client=client, channel="text", basis="written")
    due(client=client)
    far = PropertyFactory(
        client=client, country="NZ", region="Nelson", time_zone="Pacific/Auckland"
    )
    due(site=far)

    (message,) = remind(now=datetime(2026, 11, 30, 13, 30, tzinfo=UTC)).queued

    assert message.reminders.count() == 2
    for zone in (HALIFAX, ZoneInfo("Pacific/Auckland")):
        assert 9 <= message.not_before.astimezone(zone).hour < 20


def test_decks_of_a_client_go_together_in_the_gentlest_word(due, business):
    first = due(due_on=date(2026, 11, 2))
    went(remind().queued[0])
    Message.objects.update(accepted_at=NOW - timedelta(days=20))
    other = due(site=first.site, opens=date(2026, 12, 5))

    (message,) = remind().queued

    assert {(reminder.deck_id, reminder.step) for reminder in message.reminders.all()} == {
        (first.pk, 2),
        (other.pk, 1),
    }
    assert message.idempotency_key.endswith(f"/{first.jobs.get().pk}/2/email")


def test_a_french_client_reads_french_with_french_dates(due):
    client = ClientFactory(language="fr")
    EmailFactory(client=client)
    ConsentFactory(client=client)
    due(client=client)

    (message,) = remind().queued

    assert message.language == "fr"
    assert "Dernière couche\N{NO-BREAK SPACE}: Tidewood Deck Oil" in message.text
    assert "janvier 2027" in message.text
    assert "Ce dont nous avons tenu compte\N{NO-BREAK SPACE}: peu de soleil" in message.text


def test_a_step_taken_out_of_use_is_passed_over(due, business):
    ReminderStepFactory(number=1, is_on=False)
    ReminderStepFactory(
        number=2, purpose="second", anchor="due", offset_days=-14, channels=["letter"]
    )
    due(due_on=date(2026, 12, 20))

    (row,) = planned(business).planned

    assert (row.step.number, row.route.channel, row.day) == (2, "letter", date(2026, 12, 6))


def test_planning_asks_the_same_number_of_questions_for_many(
    due, business, django_assert_max_num_queries
):
    due(client=ClientFactory())
    for _ in range(12):
        due(client=ClientFactory())
    due()

    with django_assert_max_num_queries(19):
        made = planned(business)

    assert len(made.planned) == 14


def test_nobody_is_left_out_for_a_client_without_a_language_or_favourite(due):
    due()

    assert Client.objects.get().preferred_channel == ""
    assert len(remind().queued) == 1


def test_the_ways_to_many_are_those_to_one(coated, business):
    """`Reach` answers for many clients what `route_to` answers for one."""
    clients = [coated().site.client for _ in range(8)]
    clients[0].contact_points.update(suspended_at=NOW, suspended_why="the far side refused it")
    address = clients[2].contact_points.get(kind="email").value
    suppression.suppress_address(
        business=business, channel="email", address=address.upper(), reason="asked"
    )
    clients[3].contact_points.all().delete()
    EmailFactory(client=clients[4], value="older@example.org", is_preferred=False)
    PhoneFactory(client=clients[4])
    ConsentFactory(client=clients[4], channel="text", basis="customer")
    PropertyFactory(client=clients[5], country="US", region="Maine", time_zone="America/New_York")
    ConsentFactory(client=clients[5], basis="inquiry", expires_on=TODAY + timedelta(days=9))
    Client.objects.filter(pk=clients[6].pk).update(
        postal_street="9 Tern Wharf", postal_town="Nelson"
    )
    Client.objects.filter(pk=clients[6].pk).update(postal_country="NZ")
    ConsentFactory(client=clients[7], basis="customer", expires_on=TODAY - timedelta(days=1))

    contacts = Reach([client.pk for client in clients], business=business)
    marketing = ContactPurpose.MARKETING

    answers = []
    for client, channel in product(clients, ["email", "text", "letter", "call"]):
        many = contacts.route(client.pk, channel, marketing, on=TODAY)
        one = route_to(Client.objects.get(pk=client.pk), channel, marketing, on=TODAY)
        assert many == one
        answers.append(many)
    assert contacts.transports_down == {"text": "No gateway for text messages is in use."}
    assert 8 <= sum(isinstance(each, Route) for each in answers) <= 24


def test_whoever_left_by_one_channel_is_not_pursued_by_another(coated, business):
    client = coated().site.client
    ConsentFactory(client=client, is_given=False)

    assert route_to(client, "letter", ContactPurpose.MARKETING, on=TODAY) == Refusal(
        "The client withdrew consent elsewhere, so they are left alone."
    )
