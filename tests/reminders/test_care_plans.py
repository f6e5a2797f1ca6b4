"""A care plan from the agreement to its end: by the pages, and by the task of each night."""

import csv
import io
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from itertools import pairwise
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.test import Client as Browser
from freezegun import freeze_time

from clients.messaging.models import Message, ToDo
from clients.models import Business, Deck
from jobs.actions.bookings import NoRoomError
from jobs.models import Booking, Crew
from reminders import actions, tasks
from reminders.models import CarePlan, PlanVisit, Stop
from reminders.months import shift_months
from reminders.pacing.savings import open_forecasts
from reminders.price_rule import price_on, term_end, whole_years
from reminders.steps import ReminderRequest
from tests.factories import (
    ClientFactory,
    CoatFactory,
    ConsentFactory,
    CrewFactory,
    DeckFactory,
    EmailFactory,
    PhoneFactory,
    PropertyFactory,
)
from tests.jobs.offer_book import price_list
from tests.reminders.client_pages import page_url, press, text_of

NOW = datetime(2027, 5, 10, 12, tzinfo=UTC)  # a Monday morning in Nova Scotia
TODAY = date(2027, 5, 10)
TERMS: dict[str, Any] = {
    "starts_on": "2027-05-10",
    "price": "640.00",
    "raise_percent": "3",
    "notice_days": "14",
    "term_months": "12",
    "renews": "on",
    "wording": "We look after your deck whenever it is ready.",
    "evidence": "signed on paper",
}


@pytest.fixture
def clock(business: Business) -> Any:
    with freeze_time(NOW, ignore=["psycopg", "concurrent"]) as frozen:
        yield frozen


@pytest.fixture
def deck(clock: Any) -> Deck:
    """Due since last summer, of a client who reads e-mail; a crew has room."""
    price_list()
    CrewFactory(name="Tern crew", hours_a_day=16)
    owner = ClientFactory(name="Ottilie Saltonby")
    EmailFactory(client=owner, value="ottilie@example.org")
    PhoneFactory(client=owner, value="902-555-0142")
    site = PropertyFactory(client=owner, street="7 Plover Row")
    made: Deck = DeckFactory(site=site, label="Back deck")
    CoatFactory(job__deck=made, job__finished_on=date(2025, 6, 12))
    refresh(made)
    return made


def refresh(deck: Deck) -> None:
    now = datetime.now(tz=UTC)
    actions.refresh_forecasts(deck_ids=[deck.pk], today=now.date(), now=now)


def agree(browser: Browser, deck: Deck, **terms: Any) -> CarePlan:
    sent = {name: value for name, value in (TERMS | terms).items() if value is not None}
    answer = browser.post(f"/clients/property/{deck.site_id}/plan/", sent)
    assert answer.status_code == 302, text_of(answer)
    return CarePlan.objects.running().get(site=deck.site)


def night(clock: Any, day: date | None = None) -> None:
    """The task of the night, at three in the morning of a day."""
    if day:
        clock.move_to(datetime(day.year, day.month, day.day, 7, tzinfo=UTC))
    tasks.refresh_forecasts_nightly()


def the_visit() -> PlanVisit:
    return PlanVisit.objects.standing().get()


def test_the_night_books_a_ready_deck_and_tells_the_client_in_time(
    as_owner: Browser, deck: Deck, clock: Any
) -> None:
    agree(as_owner, deck)

    night(clock)

    visit = the_visit()
    message = Message.objects.get()
    assert visit.booking.state == "booked"
    assert list(visit.booking.decks.all()) == [deck]
    assert visit.say_no_by == date(2027, 5, 24)
    assert visit.booking.first_on >= date(2027, 5, 31)  # the Monday after the last day to say no
    assert (message.kind, message.channel, visit.message) == ("service", "email", message)
    assert "As agreed in your care plan" in message.text
    assert "$640.00" in message.text
    assert "Monday, May 24, 2027" in message.text
    page = text_of(as_owner.get(f"/clients/property/{deck.site_id}/plan/"))
    assert "$640.00" in page
    assert "Booked" in page


def test_nights_that_follow_book_and_tell_nothing_more(
    as_owner: Browser, deck: Deck, clock: Any
) -> None:
    agree(as_owner, deck)

    for later in range(4):
        night(clock, TODAY + timedelta(days=later))

    assert Booking.objects.count() == 1
    assert Message.objects.count() == 1


def test_a_season_has_one_visit_even_if_the_forecast_calls_again(
    as_owner: Browser, deck: Deck, clock: Any
) -> None:
    agree(as_owner, deck)
    night(clock)
    Booking.objects.update(state="done")

    night(clock, TODAY + timedelta(days=1))

    assert Booking.objects.count() == 1


def test_the_database_keeps_a_second_visit_of_a_season_and_a_second_plan_out(
    as_owner: Browser, deck: Deck, clock: Any
) -> None:
    plan = agree(as_owner, deck)
    night(clock)
    visit = the_visit()
    other = Booking.objects.create(
        client=deck.site.client,
        site=deck.site,
        crew=visit.booking.crew,
        first_on=date(2027, 7, 5),
        last_on=date(2027, 7, 5),
        hours=4,
    )

    with pytest.raises(IntegrityError, match="plan_visit_once_a_season"), transaction.atomic():
        PlanVisit.objects.create(
            plan=plan,
            season_ends_on=visit.season_ends_on,
            booking=other,
            price=1,
            say_no_by=TODAY,
        )
    answer = as_owner.post(f"/clients/property/{deck.site_id}/plan/", TERMS, follow=True)
    assert "A care plan runs for this property. End it first." in text_of(answer)
    assert CarePlan.objects.count() == 1


def test_a_deck_that_is_booked_otherwise_gets_no_second_visit(
    as_owner: Browser, deck: Deck, clock: Any
) -> None:
    agree(as_owner, deck)
    booking = Booking.objects.create(
        client=deck.site.client,
        site=deck.site,
        crew=CrewFactory(),
        first_on=date(2027, 6, 15),
        last_on=date(2027, 6, 15),
        hours=4,
    )
    booking.decks.add(deck)

    night(clock)

    assert PlanVisit.objects.count() == 0
    assert Message.objects.count() == 0


def test_the_client_says_no_to_a_week_and_gets_another_in_the_night(
    client: Browser, as_owner: Browser, deck: Deck, clock: Any
) -> None:
    agree(as_owner, deck)
    night(clock)
    first = the_visit().booking
    url = page_url(Message.objects.get())
    assert "Not this week" in text_of(client.get(url))

    press(client, url, "plan-no")
    press(client, url, "plan-no")

    first.refresh_from_db()
    assert first.state == "cancelled"
    assert "You said no to the last week" in text_of(client.get(url))
    assert ToDo.objects.open().get().words.startswith("Ottilie Saltonby said no to")
    night(clock, TODAY + timedelta(days=1))
    second = the_visit().booking
    assert second.first_on >= first.first_on + timedelta(days=7 - first.first_on.weekday())
    assert Message.objects.count() == 2


def test_after_the_last_day_to_say_no_the_page_says_whom_to_phone(
    client: Browser, as_owner: Browser, deck: Deck, clock: Any
) -> None:
    agree(as_owner, deck)
    night(clock)
    url = page_url(Message.objects.get())
    clock.move_to(datetime(2027, 5, 25, 12, tzinfo=UTC))

    shown = text_of(client.get(url))
    answer = press(client, url, "plan-no")

    assert "Not this week" not in shown
    assert answer.status_code == 409
    assert "The last day to say no to this visit is over. Please phone us." in text_of(answer)
    assert the_visit().booking.state == "booked"


def test_the_client_ends_the_plan_and_takes_it_back_on_the_same_day(
    client: Browser, as_owner: Browser, deck: Deck, clock: Any
) -> None:
    plan = agree(as_owner, deck)
    night(clock)
    url = page_url(Message.objects.get())

    press(client, url, "plan-end")
    ended = text_of(client.get(url))
    press(client, url, "undo-plan")

    plan.refresh_from_db()
    assert "You have ended it." in ended
    assert plan.ended_on is None
    assert Booking.objects.get().state == "cancelled"
    assert Stop.objects.get().why == "plan"
    night(clock, TODAY + timedelta(days=1))
    assert the_visit().booking.state == "booked"


def test_a_plan_that_the_client_ended_proposes_nothing_and_reminders_go_again(
    client: Browser, as_owner: Browser, deck: Deck, clock: Any
) -> None:
    plan = agree(as_owner, deck)
    night(clock)
    press(client, page_url(Message.objects.get()), "plan-end")

    night(clock, TODAY + timedelta(days=1))
    press(client, page_url(Message.objects.get()), "undo-plan")  # a day too late

    plan.refresh_from_db()
    assert (plan.ended_on, plan.ended_by) == (TODAY, "client")
    assert not PlanVisit.objects.standing().exists()
    assert Message.objects.count() == 1
    assert not Stop.objects.exists()
    assert ToDo.objects.open().get().words == "Ottilie Saltonby has ended the care plan."


def test_we_end_a_plan_and_what_is_booked_stands_until_it_is_cancelled_in_the_diary(
    as_owner: Browser, deck: Deck, clock: Any
) -> None:
    agree(as_owner, deck)
    night(clock)

    as_owner.post(f"/clients/property/{deck.site_id}/plan/", {"decision": "end"})
    night(clock, TODAY + timedelta(days=1))

    assert Booking.objects.get().state == "booked"
    assert Message.objects.count() == 1
    assert CarePlan.objects.get().ended_by == "us"
    assert not Stop.objects.exists()


def test_who_has_sold_the_house_has_no_plan_and_hears_no_more(
    client: Browser, as_owner: Browser, deck: Deck, clock: Any
) -> None:
    agree(as_owner, deck)
    night(clock)
    url = page_url(Message.objects.get())
    assert "Not this year" not in text_of(client.get(url))

    press(client, url, "sold")
    night(clock, TODAY + timedelta(days=1))

    assert CarePlan.objects.get().ended_by == "client"
    assert Booking.objects.get().state == "cancelled"
    assert Stop.objects.get().why == "sold"


def test_the_buyer_of_a_house_has_agreed_to_no_plan_and_is_booked_by_none(
    as_owner: Browser, deck: Deck, clock: Any
) -> None:
    agree(as_owner, deck)

    as_owner.post(
        f"/jobs/sold/{deck.site_id}/",
        {"sold_on": "2027-05-10", "name": "Otto Bright", "email": "otto@example.org"},
    )
    night(clock, TODAY + timedelta(days=1))

    deck.refresh_from_db()
    assert deck.site.client.name == "Otto Bright"
    assert CarePlan.objects.get().ended_by == "us"
    assert not Booking.objects.exists()
    assert not Message.objects.exists()
    assert not Stop.objects.exists()


def test_a_pause_that_is_over_does_not_bring_reminders_back_while_a_plan_runs(
    as_owner: Browser, deck: Deck, clock: Any
) -> None:
    actions.stop_reminders(
        deck_ids=[deck.pk], why="asked", until=TODAY - timedelta(days=1), by=None, now=NOW
    )

    agree(as_owner, deck)

    assert (Stop.objects.get().why, Stop.objects.get().until) == ("plan", None)


def test_a_message_that_has_not_left_is_stopped_when_the_client_says_no(
    client: Browser, as_owner: Browser, deck: Deck, clock: Any
) -> None:
    agree(as_owner, deck)
    night(clock)
    message = Message.objects.get()

    press(client, page_url(message), "plan-no")

    message.refresh_from_db()
    assert message.state == "cancelled"


def test_a_plan_for_its_term_alone_ends_as_agreed(
    as_owner: Browser, deck: Deck, clock: Any
) -> None:
    agree(as_owner, deck, renews=None)
    night(clock)

    night(clock, date(2028, 5, 9))
    assert CarePlan.objects.running().exists()
    night(clock, date(2028, 5, 10))

    plan = CarePlan.objects.get()
    assert (plan.ended_on, plan.ended_by) == (date(2028, 5, 10), "term")


def test_a_plan_that_renews_books_the_next_season_at_the_raised_price(
    as_owner: Browser, deck: Deck, clock: Any
) -> None:
    agree(as_owner, deck)
    night(clock)
    first = the_visit()
    Booking.objects.update(state="done")
    CoatFactory(job__deck=deck, job__finished_on=first.booking.first_on)

    for day in (date(2028, 5, 8), date(2028, 6, 19), date(2028, 7, 31), date(2028, 9, 4)):
        night(clock, day)
        if PlanVisit.objects.count() > 1:
            break

    second = PlanVisit.objects.exclude(pk=first.pk).get()
    assert second.season_ends_on == date(2028, 10, 31)
    assert second.price == Decimal("659.20")  # by hand: 640 × 1.03
    assert CarePlan.objects.get().ended_on is None


def test_whoever_withdrew_is_not_written_to_and_somebody_phones(
    as_owner: Browser, deck: Deck, clock: Any
) -> None:
    agree(as_owner, deck)
    for channel in ("email", "call"):
        ConsentFactory(client=deck.site.client, channel=channel, is_given=False)

    night(clock)

    assert the_visit().message is None
    assert Message.objects.count() == 0
    words = ToDo.objects.open().get().words
    assert words.startswith("Tell Ottilie Saltonby: care plan visit.")
    assert "withdrew consent" in words


def test_without_e_mail_the_visit_becomes_a_call_to_make(
    as_owner: Browser, deck: Deck, clock: Any
) -> None:
    deck.site.client.contact_points.filter(kind="email").delete()
    agree(as_owner, deck)

    night(clock)

    message = Message.objects.get()
    assert message.channel == "call"
    assert "by their care plan we come on" in message.text


def test_nobody_is_booked_before_the_deck_is_ready(
    as_owner: Browser, deck: Deck, clock: Any
) -> None:
    agree(as_owner, deck)
    CoatFactory(job__deck=deck, job__finished_on=date(2027, 5, 1))

    night(clock)

    assert Booking.objects.count() == 0


def test_decks_of_a_plan_are_neither_reminded_about_nor_paced(
    as_owner: Browser, deck: Deck, clock: Any
) -> None:
    ConsentFactory(client=deck.site.client, channel="email")
    assert open_forecasts(today=TODAY).exists()
    agree(as_owner, deck)

    asked = ReminderRequest(shift_months(date(2027, 5, 1), 6), [deck.pk], at_once=True)
    queued = actions.queue_reminders(asked=asked, by=None, now=NOW).queued

    assert queued == []
    assert not open_forecasts(today=TODAY).exists()


def test_a_new_coat_of_a_plan_is_left_out_from_the_next_night_on(
    as_owner: Browser, deck: Deck, clock: Any
) -> None:
    agree(as_owner, deck)
    newer = CoatFactory(job__deck=deck, job__finished_on=date(2027, 5, 1)).job

    night(clock)

    assert Stop.objects.filter(job=newer, why="plan").exists()


def test_no_week_with_room_is_put_before_a_person_once_a_month(
    as_owner: Browser, deck: Deck, clock: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    from reminders.care_plans import proposing

    agree(as_owner, deck)

    def full(**_asked: Any) -> None:
        raise NoRoomError("The week is full.")

    monkeypatch.setattr(proposing, "book_work", full)
    night(clock)
    night(clock, TODAY + timedelta(days=1))

    assert ToDo.objects.open().get().words == (
        "Ottilie Saltonby: the care plan finds no week. The week is full."
    )


def test_a_ready_deck_for_which_every_week_is_full_is_put_before_a_person(
    as_owner: Browser, deck: Deck, clock: Any
) -> None:
    agree(as_owner, deck)
    Crew.objects.update(is_active=False)

    night(clock)
    night(clock, TODAY + timedelta(days=1))

    assert Booking.objects.count() == 0
    assert ToDo.objects.open().get().words == (
        "Ottilie Saltonby: the care plan finds no week."
        " None has room until that of Jul 5, 2027."  # by hand: the last Monday of 14 days, 6 weeks
    )


def test_who_has_three_months_to_say_no_is_booked_too(
    as_owner: Browser, deck: Deck, clock: Any
) -> None:
    agree(as_owner, deck, notice_days="90")

    night(clock)

    visit = the_visit()
    assert visit.say_no_by == date(2027, 8, 8)
    assert visit.booking.first_on >= date(2027, 8, 9)


def test_a_held_book_proposes_nothing(as_owner: Browser, deck: Deck, clock: Any) -> None:
    agree(as_owner, deck)
    Business.objects.update(sending_held_at=NOW)

    night(clock)

    assert Booking.objects.count() == 0


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("price", "0", "greater than or equal to 0.01"),
        ("raise_percent", "51", "less than or equal to 50"),
        ("notice_days", "0", "greater than or equal to 1"),
        ("term_months", "121", "less than or equal to 120"),
        ("evidence", "", "fill this in"),
        ("starts_on", "", "fill this in"),
        ("starts_on", "soon", "not a day"),
    ],
)
def test_what_is_wrong_is_said_at_its_field_and_nothing_is_kept(
    as_owner: Browser, deck: Deck, field: str, value: str, said: str
) -> None:
    answer = as_owner.post(f"/clients/property/{deck.site_id}/plan/", TERMS | {field: value})

    assert answer.status_code == 422
    assert field in answer.context["form"].errors
    assert said in " ".join(answer.context["form"].errors[field])
    assert not CarePlan.objects.exists()


def test_the_french_client_reads_french(
    client: Browser, as_owner: Browser, deck: Deck, clock: Any
) -> None:
    deck.site.client.__class__.objects.update(language="fr")
    agree(as_owner, deck)

    night(clock)

    message = Message.objects.get()
    assert "Comme convenu dans votre plan d’entretien" in message.text
    page = text_of(client.get(page_url(message)))
    assert "Votre plan d’entretien" in page
    assert "Pas cette semaine" in page


def test_plans_stand_apart_in_the_figures(as_owner: Browser, deck: Deck, clock: Any) -> None:
    agree(as_owner, deck)
    night(clock)
    month = the_visit().booking.first_on.strftime("%Y-%m")

    rows = list(
        csv.DictReader(io.StringIO(as_owner.get("/figures/plans.csv").content.decode("utf-8-sig")))
    )

    by_month = {row["month"]: row for row in rows}
    assert by_month["2027-05"]["began"] == by_month["2027-05"]["running"] == "1"
    assert (by_month[month]["visits"], by_month[month]["agreed"]) == ("1", "640.00")


# The price rule.


@pytest.mark.parametrize(
    ("day", "years", "price"),
    [
        (date(2027, 5, 10), 0, "640.00"),
        (date(2028, 5, 9), 0, "640.00"),
        (date(2028, 5, 10), 1, "659.20"),
        (date(2029, 5, 9), 1, "659.20"),
        (date(2029, 5, 10), 2, "678.98"),  # by hand: 659.20 × 1.03 = 678.976
        (date(2027, 1, 1), 0, "640.00"),
    ],
)
def test_the_price_is_raised_once_at_each_anniversary(day: date, years: int, price: str) -> None:
    starts_on = date(2027, 5, 10)

    assert whole_years(starts_on, day) == years
    assert price_on(
        day, starts_on=starts_on, price=Decimal("640.00"), raise_percent=Decimal(3)
    ) == Decimal(price)


def test_over_a_year_of_days_the_price_changes_exactly_once() -> None:
    prices = [
        price_on(
            date(2027, 5, 11) + timedelta(days=later),
            starts_on=date(2027, 5, 10),
            price=Decimal("333.33"),
            raise_percent=Decimal("2.5"),
        )
        for later in range(366)
    ]

    assert sum(one != other for one, other in pairwise(prices)) == 1


def test_a_plan_from_a_leap_day_has_its_anniversary_on_the_first_of_march() -> None:
    assert whole_years(date(2028, 2, 29), date(2029, 2, 28)) == 0
    assert whole_years(date(2028, 2, 29), date(2029, 3, 1)) == 1
    assert term_end(date(2028, 2, 29), 12) == date(2029, 3, 1)
    assert term_end(date(2027, 5, 10), 12) == date(2028, 5, 10)
