"""Which rule applies: the newest in force of the recipient's country and of ours, the stricter of
both."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from functools import reduce

from clients.messaging.law import table
from clients.messaging.law.rule import LegalRule
from clients.messaging.models import LawRule
from clients.models import Client
from clients.models.channel import Channel


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
        rules = table.rules_for_medium(medium)
        for place in filter(
            None,
            [country.upper(), table.country_group(country.upper()), table.DEFAULT_JURISDICTION],
        ):
            ours = newest_rule_on(self.own_rules.get((place, medium), []), on)
            theirs = newest_rule_on([rule for rule in rules if rule.jurisdiction == place], on)
            if found := ours or theirs:
                return found
        return next(rule for rule in rules if rule.jurisdiction == table.DEFAULT_JURISDICTION)


def newest_rule_on(rules: Iterable[LegalRule], on: date) -> LegalRule | None:
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
    return table.make_rule(values, is_own=True)


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
