"""Hours in which the law lets a telephone ring."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

DAY_KINDS = ("mon_fri", "sat", "sun_and_public_holidays")
CLOSED_ALL_DAY = "none"

# from and to; or mon_fri, sat, sun_and_public_holidays: [from, to] or "none"
LegalHours = Mapping[str, Any]


@dataclass(frozen=True)
class RegionalHours:
    """Hours of one region of a country (“US-RI”), or of all its regions without a line of their
    own (“US”), for each medium whose rule names hours."""

    jurisdiction: str
    act: str
    window: LegalHours
    source: str
    checked_on: date
    certainty: str


def narrower_hours(one: LegalHours | None, other: LegalHours | None) -> LegalHours | None:
    """The hours that both leave, for each kind of day."""
    if not one or not other:
        return one or other
    return {
        day: common_hours(allowed_hours(one, day), allowed_hours(other, day)) for day in DAY_KINDS
    }


def allowed_hours(window: LegalHours, day: str) -> Sequence[str] | None:
    found = [window["from"], window["to"]] if "from" in window else window.get(day, CLOSED_ALL_DAY)
    return None if found == CLOSED_ALL_DAY else found


def common_hours(one: Sequence[str] | None, other: Sequence[str] | None) -> Sequence[str] | str:
    if one is None or other is None:
        return CLOSED_ALL_DAY
    opens = max(one[0], other[0])
    closes = min(one[1], other[1])
    return [opens, closes] if opens < closes else CLOSED_ALL_DAY
