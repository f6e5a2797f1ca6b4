"""The diary as people use it: the week, booking, moving, weather, crews, days off and the calendar
link."""

from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext
from freezegun import freeze_time

from clients.messaging.models import Message
from clients.models import User
from jobs.models import Booking, Crew, DayOff
from tests.confirm_page import posted_again
from tests.factories import (
    CrewFactory,
    DeckFactory,
    EmailFactory,
    OfferFactory,
    OfferScopeFactory,
)
from tests.jobs.diary_days import MONDAY, NOW, TUESDAY, booked, said, text

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _clock() -> Iterator[None]:
    with freeze_time(NOW):
        yield


@pytest.fixture
def tern(owner: User) -> Crew:
    return CrewFactory(name="Tern crew", hours_a_day=8)


def test_the_week_shows_runs_by_town_hours_and_why_nobody_goes_out(
    as_owner: Browser, tern: Crew
) -> None:
    for name, town in (("Marlow", "Chester"), ("Ansel", "Lunenburg"), ("Nerys", "Chester")):
        booked(date(2027, 6, 29), "2", site__client__name=name, site__town=town)

    page = text(as_owner.get("/diary/?week=2027-06-29"))

    assert page.index("Marlow") < page.index("Nerys") < page.index("Ansel")  # one run a town
    assert page.count("<h3>Chester") == 1
    assert "6 of 8 h" in page
    assert "6 of 32 h" in page  # Canada Day is a Thursday
    assert "Canada Day" in page


def test_a_week_of_many_bookings_takes_as_many_queries_as_one_of_few(
    as_owner: Browser, tern: Crew
) -> None:
    def asked() -> int:
        with CaptureQueriesContext(connection) as captured:
            assert as_owner.get("/diary/?week=2027-06-07").status_code == 200
        return len(captured)

    booked(MONDAY, "1")
    few = asked()
    for day in (7, 7, 8, 8, 9, 10, 11):
        booked(date(2027, 6, day), "1")

    assert asked() == few <= 24


@pytest.mark.parametrize(
    "query", ["?week=", "?week=2027-13-45", "?week=9999-12-31", "?week=0001-01-01", "?week=x"]
)
def test_a_week_that_is_none_is_the_week_of_today(
    as_owner: Browser, tern: Crew, query: str
) -> None:
    assert "May 31" in text(as_owner.get(f"/diary/{query}"))


def test_without_a_crew_the_diary_says_how_to_begin(as_owner: Browser) -> None:
    assert "No crew yet" in text(as_owner.get("/diary/"))


def test_booking_from_a_deck_by_one_of_the_days_that_suit(
    as_owner: Browser, tern: Crew, owner: User
) -> None:
    deck = DeckFactory()
    EmailFactory(client=deck.site.client)
    page = as_owner.get(f"/diary/new/?deck={deck.pk}")
    first = page.context["form"]["when"].value()

    form = {
        "decks": [deck.pk],
        "hours": "6",
        "when": first,
        "notes": "Ring twice",
        "notify_client": "on",
    }
    asked = as_owner.post(f"/diary/new/?deck={deck.pk}", form)
    assert not Booking.objects.exists()
    assert "Your deck: we’ll come on Wednesday, June 2, 2027" in text(asked)
    answer = as_owner.post(f"/diary/new/?deck={deck.pk}", posted_again(asked), follow=True)

    booking = Booking.objects.get()
    assert (booking.first_on, booking.crew, booking.notes, booking.created_by) == (
        date(2027, 6, 2),
        tern,
        "Ring twice",
        owner,
    )
    assert said(answer) == ["Booked: Wed, Jun 2, Tern crew. 1 mailed."]
    assert "Ring twice" in text(answer)


def test_booking_an_accepted_offer_takes_its_decks_and_hours(as_owner: Browser, tern: Crew) -> None:
    deck = DeckFactory(site__client__name="Marlow Pennington")
    offer = OfferFactory(
        site=deck.site,
        state="accepted",
        accepted_week=MONDAY,
        answered_at=NOW,
        hours=Decimal("6.5"),
    )
    OfferScopeFactory(offer=offer, deck=deck)
    assert "Needs a day" in text(as_owner.get("/diary/"))

    page = as_owner.get(f"/diary/new/?offer={offer.pk}")
    assert "The client wants the week of Mon, Jun 7" in text(page)
    assert page.context["form"]["hours"].value() == "6.5"
    form = {
        "decks": [deck.pk],
        "hours": "6.5",
        "when": "other",
        "first_day": "2027-06-08",
        "crew": tern.pk,
    }
    answer = as_owner.post(f"/diary/new/?offer={offer.pk}", form, follow=True)

    assert Booking.objects.get().offer == offer
    assert said(answer) == [
        "Booked: Tue, Jun 8, Tern crew. No message goes to Marlow Pennington: tell them yourself."
    ]
    assert "Needs a day" not in text(as_owner.get("/diary/"))


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"hours": ""}, "Say how many hours the work takes."),
        ({"hours": "0"}, "At least a quarter of an hour."),
        ({"hours": "1e9"}, "At most 999 hours"),
        ({"when": ""}, "Choose a day."),
        ({"when": "other", "first_day": ""}, "Write the day."),
        ({"when": "other", "first_day": "2027-02-30"}, "This is not a day of the calendar."),
        (
            {"when": "other", "first_day": "2027-06-12"},
            "Tern crew does not go out on Jun 12, 2027: Not a working day.",
        ),
        ({"when": "other", "first_day": "2027-06-07"}, "Tern crew has 2 h free on Jun 7, 2027"),
        ({"when": "999999:2027-06-08"}, "Choose one of the days listed"),
        ({"when": "x:y"}, "Choose one of the days listed"),
        ({"decks": []}, "Choose at least one deck."),
        ({"decks": "999999"}, "999999 is not one of the available choices."),
    ],
)
def test_what_is_wrong_is_said_beside_its_field_and_nothing_is_booked(
    as_owner: Browser, tern: Crew, wrong: dict[str, Any], words: str
) -> None:
    booked(MONDAY)
    deck = DeckFactory()
    form = {"decks": deck.pk, "hours": "6", "when": f"{tern.pk}:2027-06-08", **wrong}

    answer = as_owner.post(f"/diary/new/?deck={deck.pk}", form)

    assert words in text(answer)
    assert Booking.objects.count() == 1


def test_a_day_that_was_free_when_the_page_was_opened_and_is_taken_says_so(
    as_owner: Browser, tern: Crew
) -> None:
    deck = DeckFactory()
    chosen = as_owner.get(f"/diary/new/?deck={deck.pk}").context["form"]["when"].value()
    booked(date(2027, 6, 2), "8")

    answer = as_owner.post(
        f"/diary/new/?deck={deck.pk}", {"decks": deck.pk, "hours": "6", "when": chosen}
    )

    assert "Tern crew has 0 h free on Jun 2, 2027. Choose another day or crew." in text(answer)


def test_moving_by_the_form_as_after_dragging(as_owner: Browser, tern: Crew) -> None:
    heron = CrewFactory(name="Heron crew", hours_a_day=8)
    booking = booked(MONDAY)
    page = as_owner.get(f"/diary/{booking.pk}/move/?day=2027-06-08&crew={heron.pk}")
    form = page.context["form"]
    assert (form["when"].value(), form["first_day"].value(), form["crew"].value()) == (
        "other",
        "2027-06-08",
        str(heron.pk),
    )

    data = {"when": "other", "first_day": "2027-06-08", "crew": heron.pk, "hours": "6", "why": ""}
    answer = as_owner.post(f"/diary/{booking.pk}/move/", data, follow=True)

    booking.refresh_from_db()
    assert (booking.first_on, booking.crew, booking.sequence) == (TUESDAY, heron, 1)
    assert answer.redirect_chain == [("/diary/?week=2027-06-08", 302)]
    as_owner.post(f"/diary/{booking.pk}/move/", data)
    booking.refresh_from_db()
    assert booking.sequence == 1


def test_rain_over_a_day_and_the_booking_that_stands_after_all(
    as_owner: Browser, tern: Crew
) -> None:
    booking = booked(MONDAY)
    EmailFactory(client=booking.client)

    answer = as_owner.post(
        "/diary/hold-day/", {"day": "2027-06-07", "crew": "", "why": "Rain."}, follow=True
    )
    assert said(answer) == [
        "1 booking of Mon, Jun 7 held for the weather."
        f" No message goes to {booking.client}: tell them yourself."
    ]
    assert "Weather hold" in text(answer)
    as_owner.post(f"/diary/{booking.pk}/release/", {"confirm": "yes"})

    booking.refresh_from_db()
    assert (booking.state, booking.sequence) == ("booked", 2)
    assert (
        Message.objects.count() == 1
    )  # the day was never read of by the client, so the release is the first word


def test_calling_off_wants_a_reason(as_owner: Browser, tern: Crew) -> None:
    booking = booked(MONDAY)

    without = as_owner.post(f"/diary/{booking.pk}/call-off/", {"why": " "}, follow=True)
    assert said(without) == ["Say why the booking is cancelled."]
    as_owner.post(f"/diary/{booking.pk}/call-off/", {"why": "The house is sold."})

    booking.refresh_from_db()
    assert (booking.state, booking.why) == ("cancelled", "The house is sold.")
    page = text(as_owner.get(f"/diary/{booking.pk}/"))
    assert "Book it again" in page
    assert "Log this job" not in page


def test_a_crew_with_bookings_goes_on_and_fewer_hours_keep_what_is_booked(
    as_owner: Browser, tern: Crew
) -> None:
    booked(MONDAY, "6")
    form = {"name": "Tern crew", "hours_a_day": "4", "works_on": [1, 2], "position": "1"}

    stopped = as_owner.post(f"/diary/crews/{tern.pk}/", form)
    assert "Tern crew has 1 booking to come. Move them first." in text(stopped)
    as_owner.post(f"/diary/crews/{tern.pk}/", {**form, "is_active": "on"})

    assert tern.days.get(day=MONDAY).hours_open == 6
    tern.refresh_from_db()
    assert (tern.hours_a_day, tern.weekdays_in_words) == (4, "Monday, Tuesday")


@pytest.mark.parametrize("hours", ["0", "-1", "1000", "NaN", "x"])
def test_hours_that_no_day_has_are_refused(as_owner: Browser, tern: Crew, hours: str) -> None:
    form = {
        "name": "Tern crew",
        "hours_a_day": hours,
        "works_on": [1],
        "position": "1",
        "is_active": "on",
    }

    answer = as_owner.post(f"/diary/crews/{tern.pk}/", form)

    assert answer.context["form"].errors["hours_a_day"]


def test_days_off_say_which_bookings_have_to_move(as_owner: Browser, tern: Crew) -> None:
    booked(MONDAY, site__client__name="Marlow Pennington")

    backwards = as_owner.post(
        "/diary/days-off/", {"crew": "", "first_on": "2027-06-09", "last_on": "2027-06-08"}
    )
    assert "The last day comes before the first." in text(backwards)
    answer = as_owner.post(
        "/diary/days-off/",
        {"crew": tern.pk, "first_on": "2027-06-07", "why": "Course"},
        follow=True,
    )

    assert said(answer) == ["Saved. 1 booking lies on it: the diary lists what to move."]
    assert "Mon, Jun 7, Tern crew (Course)" in text(as_owner.get("/diary/"))
    off = DayOff.objects.get()
    as_owner.post(f"/diary/days-off/{off.pk}/remove/")
    assert as_owner.post(f"/diary/days-off/{off.pk}/remove/").status_code == 302
    assert "Course" not in text(as_owner.get("/diary/"))


def test_a_calendar_link_is_shown_once_and_can_be_ended(as_owner: Browser, tern: Crew) -> None:
    shown = text(as_owner.post(f"/diary/crews/{tern.pk}/calendar/", follow=True))
    assert "https://decks.example.com/calendar/" in shown
    assert "/calendar/" not in text(as_owner.get("/diary/crews/")).replace(
        f"/crews/{tern.pk}/calendar/", ""
    )

    as_owner.post(f"/diary/crews/{tern.pk}/calendar/", {"close": "1"})
    tern.refresh_from_db()
    assert tern.feed_hash is None


def test_bookings_of_a_client_who_was_archived_wait_for_a_person(
    as_owner: Browser, tern: Crew
) -> None:
    booking = booked(MONDAY, site__client__name="Marlow Pennington")
    as_owner.post(f"/clients/{booking.client_id}/archive/")

    assert "Client archived" in text(as_owner.get("/diary/"))
