"""One rule, and the stricter of two."""

import calendar
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

NONE_NEEDED = "none_needed"
AGREED_BASES = {"express", "written"}
DAY_KINDS = ("mon_fri", "sat", "sun_and_public_holidays")
CLOSED_ALL_DAY = "none"

LegalHours = Mapping[
    str, Any
]  # from and to; or mon_fri, sat, sun_and_public_holidays: [from, to] or "none"


@dataclass(frozen=True)
class LegalRule:
    """What one medium needs in one jurisdiction, or in two at once.
    `months` None means for as long as it lasts."""

    jurisdiction: str
    medium: str
    valid_from: date
    act: str
    bases: frozenset[str]
    must_include: tuple[str, ...]
    source: str
    checked_on: date
    months: Mapping[str, int] = field(default_factory=dict)
    window_local: LegalHours | None = None
    act_within: int = 0
    act_within_is_working_days: bool = False
    works_for: int | None = None
    reply_required: bool = False
    certainty: str = "good"
    note: str = ""
    is_own: bool = False

    @property
    def code(self) -> str:
        """As frozen with a message: “CA email of 2014-07-01”."""
        own = ", our own" if self.is_own else ""
        return f"{self.jurisdiction} {self.medium} of {self.valid_from}{own}"[:60]

    @property
    def needs_consent(self) -> bool:
        return NONE_NEEDED not in self.bases

    def allows(self, basis: str) -> bool:
        """Whether this basis is one; an agreement in writing is more than one that was only
        spoken."""
        return basis in self.bases or (basis == "written" and "express" in self.bases)

    def consent_expires(
        self, basis: str, last_job_on: date | None, given_on: date | None
    ) -> date | None:
        """The last day on which the basis holds, None if it has no end.
        The past if it never held."""
        months = self.months.get(basis)
        if months is None:
            return None
        since = given_on if basis == "inquiry" else last_job_on or given_on
        return add_months(since, months) if since else date.min

    def stricter(self, other: "LegalRule") -> "LegalRule":
        """Both rules kept at once."""
        if other == self:
            return self
        shared = {**self.months, **other.months}
        return LegalRule(
            jurisdiction="+".join(
                dict.fromkeys([*self.jurisdiction.split("+"), *other.jurisdiction.split("+")])
            ),
            medium=self.medium,
            valid_from=max(self.valid_from, other.valid_from),
            act=f"{self.act}; {other.act}",
            bases=shared_bases(self, other),
            must_include=tuple(dict.fromkeys([*self.must_include, *other.must_include])),
            source=f"{self.source}; {other.source}",
            checked_on=min(self.checked_on, other.checked_on),
            months={
                basis: min(each.months.get(basis, months) for each in (self, other))
                for basis, months in shared.items()
            },
            window_local=narrower_hours(self.window_local, other.window_local),
            act_within=min(self.act_within, other.act_within),
            works_for=longer_period(self.works_for, other.works_for),
            reply_required=self.reply_required or other.reply_required,
            certainty=max(self.certainty, other.certainty, key=CERTAINTIES.index),
            note=" ".join(filter(None, dict.fromkeys([self.note, other.note]))),
            is_own=self.is_own or other.is_own,
        )


CERTAINTIES = ["good", "secondary", "memory"]


def shared_bases(one: LegalRule, other: LegalRule) -> frozenset[str]:
    """What either allows, where the other allows it too;
    where no consent is needed any basis will do."""
    every = one.bases | other.bases | {"written"}
    return frozenset(
        basis for basis in every if permits_basis(one, basis) and permits_basis(other, basis)
    )


def permits_basis(rule: LegalRule, basis: str) -> bool:
    return rule.allows(basis) or (not rule.needs_consent and basis != NONE_NEEDED)


def longer_period(one: int | None, other: int | None) -> int | None:
    return max(filter(None, [one, other]), default=None)


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


def add_months(day: date, months: int) -> date:
    """The same day of a later month, or its last."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return date(year, month + 1, min(day.day, calendar.monthrange(year, month + 1)[1]))
