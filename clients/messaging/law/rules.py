"""The rules of law on messages: one rule, the stricter of two, the table that comes with the
program (table.toml), and which rule applies.

That is the newest in force of the recipient's country and of ours, the stricter of both.
"""

import calendar
import tomllib
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from functools import cache, reduce
from pathlib import Path
from typing import Any, Protocol, TypeVar

from clients.messaging.law.hours import LegalHours, RegionalHours, narrower_hours
from clients.messaging.models import LawRule
from clients.models import Channel, Client, traits_of
from clients.places.public_holidays import HolidayPlace, region_code

NONE_NEEDED = "none_needed"
REGISTER = "register"  # a look into the register of numbers, as old as it is dated
AGREED_BASES = {"express", "written"}


@dataclass(frozen=True)
class LegalRule:
    """What one medium needs in one jurisdiction, or in two at once.
    `months` None means for as long as it lasts; `implied_if_told`: an implied basis wants that the
    client was told, when the address was taken, that they may refuse. `regional_hours`: those of
    the regions that have their own, and under the country those of its other regions;
    `window_local` holds where the region is not known."""

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
    regional_hours: Mapping[str, LegalHours] = field(default_factory=dict)
    act_within: int = 0
    act_within_is_working_days: bool = False
    works_for: int | None = None
    reply_required: bool = False
    certainty: str = "good"
    note: str = ""
    is_own: bool = False
    register_days: int | None = None
    asking_must_include: tuple[str, ...] = ()
    implied_if_told: bool = False

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
        if basis == REGISTER:  # no longer than its day where nothing says how long
            days = timedelta(days=self.register_days or 0)
            return given_on + days if given_on else date.min
        months = self.months.get(basis)
        if months is None:
            return None
        since = given_on if basis == "inquiry" else last_job_on or given_on
        return add_months(since, months) if since else date.min

    def hours_at(self, place: HolidayPlace) -> LegalHours | None:
        """When a telephone may ring there; None if the rule names no hours."""
        code = region_code(place) if self.regional_hours else None
        return self.regional_window(f"{place.country}-{code}") if code else self.window_local

    def regional_window(self, jurisdiction: str) -> LegalHours | None:
        country, _, _ = jurisdiction.partition("-")
        found = self.regional_hours.get(jurisdiction) or self.regional_hours.get(country)
        return found or self.window_local

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
            regional_hours={
                place: hours
                for place in {**self.regional_hours, **other.regional_hours}
                if (
                    hours := narrower_hours(
                        self.regional_window(place), other.regional_window(place)
                    )
                )
            },
            act_within=min(self.act_within, other.act_within),
            works_for=longer_period(self.works_for, other.works_for),
            reply_required=self.reply_required or other.reply_required,
            certainty=max(self.certainty, other.certainty, key=CERTAINTIES.index),
            note=" ".join(filter(None, dict.fromkeys([self.note, other.note]))),
            is_own=self.is_own or other.is_own,
            register_days=min(
                filter(None, [self.register_days, other.register_days]), default=None
            ),
            asking_must_include=tuple(
                dict.fromkeys([*self.asking_must_include, *other.asking_must_include])
            ),
            implied_if_told=self.implied_if_told or other.implied_if_told,
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


def add_months(day: date, months: int) -> date:
    """The same day of a later month, or its last."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return date(year, month + 1, min(day.day, calendar.monthrange(year, month + 1)[1]))


DEFAULT_JURISDICTION = "DEFAULT"
IMPLIED_BASES = ("customer", "inquiry")


@cache
def law_table() -> dict[str, Any]:
    return tomllib.loads((Path(__file__).parent / "table.toml").read_text(encoding="utf-8"))


def law_table_as_of() -> date:
    found: date = law_table()["table_of"]
    return found


@cache
def country_group(country: str) -> str:
    """The group of countries with rules in common that this one belongs to, empty if none."""
    return next(
        (group for group, members in law_table()["groups"].items() if country in members), ""
    )


@cache
def table_rules() -> tuple[LegalRule, ...]:
    return tuple(with_regional_hours(make_rule(row)) for row in law_table()["rule"])


def with_regional_hours(rule: LegalRule) -> LegalRule:
    hours = {each.jurisdiction: each.window for each in table_hours()}
    own = {name: hours[name] for name in hours if name.partition("-")[0] == rule.jurisdiction}
    return replace(rule, regional_hours=own) if rule.window_local else rule


@cache
def table_hours() -> tuple[RegionalHours, ...]:
    return tuple(RegionalHours(**row) for row in law_table()["hours"])


def rules_for_medium(medium: str) -> list[LegalRule]:
    """Those of a channel, or of the one that it counts as."""
    counts_as = traits_of(medium).law or medium
    found = [rule for rule in table_rules() if rule.medium == counts_as]
    return [replace(rule, medium=medium) for rule in found] if counts_as != medium else found


def make_rule(row: Mapping[str, Any], *, is_own: bool = False) -> LegalRule:
    """A rule from a row of the table or from one of the owner's; implied bases always end."""
    values = dict(row)
    limit = int(law_table()["house_limit_months"])
    bases = frozenset(values.pop("bases"))
    months = {basis: limit for basis in IMPLIED_BASES if basis in bases} | dict(
        values.pop("months", {})
    )
    window = values.pop("window", None)
    contents = tuple(values.pop("must_include"))
    asking = tuple(values.pop("asking_must_include", ()))
    return LegalRule(
        bases=bases,
        months=months,
        window_local=window,
        must_include=contents,
        asking_must_include=asking,
        is_own=is_own,
        **values,
    )


@dataclass(frozen=True)
class LegalRules:
    """All rules, read once for as many questions as there are."""

    own_rules: Mapping[tuple[str, str], list[LegalRule]]
    decided: dict[tuple[str, str, str, date], LegalRule] = field(
        default_factory=dict, repr=False, compare=False
    )

    @classmethod
    def load(cls) -> "LegalRules":
        """One query: the owner's own rules."""
        own: dict[tuple[str, str], list[LegalRule]] = defaultdict(list)
        for row in LawRule.objects.all():
            own[row.jurisdiction, row.medium].append(rule_from_row(row))
        return cls(own)

    def rule_for(
        self, *, sender_country: str, recipient_country: str, channel: str, on: date
    ) -> LegalRule:
        """As the function `rule_for`."""
        key = (sender_country, recipient_country, channel, on)
        if key not in self.decided:
            theirs, ours = (
                self.rule_of(country, channel, on)
                for country in (recipient_country, sender_country)
            )
            self.decided[key] = theirs.stricter(ours)
        return self.decided[key]

    def rule_for_all(
        self, countries: Iterable[str], *, sender_country: str, channel: str, on: date
    ) -> LegalRule:
        """For a client with properties in several countries: each of their rules kept.
        None known is the strictest."""
        found = (
            self.rule_for(
                sender_country=sender_country, recipient_country=country, channel=channel, on=on
            )
            for country in sorted(set(countries)) or [""]
        )
        return reduce(LegalRule.stricter, found)

    def rule_of(self, country: str, channel: str, on: date) -> LegalRule:
        """Of one country, its group, or the strictest where nothing is known;
        the owner's before the table's."""
        medium = str(Channel(channel))
        rules = rules_for_medium(medium)
        for place in filter(
            None,
            [country.upper(), country_group(country.upper()), DEFAULT_JURISDICTION],
        ):
            ours = newest_rule_on(self.own_rules.get((place, medium), []), on)
            theirs = newest_rule_on([rule for rule in rules if rule.jurisdiction == place], on)
            if found := ours or theirs:
                return found
        return next(rule for rule in rules if rule.jurisdiction == DEFAULT_JURISDICTION)


class Dated(Protocol):
    """A line of the table."""

    @property
    def valid_from(self) -> date: ...


DatedLine = TypeVar("DatedLine", bound=Dated)


def newest_rule_on(rules: Iterable[DatedLine], on: date) -> DatedLine | None:
    return max(
        (rule for rule in rules if rule.valid_from <= on),
        key=lambda rule: rule.valid_from,
        default=None,
    )


def rule_from_row(row: LawRule) -> LegalRule:
    """The owner's rule; what it leaves open is as in the strictest."""
    values = {
        "jurisdiction": row.jurisdiction,
        "medium": row.medium,
        "valid_from": row.valid_from,
        "act": "Our own rule",
        "source": row.source,
        "checked_on": row.checked_on,
        **row.rules,
    }
    return make_rule(values, is_own=True)


def rule_for(*, sender_country: str, recipient_country: str, channel: str, on: date) -> LegalRule:
    """The stricter of the two countries' rules in force on that day;
    an unknown country has the strictest.

    For many questions `Law.load()` once and use its `rule_for`.
    """
    return LegalRules.load().rule_for(
        sender_country=sender_country, recipient_country=recipient_country, channel=channel, on=on
    )


def countries_of(client: Client) -> set[str]:
    """Where a client's properties are, and where letters to them go."""
    places = {place.country for place in client.properties.all()}
    return {country for country in [*places, client.postal_country] if country}
