"""Calendars as phones and programs write them out (iCalendar, RFC 5545): a line for each entry."""

from collections.abc import Iterator
from datetime import date, datetime
from operator import itemgetter
from typing import Any

from icalendar import Calendar

from jobs.importing.files.delimited import decoded_lines
from jobs.importing.files.lines import ListError

CALENDAR_HEADER = ["Calendar entry", "Where", "Date", "Notes"]
DAY = 2


def is_calendar(content: bytes) -> bool:
    return content.removeprefix(b"\xef\xbb\xbf").lstrip()[:15].upper() == b"BEGIN:VCALENDAR"


def calendar_lines(content: bytes, remarks: list[str]) -> Iterator[tuple[int, list[str]]]:
    """A header, then a line an entry by day; one that comes back is left out, as it tells of no one
    day. Raises ListError."""
    text = "\r\n".join(decoded_lines(content, remarks))
    try:
        calendar = Calendar.from_ical(text)
    except (ValueError, KeyError, IndexError, TypeError) as error:
        raise ListError(
            "This calendar breaks the rules of iCalendar. Write it out again."
        ) from error
    yield 1, CALENDAR_HEADER
    events = calendar.walk("VEVENT")
    entries = [event_cells(event) for event in events if "RRULE" not in event]
    yield from enumerate(sorted(entries, key=itemgetter(DAY)), start=2)
    repeated = len(events) - len(entries)
    if repeated:
        words = "1 entry that comes" if repeated == 1 else f"{repeated:,} entries that come"
        were = "was" if repeated == 1 else "were"
        remarks.append(f"{words} back again and again {were} left out.")


def event_cells(event: Any) -> list[str]:
    """What, where, the last day and the description; a day that cannot be read is empty."""
    return [
        words_of(event.get("SUMMARY")),
        words_of(event.get("LOCATION")),
        last_day(event),
        words_of(event.get("DESCRIPTION")),
    ]


def words_of(value: Any) -> str:
    return " ".join(str(value or "").split())


def last_day(event: Any) -> str:
    """Of an entry of whole days the end is the day after (RFC 5545, 3.6.1)."""
    try:
        start, end = event.start, event.end
    except (ValueError, TypeError, AttributeError):
        return ""
    if isinstance(end, datetime):
        return str(end.date())
    return str(max(start, date.fromordinal(end.toordinal() - 1)))
