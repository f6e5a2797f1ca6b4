"""What stops the sequence of words about a coat, calls a waiting word back, or makes it wait."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

from hypothesis import given, settings
from hypothesis import strategies as st

from clients.actions import properties
from clients.events import decks_changed, work_decided
from clients.messaging.models import Message, SendingRules
from jobs.actions import bookings
from jobs.models import Job, Offer
from reminders import actions
from reminders.models import PacedDeck, Stop
from reminders.steps import ReminderRequest, plan_reminders
from reminders.steps.sequence import allowed_day
from tests.factories import (
    CrewFactory,
    MessageFactory,
    OfferFactory,
    OfferScopeFactory,
)
from tests.reminders.conftest import NOW, TODAY, coat, refresh
from tests.reminders.sequence import JANUARY, planned, remind, why


def test_a_booked_visit_calls_waiting_words_back_and_stops_further_ones(due, business):
    deck = due()
    other = due()
    remind()
    crew = CrewFactory(works_on=[1, 2, 3, 4, 5])

    work = bookings.NewBooking(
        site=deck.site,
        decks=[deck],
        hours=Decimal(4),
        first_day=date(2027, 5, 4),
        crew=crew,
    )
    bookings.book_work(work=work, by=None, now=NOW, notify_client=False)

    states = dict(Message.objects.filter(kind="reminder").values_list("reminders__deck", "state"))
    assert states == {deck.pk: "cancelled", other.pk: "queued"}
    assert why(planned(business))[deck.pk] == "A visit is booked for May 4, 2027."


def test_a_no_stops_the_coat_for_good_and_a_new_coat_begins_again(due, business):
    deck = due()
    remind()

    work_decided.send(Offer, deck_ids=[deck.pk], is_wanted=False, words="The price.", now=NOW)

    assert Message.objects.get().state == "cancelled"
    assert why(planned(business))[deck.pk] == "The client declined an offer: The price."
    coat(deck, on=date(2026, 11, 20))
    refresh(deck)
    assert not planned(business).left_out
    assert planned(business, until=date(2030, 1, 1)).planned[0].step.number == 1


def test_a_new_coat_calls_back_what_waits_about_the_old_one(due):
    deck = due()
    other = due()
    remind()

    coat(deck, on=date(2026, 11, 24))
    decks_changed.send(Job, deck_ids=[deck.pk, other.pk], now=NOW)

    states = dict(Message.objects.values_list("reminders__deck", "state"))
    assert states == {deck.pk: "cancelled", other.pk: "queued"}
    assert "new coat" in Message.objects.get(state="cancelled").reply


def test_an_archived_deck_is_called_back_and_says_so(due, business):
    deck = due()
    remind()

    properties.archive_deck(deck=deck, now=NOW)

    assert Message.objects.get().state == "cancelled"
    assert why(plan_reminders(ReminderRequest(JANUARY, [deck.pk]), business=business, now=NOW)) == {
        deck.pk: "The deck or its client is archived."
    }


def test_an_open_offer_makes_reminders_wait_and_an_accepted_one_ends_them(due, business):
    deck = due()
    offer = OfferFactory(is_sent=True, site=deck.site, number=104)
    OfferScopeFactory(offer=offer, deck=deck)
    assert why(planned(business)) == {deck.pk: "Offer 104 is open until Dec 20, 2026."}

    type(offer).objects.update(state="accepted", answered_at=NOW, accepted_week=date(2027, 5, 3))
    assert why(planned(business)) == {deck.pk: "Offer 104 was accepted on Nov 25, 2026."}

    type(offer).objects.update(answered_at=datetime(2024, 5, 1, tzinfo=UTC))  # of the coat before
    assert planned(business).planned


def test_enough_is_enough_over_all_channels_and_offers_count_too(due, business):
    deck = due()
    client = deck.site.client
    for days, kind in ((80, "reminder"), (60, "offer"), (40, "reminder"), (20, "offer")):
        at = NOW - timedelta(days=days)
        MessageFactory(client=client, kind=kind, state="accepted", accepted_at=at, not_before=at)

    (row,) = planned(business).planned
    assert row.day == TODAY + timedelta(days=10)  # when the one of 80 days ago is 90 days old

    result = planned(business, until=date(2026, 12, 1))
    assert why(result) == {deck.pk: "So often is enough: again from Dec 5, 2026."}


def test_the_pacing_plan_chooses_the_week_of_the_first_word(due, business):
    early = due()
    left = due()
    PacedDeck.objects.create(deck=early, job=early.jobs.get(), week=date(2026, 12, 14))
    PacedDeck.objects.create(deck=left, job=left.jobs.get(), week=None, until=TODAY)

    made = planned(business)

    assert [(row.due_steps[0].coat.deck_id, row.day) for row in made.planned] == [
        (early.pk, date(2026, 12, 14))
    ]
    assert why(made) == {left.pk: "The pacing plan leaves it out until Nov 25, 2026."}
    assert len(planned(business, now=NOW + timedelta(days=1)).planned) == 2, "the plan is over"


def test_a_stop_by_hand_ends_on_its_day(due, business):
    deck = due()
    actions.stop_reminders(deck_ids=[deck.pk], why=Stop.Why.BY_HAND, until=TODAY, by=None, now=NOW)

    assert deck.pk in why(planned(business))
    assert planned(business, now=NOW + timedelta(days=1)).planned


days = st.dates(date(2026, 1, 1), date(2026, 12, 31))
rules = st.builds(
    SendingRules,
    most_messages=st.integers(1, 5),
    most_days=st.integers(1, 120),
    days_between=st.integers(0, 30),
)


@settings(max_examples=150)
@given(days, st.lists(days, max_size=8), rules)
def test_the_day_found_keeps_both_rules_and_no_earlier_one_did(day, others, caps):
    """Against a search that looks at every day and every span of days."""

    def is_fine(candidate):
        if any(abs((candidate - other).days) < caps.days_between for other in others):
            return False
        spans = ((candidate - timedelta(days=back)) for back in range(caps.most_days))
        return all(
            sum(0 <= (other - start).days < caps.most_days for other in others) < caps.most_messages
            for start in spans
        )

    found = allowed_day(day, others, caps)

    assert is_fine(found)
    assert not any(is_fine(day + timedelta(days=n)) for n in range((found - day).days))
