"""Where a client who accepts an offer on line may withdraw from the contract again."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from operator import attrgetter

from clients.messaging.law.rules import country_group, law_table, newest_rule_on


@dataclass(frozen=True)
class WithdrawalRight:
    """What a consumer of a country may do, from a day on. `function`: the page itself must offer
    it."""

    jurisdiction: str
    valid_from: date
    act: str
    days: int
    function: bool
    note: str
    source: str
    checked_on: date
    certainty: str

    def last_day(self, accepted_on: date) -> date:
        """The day of the contract is not counted (Directive 2011/83/EU, recital 41; Regulation
        1182/71, Art. 3(1))."""
        return accepted_on + timedelta(days=self.days)

    def is_early(self, work_on: date, *, accepted_on: date) -> bool:
        """Whether work on that day needs the client's express request."""
        return work_on <= self.last_day(accepted_on)


@cache
def table_withdrawals() -> tuple[WithdrawalRight, ...]:
    return tuple(WithdrawalRight(**row) for row in law_table()["withdrawal"])


def withdrawal_right(countries: Collection[str], *, on: date) -> WithdrawalRight | None:
    """The widest of these countries' newest, None where no country of them has one in the table."""
    places = {place for each in countries if each for place in (each, country_group(each))}
    newest = (
        newest_rule_on((row for row in table_withdrawals() if row.jurisdiction == place), on)
        for place in sorted(places)
    )
    wideness = attrgetter("days", "function", "valid_from")
    return max(filter(None, newest), key=wideness, default=None)
