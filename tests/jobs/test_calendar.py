"""The client's file and the crews' feeds, read back by `icalendar` and held against RFC 5545, 5546
and 7986."""

import re
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client as Browser
from icalendar import Calendar

from clients.display import override_business
from clients.messaging.models import ToDo
from clients.models import Business
from jobs.actions import bookings, crews
from jobs.diary import icalendar_files
from jobs.models import Booking, Crew
from tests.factories import CrewFactory, DeckFactory, OfferFactory, OfferScopeFactory
from tests.jobs.diary_days import book_visit, move_visit

pytestmark = pytest.mark.django_db
NOW = datetime(2027, 6, 2, 12, 30, 15, 987654, tzinfo=UTC)
FRIDAY = date(2027, 6, 11)
ANYBODY: dict[str, Any] = {"by": None, "now": NOW}


@pytest.fixture
def tern(business: Business) -> Crew:
    return CrewFactory(name="Tern crew; morning, early", hours_a_day=8)


def book(hours: str = "6", day: date = FRIDAY, **deck: Any) -> Booking:
    row = DeckFactory(**{"site__client__name": "Marlow Pennington", **deck})
    return book_visit(
        site=row.site,
        decks=[row],
        hours=Decimal(hours),
        first_day=day,
        **ANYBODY,
    )


def file_of(booking: Booking, business: Business) -> tuple[bytes, Calendar, Any]:
    content = icalendar_files.client_calendar_file(booking, business, now=NOW)
    whole = Calendar.from_ical(content)
    return content, whole, whole.walk("VEVENT")[0]


def test_the_first_file_publishes_the_booking(tern: Crew, business: Business) -> None:
    booking = book()

    _, whole, event = file_of(booking, business)

    # RFC 5545, 3.6 and 3.7: PRODID and VERSION once; 3.6.1: UID and DTSTAMP once in a VEVENT.
    assert (whole["version"], whole["prodid"]) == ("2.0", "-//Deck care//Diary//EN")
    # RFC 5546, 3.2.1 (PUBLISH): ORGANIZER, SUMMARY, DTSTART there; ATTENDEE must not be.
    assert whole["method"] == "PUBLISH"
    assert (event["organizer"], event["organizer"].params["CN"]) == (
        "mailto:office@example.com",
        "Driftline Deck Care",
    )
    assert event["summary"].startswith("Driftline Deck Care: Back deck")
    assert "attendee" not in event
    # RFC 5545, 3.8.7.2: UTC, and with METHOD the moment at which the object was made.
    assert event.decoded("dtstamp") == NOW.replace(microsecond=0)
    assert (event["uid"], event["sequence"], event["status"]) == (str(booking.uid), 0, "CONFIRMED")


def test_whole_days_end_on_the_day_after_the_last(tern: Crew, business: Business) -> None:
    content, _, event = file_of(book("12"), business)

    # RFC 5545, 3.6.1: "The DTEND property … specifies the non-inclusive end of the event"; both as
    # DATE.
    assert event.decoded("dtstart") == FRIDAY
    assert event.decoded("dtend") == date(2027, 6, 15)  # Friday and, after the weekend, Monday
    assert b"DTSTART;VALUE=DATE:20270611\r\n" in content
    assert event["description"].startswith("2027-06-11, 2027-06-14")


def test_uid_stays_and_sequence_goes_up_through_changes_until_the_booking_is_called_off(
    tern: Crew, business: Business
) -> None:
    booking = book()
    steps = [
        lambda: move_visit(
            booking=booking, first_day=FRIDAY + timedelta(days=3), crew=None, why="", **ANYBODY
        ),
        lambda: bookings.hold_booking(booking=booking, why="Rain.", **ANYBODY),
        lambda: bookings.release_booking(booking=booking, **ANYBODY),
        lambda: bookings.cancel_booking(booking=booking, why="Sold.", **ANYBODY),
    ]

    seen = [file_of(step(), business) for step in steps]

    assert {str(event["uid"]) for *_, event in seen} == {str(booking.uid)}
    # RFC 5546, 2.1.4: the larger SEQUENCE is the newer revision.
    assert [event["sequence"] for *_, event in seen] == [1, 2, 3, 4]
    assert [str(event["status"]) for *_, event in seen] == [
        "CONFIRMED",
        "TENTATIVE",
        "CONFIRMED",
        "CANCELLED",
    ]
    # RFC 5546, 4.1.3 "Canceling a Published Event": METHOD CANCEL, ORGANIZER, COMMENT, SEQUENCE
    # raised, no ATTENDEE.
    _, whole, event = seen[-1]
    assert (whole["method"], event["comment"], event["organizer"]) == (
        "CANCEL",
        "Sold.",
        "mailto:office@example.com",
    )


def test_a_booking_taken_up_again_for_its_offer_is_the_same_entry(
    tern: Crew, business: Business
) -> None:
    deck = DeckFactory()
    offer = OfferFactory(site=deck.site, state="accepted", accepted_week=FRIDAY, answered_at=NOW)
    usual = {
        "site": deck.site,
        "decks": [deck],
        "hours": Decimal(6),
    }
    first = book_visit(first_day=FRIDAY, offer=offer, **usual, **ANYBODY)
    bookings.cancel_booking(booking=first, why="Ill.", **ANYBODY)
    to_do = ToDo.objects.get(kind="book", done_at=None)

    again = book_visit(first_day=FRIDAY - timedelta(days=1), offer=offer, **usual, **ANYBODY)

    assert (again.pk, again.uid, again.sequence, again.state) == (first.pk, first.uid, 2, "booked")
    to_do.refresh_from_db()
    assert (to_do.done_at, to_do.url) == (NOW, f"/diary/{first.pk}/")


def test_lines_are_folded_at_75_octets_and_text_is_escaped(tern: Crew, business: Business) -> None:
    booking = book(
        label="Terrasse côté mer; grande, ensoleillée, « la préférée »",
        site__street="7, rue de l’Île",
    )

    content, _, event = file_of(booking, business)

    # RFC 5545, 3.1: lines end in CRLF and hold at most 75 octets; a fold does not cut a UTF-8
    # character.
    lines = content.split(b"\r\n")
    assert max(map(len, lines)) <= 75
    assert b"\n" not in b"".join(lines)
    assert [line.decode() for line in lines]
    # RFC 5545, 3.3.11: semicolon and comma of a TEXT value are escaped.
    unfolded = content.replace(b"\r\n ", b"").decode()
    assert r"SUMMARY:Driftline Deck Care: Terrasse côté mer\; grande\, ensoleillée" in unfolded
    assert str(event["location"]).startswith("7, rue de l’Île")


@pytest.fixture
def link(tern: Crew) -> str:
    return f"/calendar/{crews.open_crew_feed(crew=tern)}.ics"


def events(browser: Browser, link: str) -> list[Any]:
    return list(Calendar.from_ical(browser.get(link).content).walk("VEVENT"))


def test_the_feed_names_itself_and_says_how_often_to_come_back(
    client: Browser, link: str, tern: Crew
) -> None:
    book()

    answer = client.get(link)

    assert answer["Content-Type"] == "text/calendar; charset=utf-8"
    text = answer.content.replace(b"\r\n ", b"").decode()
    # RFC 7986, 5.1, 5.7, 5.8 and 5.9: NAME; REFRESH-INTERVAL and SOURCE must say their value type;
    # COLOR of CSS.
    assert r"NAME:Tern crew\; morning\, early\, Driftline Deck Care" in text
    assert "REFRESH-INTERVAL;VALUE=DURATION:PT6H" in text
    assert f"SOURCE;VALUE=URI:http://testserver{link}" in text
    assert re.search(r"^COLOR:[a-z]+\r$", text, re.MULTILINE)
    # RFC 5545, 3.7.2: no METHOD where nothing is scheduled; each UID once (3.8.4.7).
    assert "METHOD" not in text


def test_the_feed_holds_initials_and_the_work_but_neither_name_nor_notes(
    client: Browser, link: str
) -> None:
    deck = DeckFactory(site__client__name="Marlow Pennington", site__access_notes="Gate code 4711")
    offer = OfferFactory(site=deck.site)
    OfferScopeFactory(offer=offer, deck=deck, product__name="Tidewood Deck Oil", coats=2)
    book_visit(
        site=deck.site,
        decks=[deck],
        hours=Decimal(6),
        first_day=FRIDAY,
        offer=offer,
        notes="Key under the pot",
        **ANYBODY,
    )

    event = events(client, link)[0]

    assert event["summary"] == f"Lunenburg: {deck.site.street} (M.P.)"
    assert "Clean and recoat, Tidewood Deck Oil, Driftwood, 2 coats" in event["description"]
    whole = client.get(link).content.decode()
    assert not any(secret in whole for secret in ("Pennington", "4711", "Key under"))


@pytest.mark.usefixtures("tern")
def test_the_feed_is_the_same_until_something_changes_and_then_has_a_new_tag(
    client: Browser, link: str
) -> None:
    booking = book()
    first = client.get(link)

    # RFC 9110, 13.1.2 and 15.4.5: If-None-Match with the current ETag is answered 304 with the tag
    # and no body.
    same = client.get(link, headers={"If-None-Match": first["ETag"]})
    assert (same.status_code, same.content, same["ETag"]) == (304, b"", first["ETag"])

    bookings.hold_booking(booking=booking, why="Rain.", by=None, now=NOW + timedelta(hours=1))
    changed = client.get(link, headers={"If-None-Match": first["ETag"]})
    assert (changed.status_code, changed["ETag"] != first["ETag"]) == (200, True)


def test_a_link_that_was_replaced_or_ended_leads_nowhere(
    client: Browser, link: str, tern: Crew
) -> None:
    second = f"/calendar/{crews.open_crew_feed(crew=tern)}.ics"

    assert (client.get(link).status_code, client.get(second).status_code) == (404, 200)
    crews.close_crew_feed(crew=tern)
    assert client.get(second).status_code == 404
    tern.refresh_from_db()
    assert tern.feed_hash is None


def test_only_the_hash_of_a_link_is_kept(tern: Crew) -> None:
    token = crews.open_crew_feed(crew=tern)

    tern.refresh_from_db()
    assert (len(token) >= 22, len(tern.feed_hash or ""), token in (tern.feed_hash or "")) == (
        True,
        64,
        False,
    )


def test_a_feed_keeps_what_was_called_off_for_ninety_days(tern: Crew) -> None:
    booking = bookings.cancel_booking(booking=book(), why="Sold.", **ANYBODY)

    def is_in(today: date) -> bool:
        return booking in icalendar_files.crew_feed_bookings(tern, today=today)

    assert is_in(FRIDAY + timedelta(days=90))
    assert not is_in(FRIDAY + timedelta(days=91))


def test_the_feed_of_a_crew_takes_as_many_queries_for_one_booking_as_for_ten(
    tern: Crew, business: Business, django_assert_num_queries: Any
) -> None:
    def asked(count: int) -> None:
        with override_business(business), django_assert_num_queries(count):
            rows = icalendar_files.crew_feed_bookings(tern, today=FRIDAY)
            icalendar_files.crew_feed_file(
                tern, rows, business, url="https://decks.example.com/calendar/x.ics"
            )

    book("1")
    asked(4)
    for _ in range(4):
        book("1")
    asked(4)
