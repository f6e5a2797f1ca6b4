"""Days as people write them. A month, a season or a year stays what it is: a span of days."""

import re
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache

from babel.dates import get_month_names

from jobs.importing.cells.problems import UnreadableCell
from jobs.partial_dates import (
    AUTUMN,
    EARLIEST_JOB_DAY,
    SPRING,
    SUMMER,
    WINTER,
    DaySpan,
    EdtfError,
    Precision,
    parse_edtf,
)

LAST_DAY = 31
RANGE_OF_DAYS = re.compile(
    r"(?<!\d)\d{1,2}(?:st|nd|rd|th)? ?(?:-|to|&|and) ?(\d{1,2})(?:st|nd|rd|th)?(?!\d)"
)
SPREADSHEET_EPOCH = date(1899, 12, 30)  # day 0 of spreadsheets (ECMA-376, 18.17.4.1; from memory)
SPREADSHEET_DAYS = range(18_264, 60_000)  # 1950 to 2064
LANGUAGES_OF_MONTHS = ("en", "fr", "de", "es")

SEASONS = {"spring": SPRING, "summer": SUMMER, "autumn": AUTUMN, "fall": AUTUMN, "winter": WINTER}
SEASONS |= {"printemps": SPRING, "été": SUMMER, "automne": AUTUMN, "hiver": WINTER}
PARTS = {"early": 0, "beginning": 0, "start": 0, "mid": 1, "middle": 1, "late": 2, "end": 2}
SHORT_DATE = re.compile(r"(?<![\d-])(\d{1,2})[-/.](\d{1,2})[-/.]'?(?:\d{4}|\d{2})\b")
# A comma before a year may stand within one date: “June 14, 2023”.
BETWEEN_DATES = re.compile(r"\s*(?:[;&+\n]|,(?!\s*\d{4}$)|\band\b)\s*")
BETWEEN_YEARS = re.compile(r"\s*(?:[;,&+/\n]|\band\b)\s*")
WEEKDAY = re.compile(r"^(?:mon|tues?|wed(?:nes)?|thu(?:rs?)?|fri|sat(?:ur)?|sun)(?:day)?\b[ .,]+")
ABOUT = re.compile(r"\b(?:c|ca|circa|about|approx|around|abt|maybe|sometime|in|of|the)\b\.?|[~?≈]")
YEAR = r"(?:'|’)?(\d{4}|\d{2})(?:ish)?"


@dataclass(frozen=True, slots=True)
class Calendar:
    """What the list's days go by: the order of day and month, the half of the earth, today."""

    today: date
    day_first: bool | None = None
    is_south: bool = False
    numbers_are_days: bool = False  # “May 12” is a day whose year is not written


@lru_cache(maxsize=1)
def month_numbers() -> dict[str, int]:
    """Names and short names of months in some languages → 1 to 12."""
    found = {"sept": 9}
    for language in LANGUAGES_OF_MONTHS:
        for width in ("wide", "abbreviated"):
            for number, name in get_month_names(width, locale=language).items():
                found.setdefault(name.casefold().rstrip("."), number)
    return found


@lru_cache(maxsize=10_000)
def read_span(text: str, calendar: Calendar) -> DaySpan:
    """The days that the text may mean. Raises UnreadableCell."""
    try:
        span = find_span(text, calendar)
    except ValueError:
        span = None
    if span is None and lacks_year(text):
        raise UnreadableCell(f"“{text}” lacks the year. Write it such as 3 Jun 2024.")
    if span is None:
        raise UnreadableCell(
            f"“{text}” is not a date we can read. Write a day, a month or a year, such as"
            " 14 Jun 2024, Jun 2024 or 2024."
        )
    if span.last < EARLIEST_JOB_DAY:
        raise UnreadableCell(f"“{text}” is before 1950. Check the year.")
    if span.first > calendar.today:
        raise UnreadableCell(f"“{text}” is in the future. Write the day the work was finished.")
    return DaySpan(max(span.first, EARLIEST_JOB_DAY), min(span.last, calendar.today))


@lru_cache(maxsize=10_000)
def read_spans(text: str, calendar: Calendar) -> tuple[DaySpan, ...]:
    """One date, or several in one cell: “2019, 2021 & June 2023”. Raises UnreadableCell."""
    try:
        return (read_span(text, calendar),)
    except UnreadableCell as error:
        for between in (BETWEEN_DATES, BETWEEN_YEARS):
            parts = [part for part in between.split(text) if part]
            try:
                if len(parts) > 1:
                    return tuple(read_span(part, calendar) for part in parts)
            except UnreadableCell:
                continue
        raise error


def find_span(text: str, calendar: Calendar) -> DaySpan | None:
    words = WEEKDAY.sub("", text.casefold().replace("–", "-"))
    words = ABOUT.sub(" ", words).strip(" .,")
    words = " ".join(words.split())
    for find in (edtf_span, numeric_span, named_span, season_span, part_span, spreadsheet_day):
        if (span := find(words, calendar)) is not None:
            return span
    return None


def full_year(text: str, calendar: Calendar) -> int:
    """Two figures are of this century up to next year, else of the last."""
    year = int(text)
    if len(text) > 2:
        return year
    return year + (2000 if year <= calendar.today.year % 100 + 1 else 1900)


def day_span(year: int, month: int, day: int) -> DaySpan:
    found = date(year, month, day)
    return DaySpan(found, found)


def month_span(year: int, month: int) -> DaySpan:
    return DaySpan.of_months(year, month, 1)


def years_span(first: int, last: int) -> DaySpan:
    return DaySpan(date(first, 1, 1), date(last, 12, 31))


def edtf_span(words: str, calendar: Calendar) -> DaySpan | None:
    """What ISO 8601-2:2019 writes: 2023-03, 2021-21, 202X, 2018/2019."""
    try:
        return parse_edtf(words.upper(), is_south=calendar.is_south)
    except EdtfError:
        return None


def numeric_span(words: str, calendar: Calendar) -> DaySpan | None:
    """2024/06/14, 20240614, 14/6/24, and what `numeric_month_or_year` reads."""
    words = re.sub(r"[t ]\d{1,2}:\d{2}(:\d{2})?.*$", "", words)
    if found := re.fullmatch(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})", words):
        return day_span(*map(int, found.groups()))
    if found := re.fullmatch(r"(\d{4})(\d{2})(\d{2})", words):
        return day_span(*map(int, found.groups()))
    if found := re.fullmatch(r"(\d{1,2})[-/. ](\d{1,2})[-/. ]'?(\d{4}|\d{2})", words):
        return ordered_day(found[1], found[2], found[3], calendar)
    return numeric_month_or_year(words, calendar)


def numeric_month_or_year(words: str, calendar: Calendar) -> DaySpan | None:
    """6/2024, 6/24, 2018/19, '19, 2020s."""
    if found := re.fullmatch(r"(\d{1,2})[-/.](\d{4})", words):
        return month_span(int(found[2]), int(found[1]))
    if found := re.fullmatch(r"(\d{1,2})/'?(\d{2})", words):
        return month_span(full_year(found[2], calendar), int(found[1]))
    if found := re.fullmatch(r"(\d{4}) ?(?:[-/]|to|or) ?(\d{4}|\d{2})", words):
        first = int(found[1])
        last = int(found[2]) if len(found[2]) == 4 else first - first % 100 + int(found[2])
        return years_span(first, last) if first <= last <= first + 5 else None
    if re.fullmatch(r"['’]\d{2}|(?:19|20)\d{2}(?:ish)?s?", words):
        year = full_year(re.sub(r"\D", "", words), calendar)
        return years_span(year, year + 9 * words.endswith("s"))
    return None


def ordered_day(one: str, two: str, year: str, calendar: Calendar) -> DaySpan:
    """Day and month in whichever order is possible; where both are, in the order of the list."""
    a = int(one)
    b = int(two)
    whole = full_year(year, calendar)
    if a > 12 or (b <= 12 and a == b):
        return day_span(whole, b, a)
    if b > 12:
        return day_span(whole, a, b)
    if calendar.day_first is None:
        raise UnreadableCell("two ways")
    return day_span(whole, b, a) if calendar.day_first else day_span(whole, a, b)


def short_date(text: str) -> str:
    """The date of figures alone that stands in the text; nothing if none does."""
    found = SHORT_DATE.search(text)
    return found[0] if found else ""


def order_evidence(text: str) -> str:
    """What a cell says of the order of day and month: “day”, “month”, “either” or nothing."""
    found = SHORT_DATE.search(text)
    if not found:
        return ""
    a = int(found[1])
    b = int(found[2])
    if (a > 12 and b > 12) or a == b or not a or not b:
        return ""
    if a > 12:
        return "day"
    return "month" if b > 12 else "either"


def named_span(words: str, calendar: Calendar) -> DaySpan | None:
    """14 June 2024, Jun 14 2024, 14-Jun-24, Mar 2023, March '23; of “Aug 14-15, 2024” the last day,
    without its year nothing."""
    if found := RANGE_OF_DAYS.search(words):
        if not re.search(r"\d{4}", words):
            return None
        words = f"{words[: found.start()]}{found[1]}{words[found.end() :]}"
    months = month_numbers()
    parts = re.findall(r"\d+|[^\W\d_]+", words)
    parts = [part for part in parts if part not in {"st", "nd", "rd", "th", "de"}]
    names = [months[part] for part in parts if part in months]
    numbers = [part for part in parts if part.isdigit()]
    if len(names) != 1 or len(names) + len(numbers) != len(parts):
        return None
    if len(numbers) == 1:
        is_day = parts[0] == numbers[0] and len(numbers[0]) <= 2  # “12 June” lacks its year
        return None if is_day else named_month(names[0], numbers[0], calendar)
    if len(numbers) != 2:
        return None
    day, year = numbers if len(numbers[0]) <= 2 else numbers[::-1]
    return day_span(full_year(year, calendar), names[0], int(day))


def lacks_year(text: str) -> bool:
    """Whether the text is a month with a number of one or two figures: “June 3”, “May 12”, “early
    June”, “Aug 14-15”."""
    words = WEEKDAY.sub("", ABOUT.sub(" ", text.casefold()).strip(" .,"))
    parts = re.findall(r"\d+|[^\W\d_]+", words)
    parts = [part for part in parts if part not in {*PARTS, "st", "nd", "rd", "th", "de"}]
    numbers = [part for part in parts if part.isdigit()]
    names = [part for part in parts if part in month_numbers()]
    is_apart = "'" in text or "’" in text or "/" in text
    return (
        len(names) == 1
        and len(names) + len(numbers) == len(parts)
        and all(len(number) <= 2 for number in numbers)
        and (len(numbers) < 2 or RANGE_OF_DAYS.search(words) is not None)
        and not is_apart
    )


def months_with_numbers(text: str) -> list[str]:
    """The pieces of a note that lack a year: “May 12” of “oiled May 12, stripped Jul 2019”."""
    return bare_month_pattern().findall(text.casefold())


@lru_cache(maxsize=1)
def bare_month_pattern() -> re.Pattern[str]:
    names = "|".join(sorted(map(re.escape, month_numbers()), key=len, reverse=True))
    year = r",? ?(?:\d{4}|['’]\d\d)"
    return re.compile(rf"\b(?:{names})\.? \d{{1,2}}(?:st|nd|rd|th)?(?![\w/-])(?!{year})")


def is_surely_a_day(text: str, today: date) -> bool:
    """Of such a text: whether its number is a day for certain, “June 3”, “12 June” or “Jul 28” in
    2026."""
    if text[:1].isdigit():
        return True
    numbers = re.findall(r"\d+", text)
    return any(len(each) == 1 or today.year % 100 + 1 < int(each) <= LAST_DAY for each in numbers)


def named_month(month: int, number: str, calendar: Calendar) -> DaySpan | None:
    """“Mar 2023” and “Mar 23” are months: a day without its year says nothing."""
    if len(number) not in {2, 4} or (len(number) == 2 and calendar.numbers_are_days):
        return None
    return month_span(full_year(number, calendar), month)


def season_span(words: str, calendar: Calendar) -> DaySpan | None:
    if not (found := re.fullmatch(rf"([^\W\d]+)[ ,-]*{YEAR}", words)) or found[1] not in SEASONS:
        return None
    season = DaySpan.of_season(
        full_year(found[2], calendar), SEASONS[found[1]], is_south=calendar.is_south
    )
    if season.first.year == season.last.year:
        return season
    # a season over New Year may be meant by either of its years
    return DaySpan(season.first.replace(year=season.first.year - 1), season.last)


def part_span(words: str, calendar: Calendar) -> DaySpan | None:
    """The first, middle or last third of a month, season or year: “late 2019”, “mid June 21”."""
    if not (found := re.fullmatch(r"(\w+)[ -]+(.+)", words)) or found[1] not in PARTS:
        return None
    whole = find_span(found[2], calendar)
    if whole is None or whole.precision is Precision.DAY:
        return whole
    return whole.third(PARTS[found[1]])


def spreadsheet_day(words: str, calendar: Calendar) -> DaySpan | None:
    """A day that a spreadsheet gave out as its number."""
    if not re.fullmatch(r"\d{5}", words) or int(words) not in SPREADSHEET_DAYS:
        return None
    found = SPREADSHEET_EPOCH + timedelta(days=int(words))
    return DaySpan(found, found)
