"""Contracts with consumers: where a client who accepts an offer may take that back, and in which
language an offer has to be given to them."""

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from typing import NamedTuple

from clients.messaging.law.rules import country_group, law_table, newest_rule_on
from clients.places.public_holidays import HolidayPlace, region_code


class ContractPlace(NamedTuple):
    """Where a property is, or where letters to its owner go: country by two letters, region by
    name."""

    country: str
    region: str

    @property
    def jurisdictions(self) -> Iterator[str]:
        """The group of the country, the country and its region by ISO 3166-2, as far as known."""
        if not self.country:
            return
        yield from filter(None, [country_group(self.country), self.country])
        if self.region_code:
            yield self.region_code

    @property
    def region_code(self) -> str:
        """By ISO 3166-2, as “CA-NS”; empty where it is not known."""
        code = region_code(HolidayPlace(self.country, self.region))
        return f"{self.country}-{code}" if code else ""


@dataclass(frozen=True)
class WithdrawalRight:
    """What a consumer of a place may do, from a day on.

    `kind` is `withdrawal`, of a contract made on line (the button says that ordering obliges to
    pay, work before the end needs an express request, and work that is done ends it), or
    `cancellation`, of one that is made away from a shop (nothing ends it before its time).
    `function`: the page itself must offer it. `refund_days`: to pay back what was paid.
    `is_prescribed`: the law has words of its own for it, which stand on the contract.
    """

    jurisdiction: str
    valid_from: date
    act: str
    kind: str
    days: int
    refund_days: int
    function: bool
    note: str
    source: str
    checked_on: date
    certainty: str
    is_prescribed: bool = False

    @property
    def is_cancellation(self) -> bool:
        return self.kind == "cancellation"

    def last_day(self, accepted_on: date) -> date:
        """The day of the contract is not counted (Directive 2011/83/EU, recital 41; Regulation
        1182/71, Art. 3(1); Canada: ten days after the copy was received)."""
        return accepted_on + timedelta(days=self.days)

    def is_early(self, work_on: date, *, accepted_on: date) -> bool:
        """Whether work on that day needs the client's express request."""
        return not self.is_cancellation and work_on <= self.last_day(accepted_on)


@dataclass(frozen=True)
class ContractLanguage:
    """The language in which an offer has to be given to a consumer of a place first."""

    jurisdiction: str
    valid_from: date
    act: str
    language: str
    note: str
    source: str
    checked_on: date
    certainty: str


@cache
def table_withdrawals() -> tuple[WithdrawalRight, ...]:
    return tuple(WithdrawalRight(**row) for row in law_table()["withdrawal"])


@cache
def table_contract_languages() -> tuple[ContractLanguage, ...]:
    return tuple(ContractLanguage(**row) for row in law_table()["contract_language"])


def withdrawal_right(places: Collection[ContractPlace], *, on: date) -> WithdrawalRight | None:
    """The widest of these places' newest, and of two that are as wide the one of the region; None
    where no place of them has one in the table."""
    newest = (
        newest_rule_on((row for row in table_withdrawals() if row.jurisdiction == name), on)
        for name in all_jurisdictions(places)
    )
    return max(filter(None, newest), key=wideness_of, default=None)


def wideness_of(right: WithdrawalRight) -> tuple[int, bool, int, date]:
    return right.days, right.function, len(right.jurisdiction), right.valid_from


def contract_language(places: Collection[ContractPlace], *, on: date) -> ContractLanguage | None:
    """None where any language will do."""
    names = all_jurisdictions(places)
    rows = (row for row in table_contract_languages() if row.jurisdiction in names)
    return newest_rule_on(rows, on)


def all_jurisdictions(places: Collection[ContractPlace]) -> list[str]:
    return sorted({name for place in places for name in place.jurisdictions})
