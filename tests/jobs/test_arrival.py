"""The time of arrival: agreed, told, in calendars, and as the order of the crew's day."""

from collections.abc import Iterator
from datetime import UTC, date, datetime, time
from decimal import Decimal
from html import unescape
from io import StringIO
from typing import Any

import pytest
from dateutil.tz import tzical
from django.db import IntegrityError, transaction
from django.test import Client as Browser
from freezegun import freeze_time
from icalendar import Calendar

from clients import display
from clients.messaging.models import Message
from clients.models import Business
from jobs.actions import bookings, crews
from jobs.arrival import UNSPECIFIED_ARRIVAL, Arrival
from jobs.diary import icalendar_files
from jobs.diary.week_agenda import diary_week
from jobs.models import Booking, Crew
from restorer import time_zones
from tests.factories import CrewFactory, DeckFactory, EmailFactory
from tests.jobs.diary_days import book_visit, move_visit
from tests.jobs.sent_offers import sent_offer, yes

pytestmark = pytest.mark.django_db
NOW = datetime(2027, 6, 2, 12, tzinfo=UTC)  # a Wednesday
MONDAY = date(2027, 6, 7)
ANYBODY: dict[str, Any] = {"by": None, "now": NOW}
EIGHT = Arrival(time(8))
FROM_EIGHT_TO_TEN = Arrival(time(8), time(10))


@pytest.fixture(autouse=True)
def _clock() -> Iterator[None]:
    with freeze_time(NOW):
        yield


@pytest.fixture(autouse=True)
def tern(business: Business) -> Crew:
    return CrewFactory(name="Tern crew", hours_a_day=8)


def book(
    arrival: Arrival = UNSPECIFIED_ARRIVAL, hours: str = "2", day: date = MONDAY, **deck: Any
) -> Booking:
    row = DeckFactory(**deck)
    EmailFactory(client=row.site.client, value=f"client{row.pk}@example.org")
    return book_visit(
        site=row.site,
        decks=[row],
        hours=Decimal(hours),
        first_day=day,
        arrival=arrival,
        **ANYBODY,
    )


def leave() -> None:
    """As if all had gone out."""
    Message.objects.update(state="accepted", accepted_at=NOW)


def event_of(booking: Booking) -> Any:
    content = icalendar_files.client_calendar_file(booking, Business.objects.get(), now=NOW)
    return Calendar.from_ical(content).walk("VEVENT")[0]


@pytest.mark.parametrize(
    ("language", "line"),
    # How Canada writes times in both languages: Unicode CLDR, timeFormats of en-CA and fr-CA.
    [
        ("en", "Arrival: between 8:00 a.m. and 10:00 a.m."),
        ("fr", "Arrivée : entre 08 h 00 et 10 h 00"),
    ],
)
def test_the_client_reads_when_the_crew_arrives(language: str, line: str) -> None:
    book(FROM_EIGHT_TO_TEN, site__client__language=language)

    assert line in plain(Message.objects.get().text)


def plain(text: str) -> str:
    """With plain spaces where the locale has narrow or fixed ones."""
    return text.translate({0xA0: " ", 0x202F: " "})


def test_a_line_without_a_time_is_left_out() -> None:
    booking = book()

    assert "Arrival" not in Message.objects.get().text
    assert event_of(booking).decoded("dtstart") == MONDAY


def test_another_time_on_the_same_day_is_told_again_and_counts_one_up() -> None:
    booking = book()
    leave()

    changed = bookings.change_booking_arrival(booking=booking, arrival=EIGHT, **ANYBODY)
    assert changed.sequence == 1
    told = Message.objects.get(state="queued")
    assert told.subject == "Your deck: we’ll come on Monday, June 7, 2027"
    assert "Arrival: about 8:00 a.m.\n" in plain(told.text)

    assert bookings.change_booking_arrival(booking=booking, arrival=EIGHT, **ANYBODY).sequence == 1
    same_day: dict[str, Any] = {
        "booking": booking,
        "first_day": MONDAY,
        "why": "",
        **ANYBODY,
    }
    assert move_visit(**same_day).arrival() == EIGHT
    assert move_visit(**same_day, arrival=UNSPECIFIED_ARRIVAL).arrival() == UNSPECIFIED_ARRIVAL
    assert Message.objects.filter(state="queued").get().text.count("Arrival") == 0


def test_of_a_visit_held_for_the_weather_no_time_is_told_until_it_stands_again() -> None:
    booking = book()
    leave()
    bookings.hold_booking(booking=booking, why="", **ANYBODY)
    leave()

    bookings.change_booking_arrival(booking=booking, arrival=EIGHT, **ANYBODY)
    assert not Message.objects.filter(state="queued").exists()

    bookings.release_booking(booking=booking, **ANYBODY)
    assert "Arrival: about 8:00" in Message.objects.get(state="queued").text


def test_a_second_click_books_once_and_another_time_is_no_second_booking() -> None:
    booking = book(EIGHT)
    again: dict[str, Any] = {
        "site": booking.site,
        "decks": list(booking.decks.all()),
        "hours": Decimal(2),
        "first_day": MONDAY,
        **ANYBODY,
    }

    assert book_visit(**again, arrival=EIGHT) == booking
    with pytest.raises(bookings.NoRoomError, match="Move that booking instead"):
        book_visit(**again, arrival=FROM_EIGHT_TO_TEN)


@pytest.mark.parametrize(
    ("begins", "ends"), [(None, time(9)), (time(9), time(9)), (time(9), time(8))]
)
def test_the_database_keeps_no_times_that_are_out_of_order(begins: time | None, ends: time) -> None:
    booking = book()

    with pytest.raises(IntegrityError, match="booking_arrival_in_order"), transaction.atomic():
        Booking.objects.filter(pk=booking.pk).update(arrives_from=begins, arrives_to=ends)


def test_a_calendar_shows_the_hours_by_the_clock_of_the_property() -> None:
    booking = book(EIGHT, site__time_zone="America/Vancouver")
    content = icalendar_files.client_calendar_file(booking, Business.objects.get(), now=NOW)

    # RFC 5545, 3.2.19: local time with a TZID, and a VTIMEZONE for it in the same object (3.6.5).
    assert b"DTSTART;TZID=America/Vancouver:20270607T080000\r\n" in content
    event = event_of(booking)
    # A quarter of the crew's day is a quarter of eight hours on site. In June Vancouver is at UTC−7
    # (tz database), and since 2026f from 1 November 2026 in winter too (its file tzdata.zi:
    # “-8 C PDT 2026 N 1 2”, then “-7 - MST”).
    assert event.decoded("dtstart").astimezone(UTC) == datetime(2027, 6, 7, 15, tzinfo=UTC)
    assert event.decoded("dtend").astimezone(UTC) == datetime(2027, 6, 7, 17, tzinfo=UTC)
    # The VTIMEZONE as a general-purpose library reads it (python-dateutil), summer and winter.
    zone = tzical(unfolded_zone(content)).get("America/Vancouver")
    assert zone
    offsets = [datetime(2027, month, 7, 8, tzinfo=zone).utcoffset() for month in (6, 12)]
    hours = [offset.total_seconds() / 3600 for offset in offsets if offset]
    assert hours == [-7, -7], f"so in 2026f; this is {time_zones.ZONES_VERSION}"


def unfolded_zone(content: bytes) -> StringIO:
    """Only the VTIMEZONE, as a file."""
    text = content.decode().replace("\r\n ", "").replace("\r\n", "\n")
    return StringIO(text[text.index("BEGIN:VTIMEZONE") : text.index("BEGIN:VEVENT")])


@pytest.mark.parametrize(
    ("arrival", "hours", "ends"),
    [
        (FROM_EIGHT_TO_TEN, "0.5", datetime(2027, 6, 7, 10)),  # at least until the latest arrival
        (EIGHT, "2.1", datetime(2027, 6, 7, 10, 15)),  # the next quarter of an hour
        (
            EIGHT,
            "12",
            datetime(2027, 6, 8, 12),
        ),  # eight hours of the crew on Monday, four on Tuesday
    ],
)
def test_a_visit_ends_when_the_last_days_work_may_be_done(
    arrival: Arrival, hours: str, ends: datetime
) -> None:
    event = event_of(book(arrival, hours))

    assert (
        event.decoded("dtstart").replace(tzinfo=None),
        event.decoded("dtend").replace(tzinfo=None),
    ) == (
        datetime(2027, 6, 7, 8),
        ends,
    )


def test_the_clients_file_and_page_say_the_arrival_in_the_clients_language(client: Browser) -> None:
    offer, url = sent_offer(
        valid_until=date(2027, 6, 30), language="fr", site__client__language="fr"
    )
    client.post(url, yes("2027-06-07"))
    booking = Booking.objects.get(offer=offer)
    assert "arrive vers" not in client.get(url).content.decode()

    bookings.change_booking_arrival(booking=booking, arrival=FROM_EIGHT_TO_TEN, **ANYBODY)

    sentence = "L'équipe arrive entre 08 h 00 et 10 h 00."
    assert sentence in plain(event_of(Booking.objects.get())["description"])
    typeset = sentence.replace("'", "’")  # as pages are
    assert typeset in plain(unescape(client.get(url).content.decode()))


def test_a_crews_feed_holds_days_and_hours_and_is_the_same_until_something_changes(
    client: Browser, tern: Crew
) -> None:
    book(FROM_EIGHT_TO_TEN)
    other = book(site__time_zone="Australia/Hobart")
    link = f"/calendar/{crews.open_crew_feed(crew=tern)}.ics"

    first = client.get(link)
    whole = Calendar.from_ical(first.content)
    begins = {type(event.decoded("dtstart")) for event in whole.walk("VEVENT")}
    assert begins == {date, datetime}
    assert "Arrival 8:00" in plain(whole.walk("VEVENT")[0]["description"])
    # RFC 5545, 3.6.5: one VTIMEZONE for each TZID that is used, and none for days.
    assert [str(zone["tzid"]) for zone in whole.walk("VTIMEZONE")] == ["America/Halifax"]
    assert client.get(link, headers={"If-None-Match": first["ETag"]}).status_code == 304

    bookings.change_booking_arrival(booking=other, arrival=EIGHT, **ANYBODY)
    changed = Calendar.from_ical(client.get(link, headers={"If-None-Match": first["ETag"]}).content)
    assert {str(zone["tzid"]) for zone in changed.walk("VTIMEZONE")} == {
        "America/Halifax",
        "Australia/Hobart",
    }


def test_a_crews_day_is_in_order_of_arrival_and_what_has_no_time_waits_for_its_town() -> None:
    ten = Arrival(time(10))
    nine = Arrival(time(9), time(11))
    for town, arrival in [
        ("Chester", UNSPECIFIED_ARRIVAL),
        ("Lunenburg", ten),
        ("Chester", EIGHT),
        ("Digby", UNSPECIFIED_ARRIVAL),
        ("Chester", nine),
        ("Chester", Arrival(time(15))),
    ]:
        book(arrival, "1", site__town=town, site__client__name=f"{town} {arrival.begins}")

    day = diary_week(MONDAY, business=Business.objects.get()).days[0].crews[0]

    assert [
        (run.town, [stop.booking.client.name.split()[1] for stop in run.stops]) for run in day.runs
    ] == [
        ("Chester", ["08:00:00", "09:00:00", "None"]),
        ("Lunenburg", ["10:00:00"]),
        ("Chester", ["15:00:00"]),
        ("Digby", ["None"]),
    ]


def test_a_time_is_agreed_on_the_page_of_the_booking_and_seen_in_the_week(
    as_owner: Browser,
) -> None:
    booking = book()

    page = as_owner.post(
        f"/diary/{booking.pk}/arrival/",
        {"arrives_from": "08:00", "arrives_to": "10:00"},
        follow=True,
    )
    assert "8:00 a.m. – 10:00 a.m." in plain(page.content.decode())
    assert "8:00 a.m. – 10:00 a.m." in plain(
        as_owner.get("/diary/?week=2027-06-07").content.decode()
    )
    form = as_owner.get(f"/diary/{booking.pk}/move/").context["form"]
    assert (form["arrives_from"].value(), form["arrives_to"].value()) == (time(8), time(10))

    as_owner.post(f"/diary/{booking.pk}/arrival/", {"arrives_from": "", "arrives_to": ""})
    booking.refresh_from_db()
    assert (booking.arrival(), booking.sequence) == (UNSPECIFIED_ARRIVAL, 2)


@pytest.mark.parametrize(
    ("begins", "ends", "words"),
    [
        ("", "10:00", "Write the time of arrival, or leave the latest one empty, too."),
        ("10:00", "09:30", "At the latest: write a time after that of arrival."),
        ("half past", "", "Arrival: write hours and minutes, such as 08:30."),
    ],
)
def test_times_that_are_none_are_said_and_nothing_is_saved(
    as_owner: Browser, begins: str, ends: str, words: str
) -> None:
    booking = book()
    times = {"arrives_from": begins, "arrives_to": ends}

    page = as_owner.post(f"/diary/{booking.pk}/arrival/", times, follow=True)
    assert [str(message) for message in page.context["messages"]] == [words]
    data = {"when": "other", "first_day": "2027-06-08", "hours": "2", **times}
    assert words in as_owner.post(f"/diary/{booking.pk}/move/", data).content.decode()
    booking.refresh_from_db()
    assert (booking.sequence, booking.first_on) == (0, MONDAY)


def test_a_sentence_that_ends_in_a_clock_has_one_full_stop(business: Business) -> None:
    with display.override_business(business), display.in_client_language("en"):
        said = Arrival(time(8)).client_sentence

    assert said.endswith("8:00\u202fa.m.")
