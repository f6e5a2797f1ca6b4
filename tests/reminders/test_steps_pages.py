"""The pages of the sequence: what goes to whom before anything is queued, the rules, stopping, and
the night."""

from concurrent.futures import ThreadPoolExecutor
from datetime import date, time, timedelta
from threading import Barrier

import pytest
from django.db import close_old_connections, connections
from freezegun import freeze_time

from clients.events import work_decided
from clients.messaging.models import Message, MessageText, SendingRules
from jobs.models import Booking
from reminders import actions, tasks
from reminders.models import Forecast, ReminderStep, Stop
from reminders.steps import ReminderRequest
from tests.factories import (
    BusinessFactory,
    ClientFactory,
    ConsentFactory,
    DeckFactory,
    EmailFactory,
    PropertyFactory,
    ReminderStepFactory,
)
from tests.reminders.conftest import NOW, coat, refresh


@pytest.fixture
def deck(coated):
    """Due for its first word since the first of the month."""
    client = ClientFactory(name="Ottilie Saltonby")
    EmailFactory(client=client, value="ottilie@example.org")
    ConsentFactory(client=client)
    made = coated(client=client, label="Back deck")
    Forecast.objects.filter(deck=made).update(
        window_opens_on=date(2026, 11, 1),
        half_worn_on=date(2027, 1, 10),
        due_on=date(2027, 1, 10),
        boards_due_on=date(2027, 1, 10),
        late_on=date(2027, 3, 1),
    )
    return made


@pytest.fixture
def visit(as_owner):
    """Open a page or send a form, and read the answer."""

    def go(path, data=None, at=NOW):
        with freeze_time(at):
            answer = as_owner.get(path) if data is None else as_owner.post(path, data, follow=True)
        assert answer.status_code == 200
        return answer

    return go


def agreed(page):
    return page.context["preview"].fingerprint


def chosen(deck, **more):
    return {"month": "2026-11", "deck": deck.pk, **more}


def test_what_was_seen_is_queued_once(deck, visit):
    seen = agreed(visit("/due/remind/", chosen(deck)))

    first = visit("/due/remind/", chosen(deck, confirm="yes", agreed=seen))
    second = visit("/due/remind/", chosen(deck, confirm="yes", agreed=seen))

    assert "Sent to 1 (1 mailed)." in first.content.decode()
    assert "Something changed since the preview was made" in second.content.decode()
    assert Message.objects.count() == 1


@pytest.mark.parametrize("change", ["address", "text", "stop"])
def test_nothing_is_queued_that_is_not_as_it_was_seen(deck, visit, change):
    seen = agreed(visit("/due/remind/", chosen(deck)))
    if change == "address":
        deck.site.client.contact_points.update(
            value="new@example.org", normalized="new@example.org"
        )
    elif change == "text":
        MessageText.objects.create(
            purpose="first",
            channel="email",
            language="en",
            subject="Your deck",
            body="{legal_name}, {postal_address}, {email}, {phone}: {decks} {unsubscribe_url}",
        )
    elif change == "stop":
        actions.stop_reminders(deck_ids=[deck.pk], why="by_hand", by=None, now=NOW)

    answer = visit("/due/remind/", chosen(deck, confirm="yes", agreed=seen))

    assert "Something changed since the preview was made" in answer.content.decode()
    assert not Message.objects.exists()


def test_the_chosen_decks_are_queued_only_as_they_were_seen(deck, visit):
    data = {"month": "2027-01", "deck": deck.pk, "confirm": "yes", "agreed": "of another day"}

    answer = visit("/due/remind/", data)

    assert "Something changed" in answer.content.decode()
    assert "Send 1 reminder?" in answer.content.decode()
    assert not Message.objects.exists()


def test_the_plan_of_a_month_is_the_page_today_now(as_owner):
    assert as_owner.get("/reminders/")["Location"] == "/?tab=remind"


def rules(**changes):
    """The form as it stands with two steps, but for the changes."""
    rows = [
        {
            "purpose": "first",
            "offset_days": "-10",
            "anchor": "opens",
            "channel": "text",
            "else_1": "email",
            "is_on": "on",
        },
        {
            "purpose": "last",
            "offset_days": "5",
            "anchor": "late",
            "channel": "letter",
            "goes_by_itself": "on",
        },
    ]
    data = {
        f"step-{number}-{name}": value
        for number, row in enumerate(rows)
        for name, value in row.items()
    }
    sending = {
        "quiet_from": "19:30",
        "quiet_until": "08:00",
        "most_messages": "3",
        "most_days": "60",
        "days_between": "10",
        "take_back_minutes": "5",
        "unconfirmed_hours": "24",
    }
    return {"step-TOTAL_FORMS": "2", "step-INITIAL_FORMS": "2", **data, **sending, **changes}


def test_the_owner_keeps_the_sequence_and_the_rules(visit, owner):
    assert (
        "First reminder: 56 days before the due date" in visit("/reminders/rules/").content.decode()
    )

    visit("/reminders/rules/", rules())

    steps = list(ReminderStep.objects.all())
    assert [(step.number, step.purpose, step.offset_days, step.channels) for step in steps] == [
        (1, "first", -10, ["text", "email"]),
        (2, "last", 5, ["letter"]),
    ]
    assert [(step.is_on, step.goes_by_itself) for step in steps] == [(True, False), (False, True)]
    kept = SendingRules.current()
    assert (kept.quiet_from, kept.most_messages, kept.on_sundays) == (time(19, 30), 3, False)

    visit("/reminders/rules/", rules(**{"step-1-DELETE": "on"}))
    assert ReminderStep.objects.count() == 1


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"step-0-else_1": "text"}, "Choose each way once."),
        ({"step-0-channel": ""}, "Please fill this in."),
        ({"step-0-offset_days": "9999"}, "less than or equal to 730"),
        ({"step-0-DELETE": "on", "step-1-DELETE": "on"}, "Keep at least one step"),
        ({"most_days": "0"}, "Write at least 1."),
        ({"quiet_from": "25:00"}, "Enter a valid time."),
        ({"step-TOTAL_FORMS": "x"}, "cannot be taken like this"),
        ({"step-TOTAL_FORMS": "3", "step-2-offset_days": "4"}, "Please fill this in."),
    ],
)
def test_rules_that_cannot_be_are_told_and_nothing_is_kept(visit, changes, said):
    answer = visit("/reminders/rules/", rules(**changes))

    assert said in answer.content.decode()
    assert not ReminderStep.objects.exists()
    assert not SendingRules.objects.exists()


def test_somebody_stops_reminders_about_a_coat_and_lets_them_go_again(deck, visit):
    page = visit(f"/decks/{deck.pk}/")
    assert "Next: first reminder, Nov 25, 2026" in page.content.decode()

    stopped = visit(
        f"/reminders/stop/{deck.pk}/", {"words": "Sells the house", "until": "2027-06-01"}
    )

    assert "Sells the house. No reminders until Jun 1, 2027." in stopped.content.decode()
    visit(f"/reminders/stop/{deck.pk}/lift/", {})
    assert not Stop.objects.exists()


def test_a_day_that_is_none_stops_nothing(deck, visit):
    answer = visit(f"/reminders/stop/{deck.pk}/", {"until": "some day"})

    assert "Enter a valid date." in answer.content.decode()
    assert not Stop.objects.exists()


def test_a_person_says_by_another_way_what_nobody_knows_to_have_gone(deck, visit):
    (first,) = actions.queue_reminders(
        asked=ReminderRequest(date(2027, 1, 1), [deck.pk]), by=None, now=NOW - timedelta(days=3)
    ).queued
    Message.objects.filter(pk=first.pk).update(state="unconfirmed")
    first.events.create(state="unconfirmed", at=NOW - timedelta(hours=47))
    assert "Nothing was changed" in visit(f"/reminders/otherwise/{first.pk}/", {}).content.decode()
    assert "another way</button>" not in visit(f"/decks/{deck.pk}/").content.decode()

    later = NOW + timedelta(hours=1)  # 48 hours is what the rules say
    assert "another way</button>" in visit(f"/decks/{deck.pk}/", at=later).content.decode()
    for _ in range(2):
        visit(f"/reminders/otherwise/{first.pk}/", {}, at=later)

    second = Message.objects.exclude(pk=first.pk).get()
    first.refresh_from_db()
    assert (first.state, second.state, second.channel) == ("cancelled", "queued", "letter")
    assert second.reminders.get().replaces == first.reminders.get()


def test_at_night_only_steps_that_may_go_by_themselves_go_and_in_the_morning(deck, coated):
    night = "2026-11-25 07:40:00"  # twenty to four in Halifax
    with freeze_time(night):
        assert tasks.queue_reminders_nightly() == "No step goes by itself."
    step = ReminderStepFactory(number=1, channels=["email"])
    with freeze_time(night):
        tasks.queue_reminders_nightly()
    assert not Message.objects.exists()

    step.goes_by_itself = True
    step.save()
    with freeze_time(night):
        assert tasks.queue_reminders_nightly() == "1 queued"
        assert tasks.queue_reminders_nightly() == "0 queued"

    message = Message.objects.get()
    assert message.queued_by is None
    assert message.not_before.astimezone(deck.site.zone).hour == 9


@pytest.mark.django_db(transaction=True)
def test_a_booking_at_the_moment_of_a_run_leaves_no_reminder_waiting(transactional_db):
    """Real connections: whichever comes second sees the other, as both lock the client."""
    BusinessFactory()
    decks = []
    for _ in range(6):
        client = ClientFactory()
        EmailFactory(client=client)
        ConsentFactory(client=client)
        deck = DeckFactory(site=PropertyFactory(client=client))
        coat(deck, on=date(2025, 6, 1), kind="strip")
        decks.append(deck)
    refresh(*decks)
    start = Barrier(7)

    def together(act):
        try:
            start.wait()
            act()
        finally:
            connections.close_all()

    def stop(deck):
        return lambda: actions.stop_reminders(deck_ids=[deck.pk], why="asked", by=None, now=NOW)

    def run():
        actions.queue_reminders(
            asked=ReminderRequest(date(2027, 4, 1), [deck.pk for deck in decks]), by=None, now=NOW
        )

    with ThreadPoolExecutor(7) as pool:
        list(pool.map(together, [run, *map(stop, decks)]))

    assert not Message.objects.filter(state="queued").exists()
    work_decided.send(
        Booking, deck_ids=[deck.pk for deck in decks], is_wanted=True, words="Booked.", now=NOW
    )
    close_old_connections()
