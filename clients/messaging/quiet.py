"""When a telephone may ring or buzz: the owner's quiet times and the hours of the law, at the place
of the property.

E-mail and letters disturb nobody and may go at any hour: who calls asks only about a channel that
disturbs (`ChannelTraits`). In doubt about the clock (a time that a change of clocks skips or
repeats) it is quiet.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import UTC, date, datetime, time, timedelta
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from clients.messaging.models import SendingRules
from clients.places.public_holidays import HolidayPlace, public_holidays

MAX_SEARCH_DAYS = 31  # longer than any run of holidays; beyond it no time at all is left
MAX_SEARCH_ROUNDS = 14  # places in several zones: until an hour suits all
SATURDAY = 5
SUNDAY = 6

WallClockSpan = tuple[
    datetime, datetime
]  # on the clock of the place, without a zone; the end does not belong to it
LawWindow = Mapping[
    str, Any
]  # hours of the law: from and to; or mon_fri, sat and sun_and_public_holidays


class NeverOpenError(ValueError):
    """Quiet times and the law leave no hour of the week for this channel;
    change the sending rules."""


class Locality(NamedTuple):
    """Where a telephone rings: by which clock, and whose holidays."""

    zone: ZoneInfo
    country: str
    region: str
    town: str = ""

    @property
    def holiday_place(self) -> HolidayPlace:
        return HolidayPlace(self.country, self.region, self.town)


def first_moment_for_all(
    moment: datetime,
    places: Iterable[Locality],
    *,
    rules: SendingRules,
    law_hours_at: Callable[[HolidayPlace], LawWindow | None],
) -> datetime | None:
    """The moment itself if a telephone may ring at all the places then, each with its own hours of
    the law, else the first one after it that suits them all; None if there is none. Raises
    `NeverOpenError` for a place that never opens."""
    places = list(places)
    for _ in range(MAX_SEARCH_ROUNDS):
        before = moment
        for place in places:
            window = law_hours_at(place.holiday_place)
            moment = first_allowed_moment(moment, place=place, rules=rules, law_window=window)
        if moment == before:
            return moment
    return None


def first_allowed_moment(
    moment: datetime,
    *,
    place: Locality,
    rules: SendingRules,
    law_window: LawWindow | None = None,
) -> datetime:
    """The moment itself if a telephone may ring there then, else the first one after it.
    Raises `NeverOpenError`."""
    at = moment.astimezone(UTC)
    today = moment.astimezone(place.zone).date()
    for day in (today + timedelta(days=n) for n in range(-1, MAX_SEARCH_DAYS)):
        is_holiday = day in public_holidays(place.holiday_place, day.year)
        for opens, closes in open_hours(
            day, is_holiday=is_holiday, rules=rules, law_window=law_window
        ):
            start = latest_instant(opens, place.zone)
            end = earliest_instant(closes, place.zone)
            if max(at, start) < end:
                return max(at, start)
    raise NeverOpenError(NeverOpenError.__doc__)


def open_hours(
    day: date, *, is_holiday: bool, rules: SendingRules, law_window: LawWindow | None
) -> Iterator[WallClockSpan]:
    """The hours of that day that both the owner and the law allow, in order."""
    if (day.weekday() == SUNDAY and not rules.on_sundays) or (is_holiday and not rules.on_holidays):
        return
    lawful = law_hours(day, is_holiday, law_window)
    for opens, closes in owner_hours(day, rules):
        for begins, ends in lawful:
            if max(opens, begins) < min(closes, ends):
                yield max(opens, begins), min(closes, ends)


def owner_hours(day: date, rules: SendingRules) -> Sequence[WallClockSpan]:
    """What the owner's quiet times leave of a day; equal times mean that there are none."""
    quiet_from = wall_time(day, rules.quiet_from)
    quiet_until = wall_time(day, rules.quiet_until)
    if quiet_from == quiet_until:
        return [whole_day(day)]
    if quiet_until < quiet_from:
        return [(quiet_until, quiet_from)]
    return [(whole_day(day)[0], quiet_from), (quiet_until, whole_day(day)[1])]


def law_hours(day: date, is_holiday: bool, window: LawWindow | None) -> Sequence[WallClockSpan]:
    """What the law leaves of a day; no window means no rule."""
    if not window:
        return [whole_day(day)]
    pair = (
        [window["from"], window["to"]]
        if "from" in window
        else window.get(day_kind(day, is_holiday))
    )
    if not pair or isinstance(pair, str):  # the table writes "none"
        return []
    opens, closes = (wall_time(day, as_time(each)) for each in pair)
    return [(opens, closes if closes > opens else whole_day(day)[1])]


def day_kind(day: date, is_holiday: bool) -> str:
    if is_holiday or day.weekday() == SUNDAY:
        return "sun_and_public_holidays"
    return "sat" if day.weekday() == SATURDAY else "mon_fri"


def as_time(value: time | str) -> time:
    return value if isinstance(value, time) else time.fromisoformat(value)


def wall_time(day: date, at: time) -> datetime:
    return datetime.combine(day, at)


def whole_day(day: date) -> WallClockSpan:
    return wall_time(day, time.min), wall_time(day + timedelta(days=1), time.min)


def latest_instant(wall: datetime, zone: ZoneInfo) -> datetime:
    """The last moment at which the clock can have shown this (PEP 495 tells the two readings
    apart)."""
    return max(wall.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1))


def earliest_instant(wall: datetime, zone: ZoneInfo) -> datetime:
    return min(wall.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1))
