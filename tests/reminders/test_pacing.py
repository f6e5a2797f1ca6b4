"""Pacing by its command, the page, a week by hand, and what the book teaches it."""

import json
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from io import StringIO
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.test import Client as Browser
from freezegun import freeze_time

from clients.models import Business, Deck
from jobs.models import Booking, Crew, Offer, PriceList
from reminders.models import PacedDeck, Reminder, Stop
from reminders.pacing.actions import (
    choose_week,
    clear_chosen_week,
    delete_old_plans,
    save_pacing_plan,
)
from reminders.pacing.core import FREE_CHOICE
from reminders.pacing.inputs import Horizon, PacingError, gather_pacing_inputs
from reminders.pacing.responses import ResponseGroup, learn_response_rates
from reminders.pacing.summary import stored_horizon
from tests.factories import ClientFactory, JobFactory, MessageFactory, PropertyFactory
from tests.reminders.conftest import NOW, TODAY, coat, refresh

pytestmark = pytest.mark.slow

SPRING = Horizon(date(2027, 3, 1), 12)
WEEK = date(2027, 4, 12)


@pytest.fixture
def crews(business: Business) -> Crew:
    return Crew.objects.create(name="Tern crew", hours_a_day=8)


@pytest.fixture
def decks(coated: Callable[..., Deck], crews: Crew) -> list[Deck]:
    """Eight decks of two towns, coated in the summers of 2025 and 2026."""
    towns = ["Lunenburg", "Chester"]
    made = []
    for number in range(8):
        client = ClientFactory(name=f"Odile Saltonby {number}")
        place = PropertyFactory(client=client, town=towns[number % 2])
        made.append(
            coated(on=date(2025, 6, 10 + number), client=client, site=place, area_m2=Decimal(20))
        )
    return made


def printed(*arguments: str) -> list[dict[str, Any]]:
    out = StringIO()
    with freeze_time(NOW):
        call_command("pace", *arguments, "--format", "json", stdout=out)
    return json.loads(out.getvalue())


def test_the_command_names_a_week_for_each_deck_and_keeps_nothing_unless_told(
    decks: list[Deck],
) -> None:
    rows = printed("--from", "2027-03", "--weeks", "12")

    assert {row["client"] for row in rows} == {f"Odile Saltonby {number}" for number in range(8)}
    weeks = [date.fromisoformat(row["week"]) for row in rows if row["week"]]
    assert weeks
    assert all(
        week.weekday() == 0 and SPRING.first <= week < SPRING.first + timedelta(weeks=12)
        for week in weeks
    )
    assert all(
        row["expected_hours"] == pytest.approx(row["chance"] * row["hours"], abs=0.02)
        for row in rows
    )
    assert not PacedDeck.objects.exists()

    printed("--from", "2027-03", "--weeks", "12", "--save")

    kept = dict(PacedDeck.objects.values_list("deck_id", "week"))
    assert {row["deck_ids"][0]: row["week"] for row in rows} == {
        deck: week and week.isoformat() for deck, week in kept.items()
    }


def test_work_never_begins_before_the_season_and_hours_are_never_overrun(decks: list[Deck]) -> None:
    rows = printed("--from", "2027-03", "--weeks", "12", "--hours")

    by_week = {row["week"]: row for row in rows}
    assert by_week["2027-04-12"]["hours_open"] == 0, "the season begins in May"
    assert by_week["2027-05-10"]["hours_open"] == 40
    assert all(
        row["hours_placed"] <= row["hours_open"] - row["hours_booked"] + 0.01 for row in rows
    )
    assert sum(row["hours_placed"] for row in rows) == pytest.approx(
        sum(row["hours_to_come"] for row in rows), abs=0.1
    )


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--from", "2027-13"], "is not a month"),
        (["--from", "2026-03"], "is over"),
        (["--from", "2027-03", "--weeks", "0"], "1 to 52"),
        (["--from", "2027-03", "--percent", "101"], "1 to 100"),
    ],
)
def test_what_makes_no_plan_is_told_in_one_sentence(
    crews: Crew, arguments: list[str], words: str
) -> None:
    with pytest.raises(CommandError, match=words):
        printed(*arguments)


def test_without_crews_there_is_no_plan(business: Business) -> None:
    with pytest.raises(CommandError, match="Add a crew"):
        printed("--from", "2027-03")


def test_decks_reminded_booked_offered_or_stopped_are_not_paced(
    decks: list[Deck], crews: Crew
) -> None:
    reminded, booked, offered, stopped, over = decks[:5]
    message = MessageFactory(client=reminded.site.client)
    Reminder.objects.create(
        deck=reminded, job=reminded.forecast.job, message=message, channel="email"
    )
    home = {"client": booked.site.client, "site": booked.site, "crew": crews}
    Booking.objects.create(first_on=WEEK, last_on=WEEK, hours=5, **home).decks.add(booked)
    prices = PriceList.objects.create(valid_from=TODAY, currency="CAD")
    offer = Offer.objects.create(
        number=1,
        client=offered.site.client,
        site=offered.site,
        price_list=prices,
        state="open",
        currency="CAD",
        tax_mode="exclusive",
        tax_rounding="total",
        drafted_on=TODAY,
        valid_until=WEEK,
        sent_at=NOW,
        hours=6,
    )
    offer.scopes.create(deck=offered, work="recoat", position=1)
    Stop.objects.create(deck=stopped, job=stopped.forecast.job, why="declined")
    Stop.objects.create(deck=over, job=over.forecast.job, why="asked", until=TODAY)

    rows = printed("--from", "2027-03")

    assert {row["deck_ids"][0] for row in rows} == {deck.pk for deck in decks[4:]}


def test_the_decks_of_one_property_go_together(coated: Callable[..., Deck], crews: Crew) -> None:
    client = ClientFactory()
    place = PropertyFactory(client=client)
    pair = [
        coated(on=date(2025, 6, 10), client=client, site=place, label=label)
        for label in ("Back", "Steps")
    ]

    rows = printed("--from", "2027-03")

    assert [row["deck_ids"] for row in rows] == [[deck.pk for deck in pair]]


def test_a_week_by_hand_stands_through_new_plans_until_it_is_given_back(decks: list[Deck]) -> None:
    first = decks[0]
    second = decks[1]
    choose_week(site_id=first.site_id, week=WEEK, now=NOW)
    choose_week(site_id=second.site_id, week=None, now=NOW)

    made = save_pacing_plan(horizon=SPRING, now=NOW)

    assert PacedDeck.objects.get(deck=first).week == WEEK
    assert PacedDeck.objects.get(deck=second).week is None
    assert made.pace.week[made.inputs.row_by_property[second.site_id]] == -1

    clear_chosen_week(site_id=first.site_id, now=NOW)
    made = save_pacing_plan(horizon=SPRING, now=NOW)

    assert made.inputs.work.fixed[made.inputs.row_by_property[first.site_id]] == FREE_CHOICE
    assert not PacedDeck.objects.get(deck=first).is_by_hand
    with pytest.raises(PacingError, match="is over"):
        choose_week(site_id=first.site_id, week=date(2026, 3, 2), now=NOW)


@pytest.mark.parametrize(
    ("today", "first"),
    [
        (
            date(2026, 11, 25),
            date(2027, 3, 1),
        ),  # crews go out from May, and a reminder may bring work after 8 weeks
        (date(2027, 3, 10), date(2027, 3, 8)),
        (date(2027, 7, 1), date(2027, 6, 28)),
    ],
)
def test_without_a_plan_the_page_begins_where_a_reminder_brings_work(
    business: Business, today: date, first: date
) -> None:
    assert stored_horizon(business, today=today).first == first  # season from May to October


def test_a_plan_whose_weeks_are_over_says_nothing_more(decks: list[Deck]) -> None:
    choose_week(site_id=decks[0].site_id, week=None, now=NOW)
    save_pacing_plan(horizon=SPRING, now=NOW)

    assert delete_old_plans(today=date(2027, 5, 23)) == 0
    assert delete_old_plans(today=date(2027, 5, 24)) == 7

    assert PacedDeck.objects.get().deck == decks[0], "left out by hand stays left out"
    clear_chosen_week(site_id=decks[0].site_id, now=NOW)
    assert not PacedDeck.objects.exists()


def test_a_new_coat_and_a_sent_reminder_end_what_was_chosen_by_hand(decks: list[Deck]) -> None:
    for deck in decks[:2]:
        choose_week(site_id=deck.site_id, week=WEEK, now=NOW)
    coat(decks[0], on=date(2026, 11, 20))
    refresh(decks[0])
    message = MessageFactory(client=decks[1].site.client)
    Reminder.objects.create(
        deck=decks[1], job=decks[1].forecast.job, message=message, channel="email"
    )

    save_pacing_plan(horizon=SPRING, now=NOW)

    assert not PacedDeck.objects.filter(is_by_hand=True).exists()


def test_chances_are_learned_from_ones_own_reminders_whose_time_is_over(decks: list[Deck]) -> None:
    before = learn_response_rates(today=TODAY).chances[ResponseGroup.ONCE]
    sent = datetime(2026, 3, 2, 12, tzinfo=UTC)
    for deck in decks[:4]:
        message = MessageFactory(client=deck.site.client, state="accepted", accepted_at=sent)
        Reminder.objects.create(deck=deck, job=deck.forecast.job, message=message, channel="email")
    for deck in decks[:3]:
        JobFactory(deck=deck, kind="recoat", finished_on=date(2026, 5, 4))
    late = MessageFactory(client=decks[5].site.client, state="accepted", accepted_at=NOW)
    Reminder.objects.create(deck=decks[5], job=decks[5].forecast.job, message=late, channel="email")

    after = learn_response_rates(today=TODAY)

    assert (after.asked[ResponseGroup.ONCE], after.accepted[ResponseGroup.ONCE]) == (4, 3)
    # The Beta law is conjugate to the binomial one: counts are added (any textbook of Bayesian
    # statistics).
    assert (after.chances[ResponseGroup.ONCE].alpha, after.chances[ResponseGroup.ONCE].beta) == (
        before.alpha + 3,
        before.beta + 1,
    )


def test_a_reminder_that_waits_for_its_answer_and_an_accepted_offer_take_hours(
    decks: list[Deck],
) -> None:
    now = datetime(2027, 4, 5, 15, tzinfo=UTC)
    message = MessageFactory(
        client=decks[0].site.client, state="accepted", accepted_at=now - timedelta(days=14)
    )
    Reminder.objects.create(
        deck=decks[0], job=decks[0].forecast.job, message=message, channel="email"
    )

    found = gather_pacing_inputs(
        Horizon(date(2027, 4, 5), 12), today=now.date(), business=Business.objects.get()
    )

    # 20 m² at a quarter of an hour, and one hour for the visit. Of 0.35 three quarters are left
    # after 2 of 8 weeks.
    assert found.hours.outstanding_week.tolist() == [-2]
    assert found.hours.outstanding[0, 0] == pytest.approx(6 * 0.35 * 0.75 / (1 - 0.35 * 0.25))


def test_a_plan_takes_a_fixed_number_of_queries(
    decks: list[Deck], coated: Callable[..., Deck], django_assert_num_queries: Any
) -> None:
    business = Business.objects.get()
    with django_assert_num_queries(18):
        gather_pacing_inputs(SPRING, today=TODAY, business=business)
    for number in range(6):
        coated(on=date(2025, 7, 1 + number))
    with django_assert_num_queries(18):
        gather_pacing_inputs(SPRING, today=TODAY, business=business)


@freeze_time(NOW)
def test_the_page_plans_shows_the_picture_and_says_what_it_aims_at(
    as_owner: Browser, decks: list[Deck]
) -> None:
    answer = as_owner.post(
        "/pacing/", {"month": "2027-03", "weeks": 12, "percent": 100}, follow=True
    )

    page = answer.content.decode()
    assert "The plan is made" in page
    assert "Expected hours of work in each week against the hours of the crews" in page
    assert "What the plan aims at" in page
    assert "Odile Saltonby" in page
    assert PacedDeck.objects.exclude(week=None).exists()


@freeze_time(NOW)
def test_a_person_moves_a_household_on_its_page(as_owner: Browser, decks: list[Deck]) -> None:
    save_pacing_plan(horizon=SPRING, now=NOW)
    address = f"/pacing/{decks[0].site_id}/?from=2027-03-01&weeks=12"

    assert "Let the plan choose" in as_owner.get(address).content.decode()
    moved = as_owner.post(address, {"week": "2027-05-03"}, follow=True).content.decode()

    assert "is reminded in the week of May 3, 2027" in moved
    row = PacedDeck.objects.get(deck=decks[0])
    assert (row.week, row.is_by_hand) == (date(2027, 5, 3), True)
    assert (
        "By hand"
        in as_owner.get("/pacing/?from=2027-03-01&weeks=12&week=2027-05-03").content.decode()
    )

    as_owner.post(address, {"week": "leave_out"})
    assert (
        "Left out by hand"
        in as_owner.get("/pacing/?from=2027-03-01&weeks=12&week=none").content.decode()
    )
    wrong = as_owner.post(address, {"week": "2031-01-01"})
    assert wrong.status_code == 200
    assert "Please look at this" in wrong.content.decode()


@freeze_time(NOW)
def test_an_overrun_by_hand_is_said_on_the_page(
    as_owner: Browser, decks: list[Deck], crews: Crew
) -> None:
    Crew.objects.update(hours_a_day=Decimal("0.5"))
    for deck in decks:
        choose_week(site_id=deck.site_id, week=date(2027, 3, 15), now=NOW)

    assert (
        "more is accepted than the crews can do"
        in as_owner.get("/pacing/?from=2027-03-01").content.decode()
    )


@freeze_time(NOW)
def test_nonsense_in_the_address_or_the_form_is_no_error(
    as_owner: Browser, decks: list[Deck]
) -> None:
    for address in (
        "/pacing/?from=x&weeks=99999",
        "/pacing/?from=2027-03-03&weeks=-1&week=x",
        "/pacing/999999/",
    ):
        assert as_owner.get(address).status_code in {200, 404}
    refused = as_owner.post("/pacing/", {"month": "2027-03", "weeks": 12, "percent": 900})
    assert "less than or equal to 100" in refused.content.decode()
    assert not PacedDeck.objects.exists()
