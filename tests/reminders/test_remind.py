"""Reminding: a preview that writes nothing, then one message a client, never twice about a coat."""

import io
import json
from datetime import date, timedelta

import pytest
from django.core.management import call_command
from freezegun import freeze_time

from clients.messaging import suppression
from clients.messaging.models import Message
from clients.models import Deck
from reminders.models import Forecast, Reminder
from reminders.steps.reminder_status import reminder_statuses
from tests.factories import (
    ClientFactory,
    ConsentFactory,
    EmailFactory,
    PropertyFactory,
    ReminderStepFactory,
)
from tests.reminders.conftest import NOW, TODAY, coat, refresh, remind


@pytest.fixture
def only_email(db):
    """The first word by e-mail and no other way."""
    return ReminderStepFactory(number=1, channels=["email"])


@pytest.fixture
def two_decks(due):
    client = ClientFactory(name="Ottilie Saltonby")
    EmailFactory(client=client, value="ottilie@example.org")
    ConsentFactory(client=client)
    place = PropertyFactory(client=client, street="7 Plover Row")
    return [due(site=place, label=label) for label in ("Back deck", "Landing")]


def test_one_message_goes_to_a_client_about_all_chosen_decks(two_decks, owner):
    result = remind(*two_decks, by=owner)

    message = Message.objects.get()
    assert result.queued == [message]
    assert (message.state, message.address, message.kind) == (
        "queued",
        "ottilie@example.org",
        "reminder",
    )
    assert {reminder.deck for reminder in message.reminders.all()} == set(two_decks)
    first = two_decks[0]
    assert message.idempotency_key == f"due/{first.site_id}/{first.jobs.get().pk}/1/email"
    assert message.queued_by == owner


def test_the_message_says_what_the_law_and_the_client_want_to_know(two_decks):
    remind(*two_decks)

    text, html = Message.objects.values_list("text", "html").get()
    for part in (
        "Hello Ottilie Saltonby",
        "Back deck, 7 Plover Row, Lunenburg",
        "Landing",
        "Tidewood Deck Oil",
        "Driftwood",
        "Best time:",
        "Driftline Deck Care",
        "4 Tern Wharf, Lunenburg NS  B0J 2C0",
        "(902) 555-0100",
        "you agreed to be reminded",
        "https://decks.example.com/u/",
    ):
        assert part in text
    assert "https://decks.example.com/u/" in html
    assert "{" not in text
    assert "{unsubscribe_url}" not in html


def test_what_a_client_is_called_cannot_write_into_the_page(due):
    client = ClientFactory(name='Ivo <script>alert("x")</script> & Sons')
    EmailFactory(client=client)
    ConsentFactory(client=client)

    remind(due(client=client))

    message = Message.objects.get()
    assert "<script>" not in message.html
    assert 'Ivo <script>alert("x")</script> & Sons' in message.text  # plain text is plain


def test_a_second_click_sends_nothing(two_decks):
    remind(*two_decks)

    again = remind(*two_decks)

    assert again.queued == []
    assert [each.why for each in again.left_out] == ["The first reminder waits in the outbox."] * 2
    assert Message.objects.count() == 1


def test_a_deck_added_later_gets_its_own_message(two_decks):
    remind(two_decks[0])

    result = remind(*two_decks)

    assert [each.deck_id for each in result.left_out] == [two_decks[0].pk]
    assert Reminder.objects.count() == Message.objects.count() == 2


def test_a_new_coat_can_be_reminded_again(two_decks):
    deck = two_decks[0]
    remind(deck)
    coat(deck, on=date(2026, 5, 1))
    Forecast.objects.all().delete()
    refresh(deck)

    result = remind(deck, month=date(2028, 6, 1))

    assert len(result.queued) == 1
    assert Reminder.objects.filter(deck=deck).count() == 2


def test_whoever_may_not_be_written_to_is_left_out_with_the_reason(due, business, only_email):
    plain = due()
    no_address, withdrawn, expired, silent, archived = (due() for _ in range(5))
    quiet = ClientFactory()
    EmailFactory(client=quiet)
    no_consent = due(client=quiet)
    no_address.site.client.contact_points.all().delete()
    ConsentFactory(client=withdrawn.site.client, is_given=False)
    ConsentFactory(client=expired.site.client, expires_on=TODAY - timedelta(days=1))
    address = silent.site.client.contact_points.get(kind="email").value
    suppression.suppress_address(
        business=business, channel="email", address=address, reason="asked"
    )
    Deck.objects.filter(pk=archived.pk).update(archived_at=NOW)

    result = remind(plain, no_consent, no_address, withdrawn, expired, silent, archived)

    assert len(result.queued) == 1
    why = {each.deck_id: each.why for each in result.left_out}
    assert why == {
        no_consent.pk: "There is no consent on record.",
        no_address.pk: "There is no e-mail address.",
        withdrawn.pk: "The client withdrew consent.",
        expired.pk: "The consent expired on 2026-11-24.",
        silent.pk: "This address asked not to be written to.",
        archived.pk: "The deck or its client is archived.",
    }


def test_a_deck_that_is_no_longer_due_is_left_out(two_decks):
    deck = two_decks[0]
    coat(deck, on=TODAY)
    refresh(deck)

    result = remind(deck)

    assert not result.queued
    assert result.left_out[0].why.startswith("The first reminder is due on ")


def test_a_deck_without_a_coat_is_left_out(two_decks):
    Forecast.objects.filter(deck=two_decks[0]).delete()

    result = remind(*two_decks)

    assert [each.deck_id for each in result.left_out] == [two_decks[0].pk]
    assert len(result.queued) == 1


def test_the_standing_of_a_coat_follows_its_message(two_decks):
    remind(two_decks[0])
    jobs = [deck.jobs.get().pk for deck in two_decks]
    Message.objects.update(state="accepted", accepted_at=NOW)

    words = [stand.label for stand in reminder_statuses(jobs, today=TODAY).values()]

    assert words == ["First reminder sent Nov 25, 2026", "Not reminded yet"]


@pytest.fixture
def page(as_owner):
    def post(*decks, **fields):
        with freeze_time(NOW):
            return as_owner.post(
                "/due/remind/",
                {
                    "month": "2027-03",
                    "deck": [getattr(deck, "pk", deck) for deck in decks],
                    **fields,
                },
            )

    return post


def test_the_first_click_shows_word_for_word_what_would_go_and_writes_nothing(two_decks, due, page):
    mute = due(client=ClientFactory(name="Vivian Northquay"))
    ConsentFactory(client=mute.site.client, is_given=False)

    shown = page(*two_decks, mute)

    text = shown.content.decode()
    assert shown.status_code == 200
    assert "Send 1 reminder?" in text
    assert "ottilie@example.org" in text
    assert "Hello Ottilie Saltonby" in text
    assert "Vivian Northquay" in text
    assert "The client withdrew consent." in text
    assert not Message.objects.exists()


def test_the_second_click_queues_and_a_third_changes_nothing(two_decks, page):
    first = page(*two_decks, confirm="yes")
    second = page(*two_decks, confirm="yes")

    assert (first.status_code, first.url) == (302, "/due/2027-03/")
    assert second.status_code == 302
    assert Message.objects.count() == 1


def test_one_comes_back_to_the_list_that_was_chosen_from_and_to_no_page_of_others(two_decks, page):
    today = "/?tab=remind&town=Lunenburg"
    shown = page(*two_decks, back=today)
    assert 'name="back" value="/?tab=remind&amp;town=Lunenburg"' in shown.content.decode()

    sent = page(*two_decks, confirm="yes", back=today)
    away = page(*two_decks, confirm="yes", back="https://example.org/")

    assert [sent.url, away.url] == [today, "/due/2027-03/"]


@pytest.mark.parametrize("ticked", [[], ["x"], ["-1"], ["9" * 30], ["²"]])
def test_nothing_sensible_ticked_is_told_and_nothing_happens(ticked, page, two_decks):
    answer = page(*ticked)

    assert answer.status_code == 302
    assert not Message.objects.exists()


def test_a_month_that_is_none_falls_back_to_the_present_one(two_decks, page):
    answer = page(*two_decks, month="gone", confirm="yes")

    assert answer.url == "/due/2026-11/"


def test_the_crew_cannot_send(two_decks, crew, as_user):
    answer = as_user(crew).post(
        "/due/remind/", {"month": "2027-03", "deck": two_decks[0].pk, "confirm": "yes"}
    )

    assert answer.status_code == 403
    assert not Message.objects.exists()


def test_a_link_cannot_send(as_owner, two_decks):
    assert as_owner.get("/due/remind/").status_code == 405


def run(*args):
    out = io.StringIO()
    with freeze_time(NOW):
        call_command("remind", *args, "--format", "json", stdout=out)
    return json.loads(out.getvalue())


def test_a_dry_run_says_the_same_and_writes_nothing(two_decks, due, only_email):
    due(client=ClientFactory())

    would = run("2027-03", "--dry-run")
    assert not Message.objects.exists()
    did = run("2027-03")

    assert [row["outcome"] for row in would] == ["would be queued", "left out"]
    assert [row["outcome"] for row in did] == ["queued", "left out"]
    for key in (
        "client_id",
        "channel",
        "address",
        "step",
        "goes_at",
        "deck_ids",
        "subject",
        "kind",
        "why",
    ):
        assert [row[key] for row in would] == [row[key] for row in did]
    assert did[0]["message_id"] == Message.objects.get().pk
    assert [row["outcome"] for row in run("2027-03")] == ["left out"] * 3
