"""Which rule applies: the newest in force of the recipient's country and of ours, the stricter of both."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from functools import reduce

from clients.messaging.law import table
from clients.messaging.law.rule import Rule
from clients.messaging.models import LawRule
from clients.models import Client
from clients.models.channel import Channel


@dataclass(frozen=True)
class Law:
    """All rules, read once for as many questions as there are."""

    own: Mapping[tuple[str, str], list[Rule]]
    asked: dict[tuple[str, str, str, date], Rule] = field(default_factory=dict, repr=False, compare=False)

    @classmethod
    def load(cls) -> "Law":
        """One query: the owner's own rules."""
        own: dict[tuple[str, str], list[Rule]] = defaultdict(list)
        for row in LawRule.objects.all():
            own[row.jurisdiction, row.medium].append(from_row(row))
        return cls(own)

    def rule_for(self, *, sender_country: str, recipient_country: str, channel: str, on: date) -> Rule:
        """As the function `rule_for`."""
        key = (sender_country, recipient_country, channel, on)
        if key not in self.asked:
            theirs, ours = (self.rule_of(country, channel, on) for country in (recipient_country, sender_country))
            self.asked[key] = theirs.stricter(ours)
        return self.asked[key]

    def rule_for_all(self, countries: Iterable[str], *, sender_country: str, channel: str, on: date) -> Rule:
        """For a client with properties in several countries: each of their rules kept. None known is the strictest."""
        found = (
            self.rule_for(sender_country=sender_country, recipient_country=country, channel=channel, on=on)
            for country in sorted(set(countries)) or [""]
        )
        return reduce(Rule.stricter, found)

    def rule_of(self, country: str, channel: str, on: date) -> Rule:
        """Of one country, its group, or the strictest where nothing is known; the owner's before the table's."""
        medium = str(Channel(channel))
        for place in filter(None, [country.upper(), table.group_of(country.upper()), table.DEFAULT]):
            ours = newest(self.own.get((place, medium), []), on)
            theirs = newest([rule for rule in table.rules() if (rule.jurisdiction, rule.medium) == (place, medium)], on)
            if found := ours or theirs:
                return found
        return next(rule for rule in table.rules() if (rule.jurisdiction, rule.medium) == (table.DEFAULT, medium))


def newest(rules: Iterable[Rule], on: date) -> Rule | None:
    return max((rule for rule in rules if rule.valid_from <= on), key=lambda rule: rule.valid_from, default=None)


def from_row(row: LawRule) -> Rule:
    """The owner's rule; what it leaves open is as in the strictest."""
    values = {
        "jurisdiction": row.jurisdiction, "medium": row.medium, "valid_from": row.valid_from, "act": "Our own rule",
        "source": row.source, "checked_on": row.checked_on, **row.rules,
    }  # fmt: skip
    return table.make(values, is_own=True)


def rule_for(*, sender_country: str, recipient_country: str, channel: str, on: date) -> Rule:
    """The stricter of the two countries' rules in force on that day; an unknown country has the strictest.

    For many questions `Law.load()` once and use its `rule_for`.
    """
    return Law.load().rule_for(
        sender_country=sender_country, recipient_country=recipient_country, channel=channel, on=on
    )


def countries_of(client: Client) -> set[str]:
    """Where a client's properties are, and where letters to them go."""
    places = {place.country for place in client.properties.all()}
    return {country for country in [*places, client.postal_country] if country}
