"""Days as people write them. A month, a season or a year stays what it is: a span of days."""

import re
from calendar import monthrange
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache

from babel.dates import get_month_names

from jobs.importing.cells.problems import UnreadableCell

EARLIEST_DAY = date(1950, 1, 1)
SPREADSHEET_EPOCH = date(1899, 12, 30)  # day 0 of spreadsheets (ECMA-376, 18.17.4.1; from memory)
SPREADSHEET_DAYS = range(18_264, 60_000)  # 1950 to 2064
LANGUAGES_OF_MONTHS = ("en", "fr", "de", "es")

# The months of the northern seasons; winter begins in December of the year before.
SEASONS = {"spring": 3, "summer": 6, "autumn": 9, "fall": 9, "winter": 12}
SEASONS |= {"printemps": 3, "été": 6, "automne": 9, "hiver": 12}
# ISO 8601-2:2019, 4.8: 21 to 24 are spring, summer, autumn, winter wherever one is.
EDTF_SEASONS = {21: 3, 22: 6, 23: 9, 24: 12}
PARTS = {"early": 0, "beginning": 0, "start": 0, "mid": 1, "middle": 1, "late": 2, "end": 2}
ABOUT = re.compile(r"\b(?:c|ca|circa|about|approx|around|abt|maybe|sometime|in|of|the)\b\.?|[~?≈]")
YEAR = r"(?:'|’)?(\d{4}|\d{2})(?:ish)?"


@dataclass(frozen=True, slots=True)
class Span:
    """From the first day that is possible to the last; both the same where the day is known."""

    first: date
    last: date

    @property
    def is_a_day(self) -> bool:
        return self.first == self.last


@dataclass(frozen=True, slots=True)
class Calendar:
    """What the list's days go by: the order of day and month, the half of the earth, today."""

    today: date
    day_first: bool | None = None
    is_southern: bool = False


@lru_cache(maxsize=1)
def month_numbers() -> dict[str, int]:
    """Names and short names of months in some languages → 1 to 12."""
    found = {"sept": 9}
    for language in LANGUAGES_OF_MONTHS:
        for width in ("wide", "abbreviated"):
            for number, name in get_month_names(width, locale=language).items():
                found.setdefault(name.casefold().rstrip("."), number)
    return found


@lru_cache(maxsize=50_000)
def read_span(text: str, calendar: Calendar) -> Span:
    """The days that the text may mean. Raises UnreadableCell."""
    try:
        span = find_span(text, calendar)
    except ValueError:
        span = None
    if span is None:
        raise UnreadableCell(
            f"“{text}” is not a date we can read. Write a day, a month or a year, such as"
            " 14 Jun 2024, Jun 2024 or 2024."
        )
    if span.last < EARLIEST_DAY:
        raise UnreadableCell(f"“{text}” is before 1950. Check the year.")
    if span.first > calendar.today:
        raise UnreadableCell(f"“{text}” is in the future. Write the day the work was finished.")
    return Span(max(span.first, EARLIEST_DAY), min(span.last, calendar.today))


def find_span(text: str, calendar: Calendar) -> Span | None:
    words = ABOUT.sub(" ", text.casefold().replace("–", "-")).strip(" .,")
    words = " ".join(words.split())
    for find in (numeric_span, named_span, season_span, part_span, spreadsheet_day):
        if (span := find(words, calendar)) is not None:
            return span
    return None


def full_year(text: str, calendar: Calendar) -> int:
    """Two figures are of this century up to next year, else of the last."""
    year = int(text)
    if len(text) > 2:
        return year
    return year + (2000 if year <= calendar.today.year % 100 + 1 else 1900)


def day_span(year: int, month: int, day: int) -> Span:
    found = date(year, month, day)
    return Span(found, found)


def month_span(year: int, month: int) -> Span:
    return Span(date(year, month, 1), date(year, month, monthrange(year, month)[1]))


def years_span(first: int, last: int) -> Span:
    return Span(date(first, 1, 1), date(last, 12, 31))


def numeric_span(words: str, calendar: Calendar) -> Span | None:
    """2024-06-14, 14/6/24, 6/2024, 2024, 2018/19, and the year alone of ISO 8601-2 (202X)."""
    words = re.sub(r"[t ]\d{1,2}:\d{2}(:\d{2})?.*$", "", words)
    if found := re.fullmatch(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})", words):
        return day_span(*map(int, found.groups()))
    if found := re.fullmatch(r"(\d{4})(\d{2})(\d{2})", words):
        return day_span(*map(int, found.groups()))
    if found := re.fullmatch(r"(\d{1,2})[-/. ](\d{1,2})[-/. ]'?(\d{4}|\d{2})", words):
        return ordered_day(*found.groups(), calendar)
    return numeric_month_or_year(words, calendar)


def numeric_month_or_year(words: str, calendar: Calendar) -> Span | None:
    if found := re.fullmatch(r"(\d{4})-(\d{2})", words):
        return year_and_part(int(found[1]), found[2])
    if found := re.fullmatch(r"(\d{1,2})[-/.](\d{4})", words):
        return month_span(int(found[2]), int(found[1]))
    if found := re.fullmatch(r"(\d{1,2})/'?(\d{2})", words):
        return month_span(full_year(found[2], calendar), int(found[1]))
    if found := re.fullmatch(r"(\d{4}) ?(?:[-/]|to|or) ?(\d{4}|\d{2})", words):
        first = int(found[1])
        last = int(found[2]) if len(found[2]) == 4 else first - first % 100 + int(found[2])
        return years_span(first, last) if first <= last <= first + 5 else None
    if found := re.fullmatch(r"(\d{3})x", words):
        return years_span(int(found[1]) * 10, int(found[1]) * 10 + 9)
    if found := re.fullmatch(r"'\d{2}|’\d{2}|(?:19|20)\d{2}(?:ish)?s?", words):
        year = full_year(re.sub(r"\D", "", words), calendar)
        return years_span(year, year + 9 * words.endswith("s"))
    return None


def year_and_part(year: int, part: str) -> Span | None:
    """ISO 8601: a month; ISO 8601-2: a season; else a range such as 2018-19."""
    number = int(part)
    if 1 <= number <= 12:
        return month_span(year, number)
    if number in EDTF_SEASONS:
        return season_of(year, EDTF_SEASONS[number])
    last = year - year % 100 + number
    return years_span(year, last) if year < last <= year + 5 else None


def ordered_day(one: str, two: str, year: str, calendar: Calendar) -> Span:
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


def order_evidence(text: str) -> str:
    """What a cell says of the order of day and month: “day”, “month”, “either” or nothing."""
    found = re.match(r"\s*(\d{1,2})[-/. ](\d{1,2})[-/. ]'?(?:\d{4}|\d{2})\b", text)
    if not found:
        return ""
    a = int(found[1])
    b = int(found[2])
    if a > 12 and b > 12 or a == b or not a or not b:
        return ""
    if a > 12:
        return "day"
    return "month" if b > 12 else "either"


def named_span(words: str, calendar: Calendar) -> Span | None:
    """14 June 2024, Jun 14 2024, 14-Jun-24, Mar 2023, March '23."""
    months = month_numbers()
    parts = re.findall(r"\d+|[^\W\d_]+", words)
    parts = [part for part in parts if part not in {"st", "nd", "rd", "th", "de"}]
    names = [months[part] for part in parts if part in months]
    numbers = [part for part in parts if part.isdigit()]
    if len(names) != 1 or len(names) + len(numbers) != len(parts):
        return None
    if len(numbers) == 1:
        return named_month(names[0], numbers[0], calendar)
    if len(numbers) != 2:
        return None
    day, year = numbers if len(numbers[0]) <= 2 else numbers[::-1]
    return day_span(full_year(year, calendar), names[0], int(day))


def named_month(month: int, number: str, calendar: Calendar) -> Span | None:
    """“Mar 2023” and “Mar 23” are months: a day without its year says nothing."""
    if len(number) not in {2, 4}:
        return None
    return month_span(full_year(number, calendar), month)


def season_span(words: str, calendar: Calendar) -> Span | None:
    if not (found := re.fullmatch(rf"([^\W\d]+)[ ,-]*{YEAR}", words)) or found[1] not in SEASONS:
        return None
    begins = SEASONS[found[1]]
    if calendar.is_southern:
        begins = (begins + 5) % 12 + 1
    return season_of(full_year(found[2], calendar), begins)


def season_of(year: int, begins: int) -> Span:
    """Three months; a winter that begins in December may be that of either side of the new year."""
    if begins == 12:
        return Span(date(year - 1, 12, 1), date(year, 12, 31)) if year else years_span(year, year)
    return Span(date(year, begins, 1), month_span(year, begins + 2).last)


def part_span(words: str, calendar: Calendar) -> Span | None:
    """The first, middle or last third of a month, a season or a year: “late 2019”, “mid June 21”."""
    if not (found := re.fullmatch(r"(\w+)[ -]+(.+)", words)) or found[1] not in PARTS:
        return None
    whole = find_span(found[2], calendar)
    if whole is None or whole.is_a_day:
        return whole
    days = (whole.last - whole.first).days + 1
    third = PARTS[found[1]]
    return Span(
        whole.first + timedelta(days=days * third // 3),
        whole.first + timedelta(days=days * (third + 1) // 3 - 1),
    )


def spreadsheet_day(words: str, calendar: Calendar) -> Span | None:
    """A day that a spreadsheet gave out as its number."""
    if not re.fullmatch(r"\d{5}", words) or int(words) not in SPREADSHEET_DAYS:
        return None
    found = SPREADSHEET_EPOCH + timedelta(days=int(words))
    return Span(found, found)
