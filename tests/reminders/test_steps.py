"""The sequence of words about a coat: which is next, when, by which channel, and what stops it."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from django.db import IntegrityError, transaction
from hypothesis import given, settings
from hypothesis import strategies as st

from clients.actions import properties
from clients.models import Client, Message, SendingRules, TextGateway
from jobs.actions import bookings
from jobs.after import decks_declined, jobs_changed
from reminders import actions, words
from reminders.models import Forecast, PacedDeck, Reminder, Stop
from reminders.steps import plan
from reminders.steps.caps import allowed_day
from tests.factories import (
    ClientFactory,
    ConsentFactory,
    CrewFactory,
    EmailFactory,
    MessageFactory,
    OfferFactory,
    OfferScopeFactory,
    PhoneFactory,
    PropertyFactory,
    ReminderStepFactory,
)
from tests.reminders.conftest import NOW, TODAY, coat, refresh

HALIFAX = ZoneInfo("America/Halifax")
JANUARY = date(2027, 1, 1)


@pytest.fixture
def due(coated):
    """A deck with a window of chosen days."""

    def make(opens=date(2026, 11, 1), due_on=date(2026, 12, 10), late=date(2027, 2, 1), **deck):
        made = coated(**deck)
        Forecast.objects.filter(deck=made).update(window_opens_on=opens, due_on=due_on, late_on=late)
        return made

    return make


def remind(now=NOW, until=JANUARY, deck_ids=None, **options):
    return actions.remind(deck_ids=deck_ids, until=until, by=None, now=now, **options)


def planned(business, now=NOW, until=JANUARY):
    return plan(business=business, now=now, until=until)


def went(message, at=NOW):
    Message.objects.filter(pk=message.pk).update(state="accepted", accepted_at=at)


def why(result):
    return {each.deck_id: each.why for each in result.left_out}


def test_each_word_waits_for_its_day_in_the_morning_of_the_property(due):
    soon, later = due(opens=date(2026, 12, 3)), due(opens=date(2027, 1, 2), due_on=date(2027, 1, 9))

    (message,) = remind().queued

    assert message.reminders.get().deck == soon
    assert message.not_before == datetime(2026, 12, 3, 9, tzinfo=HALIFAX)
    assert not Reminder.objects.filter(deck=later).exists()


def test_haste_does_not_wait_for_the_day_but_leaves_what_is_not_due_in_time(due):
    soon, later = due(opens=date(2026, 12, 3)), due(due_on=date(2027, 1, 1))

    result = remind(deck_ids=[soon.pk, later.pk], at_once=True)

    assert [message.not_before for message in result.queued] == [NOW]
    assert why(result) == {later.pk: "It is due by Jan 1, 2027, after this time."}


def test_the_second_word_waits_until_the_first_has_left_and_some_days_more(due, business):
    deck = due(due_on=date(2026, 11, 20))
    (first,) = remind().queued
    assert why(planned(business)) == {deck.pk: "The first word waits in the outbox."}
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

    assert why(end) == {deck.pk: "All words have been said, the last on Dec 15, 2026."}


def test_a_word_that_reached_nobody_goes_by_the_next_channel(due, business):
    deck = due()
    (first,) = remind().queued
    Message.objects.filter(pk=first.pk).update(state="bounced")

    (second,) = remind().queued

    assert (first.channel, second.channel) == ("email", "letter")
    assert second.idempotency_key == f"due/{deck.property_id}/{deck.jobs.get().pk}/1/letter"
    assert second.reminders.get().replaces == first.reminders.get()
    Message.objects.filter(pk=second.pk).update(state="failed")
    assert why(planned(business)) == {deck.pk: "E-mail: It reached nobody. Letter: It reached nobody."}


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

    assert why(planned(business))[deck.pk].startswith("Nobody knows whether the first word went out")


def test_who_did_not_agree_to_email_gets_a_letter_unless_they_object(due, business):
    plain, objecting = ClientFactory(), ClientFactory()
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
    return TextGateway.objects.create(id=1, url="https://gateway.example.com/send", template={"to": "{to}"}, is_on=True)


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


def test_a_client_with_decks_in_two_zones_hears_when_both_are_awake(due, business, gateway):
    client = ClientFactory(preferred_channel="text")
    PhoneFactory(client=client)
    ConsentFactory(client=client, channel="text", basis="written")
    due(client=client)
    far = PropertyFactory(client=client, country="NZ", region="Nelson", time_zone="Pacific/Auckland")
    due(property=far)

    (message,) = remind(now=datetime(2026, 11, 30, 13, 30, tzinfo=UTC)).queued

    assert message.reminders.count() == 2
    for zone in (HALIFAX, ZoneInfo("Pacific/Auckland")):
        assert 9 <= message.not_before.astimezone(zone).hour < 20


def test_decks_of_a_client_go_together_in_the_gentlest_word(due, business):
    first = due(due_on=date(2026, 11, 2))
    went(remind().queued[0])
    Message.objects.update(accepted_at=NOW - timedelta(days=20))
    other = due(property=first.property, opens=date(2026, 12, 5))

    (message,) = remind().queued

    assert {(reminder.deck_id, reminder.step) for reminder in message.reminders.all()} == {(first.pk, 2), (other.pk, 1)}
    assert message.idempotency_key.endswith(f"/{first.jobs.get().pk}/2/email")


def test_a_french_client_reads_french_with_french_dates(due):
    client = ClientFactory(language="fr")
    EmailFactory(client=client)
    ConsentFactory(client=client)
    due(client=client)

    (message,) = remind().queued

    assert message.language == "fr"
    assert "Dernière couche : Tidewood Deck Oil" in message.text
    assert "décembre 2026" in message.text
    assert "Ce dont nous avons tenu compte : peu de soleil" in message.text
    assert set(words.IN_FRENCH) == set(words.FACTORS)


def test_a_booked_visit_calls_waiting_words_back_and_stops_further_ones(due, business):
    deck, other = due(), due()
    remind()
    crew = CrewFactory(works_on=[1, 2, 3, 4, 5])

    bookings.book(
        property=deck.property, decks=[deck], hours=Decimal(4), first_day=date(2027, 5, 4), week=None, crew=crew,
        offer=None, by=None, now=NOW, tells=False,
    )  # fmt: skip

    states = dict(Message.objects.filter(kind="reminder").values_list("reminders__deck", "state"))
    assert states == {deck.pk: "cancelled", other.pk: "queued"}
    assert why(planned(business))[deck.pk] == "A visit is booked for May 4, 2027."


def test_a_no_stops_the_coat_for_good_and_a_new_coat_begins_anew(due, business):
    deck = due()
    remind()

    decks_declined([deck.pk], "The price.")

    assert Message.objects.get().state == "cancelled"
    assert why(planned(business))[deck.pk] == "The client declined an offer: The price."
    coat(deck, on=date(2026, 11, 20))
    refresh(deck)
    assert not planned(business).left_out
    assert planned(business, until=date(2030, 1, 1)).planned[0].step.number == 1


def test_a_new_coat_calls_back_what_waits_about_the_old_one(due):
    deck, other = due(), due()
    remind()

    coat(deck, on=date(2026, 11, 24))
    jobs_changed([deck.pk, other.pk])

    states = dict(Message.objects.values_list("reminders__deck", "state"))
    assert states == {deck.pk: "cancelled", other.pk: "queued"}
    assert "new coat" in Message.objects.get(state="cancelled").reply


def test_an_archived_deck_is_called_back_and_says_so(due, business):
    deck = due()
    remind()

    properties.archive_deck(deck=deck, now=NOW)

    assert Message.objects.get().state == "cancelled"
    assert why(plan(business=business, now=NOW, until=JANUARY, deck_ids=[deck.pk])) == {
        deck.pk: "The deck or its client is archived."
    }


def test_an_open_offer_makes_reminders_wait_and_an_accepted_one_ends_them(due, business):
    deck = due()
    offer = OfferFactory(is_sent=True, property=deck.property, number=104)
    OfferScopeFactory(offer=offer, deck=deck)
    assert why(planned(business)) == {deck.pk: "Offer 104 is open until Dec 20, 2026."}

    type(offer).objects.update(state="accepted", answered_at=NOW, accepted_week=date(2027, 5, 3))
    assert why(planned(business)) == {deck.pk: "Offer 104 was accepted on Nov 25, 2026."}

    type(offer).objects.update(answered_at=datetime(2024, 5, 1, tzinfo=UTC))  # of the coat before
    assert planned(business).planned


def test_enough_is_enough_over_all_channels_and_offers_count_too(due, business):
    deck = due()
    client = deck.property.client
    for days, kind in ((80, "reminder"), (60, "offer"), (40, "reminder"), (20, "offer")):
        at = NOW - timedelta(days=days)
        MessageFactory(client=client, kind=kind, state="accepted", accepted_at=at, not_before=at)

    (row,) = planned(business).planned
    assert row.day == TODAY + timedelta(days=10)  # when the one of 80 days ago is 90 days old

    result = planned(business, until=date(2026, 12, 1))
    assert why(result) == {deck.pk: "So often is enough: again from Dec 5, 2026."}


def test_the_pacing_plan_chooses_the_week_of_the_first_word(due, business):
    early, left = due(), due()
    PacedDeck.objects.create(deck=early, job=early.jobs.get(), week=date(2026, 12, 14))
    PacedDeck.objects.create(deck=left, job=left.jobs.get(), week=None, until=TODAY)

    made = planned(business)

    assert [(row.words[0].coat.deck_id, row.day) for row in made.planned] == [(early.pk, date(2026, 12, 14))]
    assert why(made) == {left.pk: "The pacing plan leaves it out until Nov 25, 2026."}
    assert len(planned(business, now=NOW + timedelta(days=1)).planned) == 2, "the plan is over"


def test_a_step_taken_out_of_use_is_passed_over(due, business):
    ReminderStepFactory(number=1, is_on=False)
    ReminderStepFactory(number=2, purpose="second", anchor="due", offset_days=-14, channels=["letter"])
    due(due_on=date(2026, 12, 20))

    (row,) = planned(business).planned

    assert (row.step.number, row.way.channel, row.day) == (2, "letter", date(2026, 12, 6))


def test_a_stop_by_hand_ends_on_its_day(due, business):
    deck = due()
    actions.stop(deck_ids=[deck.pk], why=Stop.Why.BY_HAND, until=TODAY, by=None, now=NOW)

    assert deck.pk in why(planned(business))
    assert planned(business, now=NOW + timedelta(days=1)).planned


def test_planning_asks_the_same_number_of_questions_for_many(due, business, django_assert_max_num_queries):
    due(client=ClientFactory())
    for _ in range(12):
        due(client=ClientFactory())
    due()

    with django_assert_max_num_queries(19):
        made = planned(business)

    assert len(made.planned) == 14


days = st.dates(date(2026, 1, 1), date(2026, 12, 31))
rules = st.builds(
    SendingRules, most_messages=st.integers(1, 5), most_days=st.integers(1, 120), days_between=st.integers(0, 30)
)


@settings(max_examples=150, deadline=None)
@given(days, st.lists(days, max_size=8), rules)
def test_the_day_found_keeps_both_rules_and_no_earlier_one_did(day, others, caps):
    """Against a search that looks at every day and every span of days."""

    def is_fine(candidate):
        if any(abs((candidate - other).days) < caps.days_between for other in others):
            return False
        spans = ((candidate - timedelta(days=back)) for back in range(caps.most_days))
        return all(
            sum(0 <= (other - start).days < caps.most_days for other in others) < caps.most_messages for start in spans
        )

    found = allowed_day(day, others, caps)

    assert is_fine(found)
    assert not any(is_fine(day + timedelta(days=n)) for n in range((found - day).days))


def test_nobody_is_left_out_for_a_client_without_a_language_or_favourite(due):
    due()

    assert Client.objects.get().preferred_channel == ""
    assert len(remind().queued) == 1
