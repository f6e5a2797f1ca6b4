"""A day of which only the month, season or year is known: the span it lies in, and how the Extended
Date/Time Format of ISO 8601-2:2019 writes it.

Standard library only. Seasons are the meteorological quarters; one that runs over New Year belongs
to the year in which it begins (the standard gives seasons codes but no months).
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

SPRING, SUMMER, AUTUMN, WINTER = range(21, 25)  # ISO 8601-2:2019, divisions of a year
NORTHERN_STARTS = {SPRING: 3, SUMMER: 6, AUTUMN: 9, WINTER: 12}  # first month of each
SOUTHERN_STARTS = {SPRING: 9, SUMMER: 12, AUTUMN: 3, WINTER: 6}
NORTHERN_OFFSET = 4  # code 25 is the northern spring, and so on to 28
SOUTHERN_OFFSET = 8  # code 29 is the southern spring, and so on to 32
# (first code, months a part): quarters, thirds and halves of a year
YEAR_PARTS = ((33, 3), (37, 4), (40, 6))
PARTS_END = 42
MONTHS_A_SEASON = 3
EARLIEST_JOB_DAY = date(1950, 1, 1)  # before it no job of anybody who keeps a book


class Precision(StrEnum):
    """How closely a day is known."""

    DAY = "day"
    MONTH = "month"
    SEASON = "season"
    YEAR = "year"
    SPAN = "span"


class EdtfError(ValueError):
    """A text that is not a date of the format, or none that has a first and a last day."""


def add_months(year: int, month: int, count: int) -> date:
    """The first day of the month so many months later."""
    number = year * 12 + month - 1 + count
    return date(number // 12, number % 12 + 1, 1)


def season_starts(*, is_south: bool) -> dict[int, int]:
    return SOUTHERN_STARTS if is_south else NORTHERN_STARTS


@dataclass(frozen=True, order=True)
class DaySpan:
    """The first and the last day that are possible; the same where the day is known."""

    first: date
    last: date

    def __post_init__(self) -> None:
        if self.first > self.last:
            raise ValueError(f"A span cannot begin on {self.first} and end on {self.last}.")

    @classmethod
    def of_months(cls, year: int, month: int, count: int) -> "DaySpan":
        """So many whole months from this one on."""
        return cls(date(year, month, 1), add_months(year, month, count) - timedelta(days=1))

    @classmethod
    def of_season(cls, year: int, code: int, *, is_south: bool) -> "DaySpan":
        """`code` is 21 for spring to 24 for winter; `year` is the one in which it begins."""
        return cls.of_months(year, season_starts(is_south=is_south)[code], MONTHS_A_SEASON)

    @classmethod
    def season_around(cls, day: date, *, is_south: bool) -> "DaySpan":
        """The season in which a day lies."""
        code = cls(day, day).season(is_south=is_south)
        begins = season_starts(is_south=is_south)[code]
        return cls.of_season(day.year - (day.month < begins), code, is_south=is_south)

    @classmethod
    def of_year(cls, year: int) -> "DaySpan":
        return cls(date(year, 1, 1), date(year, 12, 31))

    @property
    def days(self) -> int:
        """How many days are possible."""
        return (self.last - self.first).days + 1

    def third(self, number: int) -> "DaySpan":
        """The first (0), middle (1) or last (2) third of its days: “early”, “mid” or “late”."""
        return DaySpan(
            self.first + timedelta(days=self.days * number // 3),
            self.first + timedelta(days=self.days * (number + 1) // 3 - 1),
        )

    def whole_of_third(self, *, is_south: bool) -> "tuple[int, DaySpan] | None":
        """Which third of which year, season or month it is, if it is one."""
        year, month = self.first.year, self.first.month
        starts = season_starts(is_south=is_south)
        seasons = [
            DaySpan.of_season(year - before, code, is_south=is_south)
            for code in starts
            for before in (0, 1)
        ]
        for whole in (DaySpan.of_year(year), *seasons, DaySpan.of_months(year, month, 1)):
            for number in range(3):
                if self == whole.third(number):
                    return number, whole
        return None

    @property
    def middle(self) -> date:
        """The day in the middle, the earlier of two."""
        return self.first + (self.last - self.first) // 2

    @property
    def from_day(self) -> date | None:
        """The first possible day as it is stored: empty where the day is known."""
        return None if self.first == self.last else self.first

    @property
    def whole_months(self) -> int:
        """How many months it fills from the first day to the last; 0 if it does not."""
        after = self.last + timedelta(days=1)
        if self.first.day != 1 or after.day != 1:
            return 0
        return (after.year - self.first.year) * 12 + after.month - self.first.month

    @property
    def precision(self) -> Precision:
        months = self.whole_months
        if self.first == self.last:
            return Precision.DAY
        if months == 1:
            return Precision.MONTH
        if months == MONTHS_A_SEASON and self.first.month % MONTHS_A_SEASON == 0:
            return Precision.SEASON
        return Precision.YEAR if months == 12 and self.first.month == 1 else Precision.SPAN

    @property
    def is_whole_years(self) -> bool:
        return self.whole_months % 12 == 0 and self.whole_months > 0 and self.first.month == 1

    def season(self, *, is_south: bool) -> int:
        """The code of the season that the first month belongs to, 21 to 24."""
        starts = season_starts(is_south=is_south)
        return next(code for code in starts if (self.first.month - starts[code]) % 12 < 3)

    def until(self, day: date) -> "DaySpan":
        """What is left of it when nothing later than this day is possible."""
        return DaySpan(self.first, min(self.last, day))

    def edtf(self, *, is_south: bool = False) -> str:
        """As the format writes it: `2025-06-12`, `2023-03`, `2021-21`, `2019`; any other span is
        one day of a set, `[2018..2020]`."""
        year = f"{self.first.year:04d}"
        match self.precision:
            case Precision.DAY:
                return self.first.isoformat()
            case Precision.MONTH:
                return f"{year}-{self.first.month:02d}"
            case Precision.SEASON:
                return f"{year}-{self.season(is_south=is_south)}"
            case Precision.YEAR:
                return year
        size = 4 if self.is_whole_years else 7 if self.whole_months else 10
        return f"[{self.first.isoformat()[:size]}..{self.last.isoformat()[:size]}]"


def parse_edtf(text: str, *, is_south: bool = False) -> DaySpan:
    """The span of a date of levels 0 and 1, with the year parts, intervals and ranges of level 2.

    What has no first or no last day (open ends, `1985~`) is refused: the caller decides what it
    means.
    """
    text = text.strip()
    inner = text[1:-1] if re.fullmatch(r"\[[^,\[\]]*\]", text) else text
    ends = re.split(r"/|\.\.", inner)
    if len(ends) > 2 or not all(ends):
        raise EdtfError(f"“{text}” is open at one end. Write both ends, such as 2018/2019.")
    try:
        spans = [_single_date(end, is_south=is_south) for end in ends]
        return DaySpan(spans[0].first, spans[-1].last)
    except EdtfError:
        raise
    except ValueError as error:
        raise EdtfError(f"“{text}” is not a possible date.") from error


def _single_date(text: str, *, is_south: bool) -> DaySpan:
    for pattern, read in READERS:
        if found := re.fullmatch(pattern, text):
            return read(*found.groups())
    if found := re.fullmatch(r"(\d{4})-(\d\d)", text):
        return _month_or_part(int(found[1]), int(found[2]), is_south=is_south)
    raise EdtfError(f"“{text}” is not a date. Write it like 2025-06-12, 2023-03, 2021-21 or 2019.")


def _month_or_part(year: int, number: int, *, is_south: bool) -> DaySpan:
    if number <= 12:
        return DaySpan.of_months(year, number, 1)
    if SPRING <= number <= WINTER:
        return DaySpan.of_season(year, number, is_south=is_south)
    for offset, southern in ((NORTHERN_OFFSET, False), (SOUTHERN_OFFSET, True)):
        if SPRING <= number - offset <= WINTER:
            return DaySpan.of_season(year, number - offset, is_south=southern)
    for first, months in reversed(YEAR_PARTS):
        if first <= number < PARTS_END:
            return DaySpan.of_months(year, 1 + (number - first) * months, months)
    raise EdtfError(f"{number} is neither a month nor a part of a year.")


def _unspecified_years(digits: str, gaps: str) -> DaySpan:
    size = 10 ** len(gaps)
    start = int(digits) * size
    return DaySpan(date(start, 1, 1), date(start + size - 1, 12, 31))


READERS: tuple[tuple[str, Callable[..., DaySpan]], ...] = (
    (r"(\d{4})-(\d\d)-(\d\d)", lambda y, m, d: DaySpan(*[date(int(y), int(m), int(d))] * 2)),
    (r"(\d{4})-(\d\d)-XX", lambda y, m: DaySpan.of_months(int(y), int(m), 1)),
    (r"(\d{4})(?:-XX){0,2}", lambda y: DaySpan.of_year(int(y))),
    (r"(?=.{4}$)(\d{2,3})(X{1,2})", _unspecified_years),
)
