"""A crew's day on the phone: my crew's run in order, what to bring, "on our way", what was left to
do, the weather once a day, and what to mind on every booking."""

import re
from collections import Counter
from collections.abc import Callable, Iterator
from datetime import date, time, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client as Browser
from django.utils import timezone
from freezegun import freeze_time

from clients.messaging.models import Message, SendingRules, TextGateway
from clients.models import Business, User
from jobs.actions import bookings
from jobs.arrival import Arrival
from jobs.models import Booking, Crew, Job
from jobs.scope import DayKit, kit_for
from jobs.work import protection_for, tools_for
from tests.factories import (
    ClientFactory,
    CoatFactory,
    CrewFactory,
    DeckFactory,
    EmailFactory,
    PhoneFactory,
    PropertyFactory,
)
from tests.jobs.diary_days import MONDAY, book_visit, said, text

NOON = "2027-06-07 15:00:00+00:00"  # of that Monday in Halifax

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _clock() -> Iterator[None]:
    with freeze_time(NOON):
        yield


@pytest.fixture
def tern(crew: User) -> Crew:
    """The crew that the person of the tests goes out with; there is another one."""
    made = CrewFactory(name="Tern crew", hours_a_day=16)
    made.people.add(crew)
    CrewFactory(name="Gull crew", hours_a_day=16)
    return made


@pytest.fixture
def on_site(crew: User, as_user: Callable[[User], Browser]) -> Browser:
    return as_user(crew)


def visit(
    crew: Crew, name: str, *, town: str = "Lunenburg", at: time | None = None, **home: Any
) -> Booking:
    client = ClientFactory(name=name)
    PhoneFactory(client=client, value="902-555-0142")
    site = PropertyFactory(client=client, town=town, street=f"{len(name)} Plover Row", **home)
    deck = DeckFactory(site=site)
    CoatFactory(job__deck=deck, job__finished_on=date(2025, 6, 1))
    return book_visit(
        site=site,
        decks=[deck],
        hours=Decimal(3),
        first_day=MONDAY,
        crew=crew,
        arrival=Arrival(at),
        now=timezone.now(),
        notify_client=False,
    )


def test_my_crews_run_comes_first_in_its_order_with_the_way_between(
    on_site: Browser, tern: Crew
) -> None:
    visit(tern, "Late Caller", town="Chester", at=time(13), latitude=44.5396, longitude=-64.2385)
    early = visit(tern, "Early Bird", at=time(8), latitude=44.3770, longitude=-64.3180)
    visit(Crew.objects.get(name="Gull crew"), "Somebody Else")

    page = text(on_site.get("/"))

    assert "Somebody Else" not in page
    assert page.index("Early Bird") < page.index("Late Caller")
    # Haversine on a sphere of 6,371 km by hand: 19.1 km between these two places.
    assert "19 km on, in a straight line" in page
    assert "2 visits, 6 h · 19 km between them, in a straight line" in page
    # RFC 5870, 3.3: geo:latitude,longitude in decimal degrees (WGS 84), north and east positive
    assert 'href="geo:44.37700,-64.31800?q=10%20Plover%20Row%2C%20Lunenburg' in page
    assert 'href="tel:+19025550142"' in page
    Business.objects.update(map_link="https://maps.example.com/?at={lat},{lon}")
    assert 'href="https://maps.example.com/?at=44.37700,-64.31800"' in text(on_site.get("/"))
    assert f"/diary/{early.pk}/" in page
    assert "Somebody Else" in text(on_site.get("/?crew=all"))
    assert "No visit on this day." in text(on_site.get("/?round=2027-06-08"))


def test_what_to_bring_is_a_list_to_tick_of_the_work_that_is_not_logged(
    on_site: Browser, tern: Crew
) -> None:
    booking = visit(tern, "Early Bird")
    page = text(on_site.get("/"))
    ticks = re.findall(r'<input type="checkbox" value="([^"]+)"', page)
    assert any(value.startswith("finish ") for value in ticks)
    assert "Brushes, pads and trays" in ticks
    assert re.search(r"Tidewood[^<]*: \d", page)

    job = Job.objects.create(
        deck=booking.decks.get(), kind="recoat", finished_on=MONDAY, recorded_by=None
    )
    bookings.record_booking_jobs(booking=booking, jobs=[job], now=timezone.now())

    assert "Brushes, pads and trays" not in text(on_site.get("/"))


@pytest.mark.parametrize(
    ("tasks", "may_burn", "there", "away"),
    [
        ({"strip", "brighten", "sand", "coat"}, True, "Covers for plants", "nothing"),
        ({"clean", "sand", "coat"}, True, "oily rags", "nothing"),
        ({"clean", "sand", "coat"}, False, "Brushes", "oily rags"),
        ({"clean", "coat"}, False, "Brushes", "Sander"),
        ({"clean"}, False, "Gloves", "Brushes"),
    ],
)
def test_tools_follow_the_work(tasks: set[str], may_burn: bool, there: str, away: str) -> None:
    # common practice, no source
    words = " ".join([*tools_for(tasks, may_burn=may_burn), *protection_for(tasks, is_high=False)])

    assert words.count(there) == 1
    assert away not in words
    assert kit_for([]) == DayKit()


@pytest.fixture
def texts(tern: Crew) -> None:
    TextGateway.objects.create(
        id=1, url="https://gateway.example.com/send", template={"to": "{to}"}, is_on=True
    )


@pytest.mark.usefixtures("texts")
def test_on_our_way_is_asked_said_once_and_taken_back_by_the_crew(
    on_site: Browser, tern: Crew
) -> None:
    booking = visit(tern, "Early Bird")
    address = f"/diary/{booking.pk}/on-the-way/"

    asked = text(on_site.post(address))
    assert "Tell Early Bird that you are on your way?" in asked
    assert "about 12:20 p.m." in asked  # twenty minutes after noon, by the clock there
    assert not Message.objects.exists()

    sent = on_site.post(
        address, {"confirm": "yes", "shown": booking.pk, "send": booking.pk}, follow=True
    )
    message = Message.objects.get()
    assert (message.kind, message.channel, message.consent) == ("service", "text", None)
    assert message.not_before - message.queued_at == timedelta(minutes=2)
    assert "Told that you are on your way" in text(sent)
    assert "Early Bird was told already." in said(on_site.post(address, follow=True))
    assert Message.objects.count() == 1

    on_site.post(f"/outbox/sent/{message.sending_id}/take-back/")
    message.refresh_from_db()
    assert message.state == "cancelled"
    assert "Told that you are on your way" not in text(on_site.get("/"))


@pytest.mark.usefixtures("texts")
def test_on_our_way_is_for_a_visit_of_today_and_for_who_can_be_reached(
    on_site: Browser, tern: Crew
) -> None:
    booking = visit(tern, "Early Bird")
    booking.client.contact_points.all().delete()
    unreached = said(on_site.post(f"/diary/{booking.pk}/on-the-way/", follow=True))
    assert unreached[0].startswith("Phone Early Bird: ")

    Booking.objects.update(first_on=date(2027, 6, 8), last_on=date(2027, 6, 8))
    other_day = on_site.post(f"/diary/{booking.pk}/on-the-way/", {"confirm": "yes"}, follow=True)
    assert said(other_day) == ["This visit is not booked for today."]
    assert not Message.objects.exists()


@pytest.mark.usefixtures("texts")
def test_a_crew_takes_back_only_what_they_sent(
    on_site: Browser, tern: Crew, office: User, as_user: Callable[[User], Browser]
) -> None:
    booking = visit(tern, "Early Bird")
    SendingRules.objects.get_or_create(id=1)
    as_user(office).post(f"/diary/{booking.pk}/on-the-way/", {"confirm": "y", "send": booking.pk})
    message = Message.objects.get()

    answer = on_site.post(f"/outbox/sent/{message.sending_id}/take-back/")

    message.refresh_from_db()
    assert (answer.status_code, message.state) == (404, "queued")


def test_what_is_left_goes_to_the_next_day_with_room_in_one_press(
    on_site: Browser, tern: Crew
) -> None:
    booking = visit(tern, "Early Bird")
    EmailFactory(client=booking.client, value="early@example.org")
    form = {"left": "The railing.", "hours_left": "2,5", "notify_client": "on"}

    asked = text(on_site.post(f"/diary/{booking.pk}/next-visit/", form))
    assert "Come again, and tell Early Bird?" in asked
    assert "The railing." in asked
    booking.refresh_from_db()
    assert booking.first_on == MONDAY

    done = on_site.post(
        f"/diary/{booking.pk}/next-visit/",
        {**form, "confirm": "yes", "shown": "0", "send": "0"},
        follow=True,
    )
    booking.refresh_from_db()
    assert (booking.first_on, booking.hours, booking.crew) == (
        date(2027, 6, 8),
        Decimal("2.5"),
        tern,
    )
    assert booking.notes == "Jun 7, 2027, left to do: The railing."
    assert any("Next visit: Tue, Jun 8" in words for words in said(done))
    assert Message.objects.get().address == "early@example.org"


def test_what_is_left_is_longer_than_it_may_be_and_stands_there_still(
    on_site: Browser, tern: Crew
) -> None:
    booking = visit(tern, "Early Bird")
    words = "The railing by the stairs. " * 12

    answer = on_site.post(f"/diary/{booking.pk}/next-visit/", {"left": words, "hours_left": "2"})

    page = text(answer)
    assert "At most 300 characters. Shorten it." in page
    assert words.strip() in page
    assert "<details open>" in page
    booking.refresh_from_db()
    assert booking.first_on == MONDAY


def test_without_words_nothing_is_moved(on_site: Browser, tern: Crew) -> None:
    booking = visit(tern, "Early Bird")

    answer = on_site.post(f"/diary/{booking.pk}/next-visit/", {"hours_left": "2"}, follow=True)

    assert said(answer) == ["Say what is left to do."]
    booking.refresh_from_db()
    assert (booking.first_on, booking.notes) == (MONDAY, "")


def test_the_weather_is_entered_once_a_day(on_site: Browser, tern: Crew) -> None:
    first = visit(tern, "Early Bird")
    second = visit(tern, "Late Caller")
    Job.objects.create(
        deck=first.decks.get(),
        kind="clean",
        finished_on=MONDAY,
        crew="Tern crew",
        air_c=Decimal("17.5"),
        humidity_percent=62,
    )

    page = text(on_site.get(f"/jobs/log/?deck={second.decks.get().pk}&booking={second.pk}"))

    assert re.search(r'name="air_c" value="17.5"', page)
    assert re.search(r'name="humidity_percent" value="62"', page)


def test_a_booking_shows_its_cautions_without_an_offer_and_no_id_stands_twice(
    as_owner: Browser, tern: Crew
) -> None:
    booking = visit(tern, "Early Bird")

    page = as_owner.get(f"/diary/{booking.pk}/").content.decode()

    assert "Look before you step" in page
    assert "Clean and recoat" in page
    # HTML, 3.2.6: an id is unique; two labels once pressed a box of another form
    twice = [
        found for found, count in Counter(re.findall(r' id="([^"]+)"', page)).items() if count > 1
    ]
    assert twice == []


def test_the_owner_says_who_goes_out_with_a_crew(
    as_owner: Browser, tern: Crew, office: User
) -> None:
    form = {
        "name": "Tern crew",
        "hours_a_day": "16",
        "works_on": ["1"],
        "position": "1",
        "is_active": "on",
    }
    as_owner.post(f"/diary/crews/{tern.pk}/", {**form, "people": [office.pk]})

    assert list(tern.people.all()) == [office]
    assert "The day" in text(as_owner.get("/?round=2027-06-08"))
