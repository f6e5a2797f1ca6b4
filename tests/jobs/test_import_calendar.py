"""A phone's calendar as a list: iCalendar (RFC 5545), folded and escaped as it has them."""

from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError

from clients.models import Business, Client, Property
from jobs.importing.files import read_sheets
from jobs.models import CoatApplied, Job
from tests.jobs.test_import_guess import guess
from tests.jobs.towns import add_towns

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _towns(business: Business) -> None:
    add_towns()


def entry(number: int, *lines: str) -> str:
    whole = ["BEGIN:VEVENT", f"UID:{number}@example.org", "DTSTAMP:20240101T000000Z"]
    return "\r\n".join([*whole, *lines, "END:VEVENT"])


def calendar(*entries: str) -> str:
    head = ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//Example//Example//EN"]
    return "\r\n".join([*head, *entries, "END:VCALENDAR", ""])


DIARY = calendar(
    # RFC 5545, 3.6.1: an end by date is the day after; 3.1: a long line is folded
    entry(
        1,
        "DTSTART;VALUE=DATE:20230612",
        "DTEND;VALUE=DATE:20230614",
        "SUMMARY:Saltonby - str",
        " ip & seal",
        "LOCATION:14 Spruce Rd\\, Chester",
        "DESCRIPTION:2 coats Tidewood Deck Oil driftwood\\, gate on the left",
    ),
    entry(
        2,
        "DTSTART:20240520T090000",
        "DTEND:20240520T150000",
        "SUMMARY:recoat Orla Pemberly back deck",
        "LOCATION:12 Sandpiper Lane\\, Lunenburg",
    ),
    entry(3, "DTSTART:20240521T090000", "SUMMARY:Dentist"),
    entry(
        4,
        "DTSTART:20240601T090000",
        "DURATION:PT5H",
        "SUMMARY:Wash Greaves deck 3 Shore Dr Mahone Bay",
    ),
    entry(5, "DTSTART:20240603T090000", "RRULE:FREQ=WEEKLY", "SUMMARY:clean the van"),
)


def brought_in(tmp_path: Path, text: str) -> dict[str, Any]:
    path = tmp_path / "diary.ics"
    path.write_text(text, newline="")
    return guess(path)[0]


def test_entries_that_name_work_come_in_and_others_stay_out(tmp_path: Path) -> None:
    found = brought_in(tmp_path, DIARY)

    assert (found["rows"], found["ready"]) == (3, 3)
    assert found["remarks"] == [
        "1 entry that comes back again and again was left out.",
        "1 entry that tells of no work on a deck stayed out.",
    ]
    jobs = Job.objects.order_by("finished_on")
    assert [(job.deck.site.client.name, job.kind, job.span.edtf()) for job in jobs] == [
        ("Saltonby", "strip", "2023-06-13"),
        ("Orla Pemberly", "recoat", "2024-05-20"),
        ("Greaves", "clean", "2024-06-01"),
    ]
    assert set(Property.objects.values_list("street", "town")) == {
        ("14 Spruce Rd", "Chester"),
        ("12 Sandpiper Lane", "Lunenburg"),
        ("3 Shore Dr", "Mahone Bay"),
    }
    coat = CoatApplied.objects.get(product__isnull=False)
    assert (coat.product.name, coat.colour, coat.coats) == ("Tidewood Deck Oil", "Driftwood", 2)


def test_the_days_of_one_visit_are_one_job_and_a_year_later_is_another(tmp_path: Path) -> None:
    days = {"20230612": "strip Saltonby", "20230615": "Saltonby - seal, 2nd coat"}
    days |= {"20240612": "recoat Saltonby"}
    entries = [
        entry(number, f"DTSTART;VALUE=DATE:{day}", f"SUMMARY:{words}")
        for number, (day, words) in enumerate(reversed(days.items()))
    ]

    brought_in(tmp_path, calendar(*entries))

    jobs = Job.objects.order_by("finished_on")
    assert [(job.kind, job.span.edtf()) for job in jobs] == [
        ("strip", "2023-06-15"),
        ("recoat", "2024-06-12"),
    ]
    assert Client.objects.get().name == "Saltonby"


def test_an_entry_without_a_day_waits(tmp_path: Path) -> None:
    """DTSTART may be missing where a METHOD is given (RFC 5545, 3.6.1)."""
    found = brought_in(tmp_path, calendar(entry(1, "SUMMARY:Saltonby - recoat")))

    assert found["rows"] == 1
    assert not Job.objects.exists()


@pytest.mark.parametrize("broken", ["BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\n", "BEGIN:VCALENDAR"])
def test_a_calendar_that_breaks_off_is_refused_with_a_word(tmp_path: Path, broken: str) -> None:
    path = tmp_path / "diary.ics"
    path.write_text(broken)

    with pytest.raises(CommandError, match="calendar"):
        guess(path)


def test_lines_that_are_no_entry_do_no_harm() -> None:
    (sheet,) = read_sheets(calendar(entry(1, "SUMMARY:x", "X-ODD;A=:\\;")).encode())

    assert [line.cells[0] for line in sheet.lines] == ["Calendar entry", "x"]
