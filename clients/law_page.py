"""What the law page shows: the rules of the places in the book, the whole table, and what messages went under."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Count, Max

from clients import countries
from clients.law import Law, table
from clients.law.words import Shown
from clients.models import Business, Client, Message, Property
from clients.models.channel import Channel

MOST_APPLIED = 50
GROUPS = {"EU": "European Union", table.DEFAULT: "Everywhere else"}


@dataclass(frozen=True)
class PlaceRules:
    """A country with clients, and the rule of each medium there, ours kept too."""

    code: str
    name: str
    clients: int
    rules: list[Shown]


@dataclass(frozen=True)
class Applied:
    """How many messages went under a rule."""

    law: str
    messages: int
    last_at: datetime


def places(law: Law, business: Business, *, on: date) -> Iterator[PlaceRules]:
    """The countries of the book, those with most clients first; the business's own is always there."""
    owners = Property.objects.filter(client__archived_at=None).order_by().values_list("country")
    counts = dict(owners.annotate(Count("client", distinct=True)))
    for code in sorted({*counts, business.country}, key=lambda each: (-counts.get(each, 0), each)):
        rules = [
            law.rule_for(sender_country=business.country, recipient_country=code, channel=channel, on=on)
            for channel in Channel.values
        ]
        yield PlaceRules(code, name_of(code), counts.get(code, 0), [Shown(rule) for rule in rules])
    nowhere = Client.objects.current().filter(properties=None, postal_country="").count()
    if nowhere:
        strict = [law.rule_for(sender_country=business.country, recipient_country="", channel=channel, on=on)
                  for channel in Channel.values]  # fmt: skip
        yield PlaceRules("", "No address known", nowhere, [Shown(rule) for rule in strict])


def applied() -> list[Applied]:
    """The rules frozen with messages, the last used first."""
    rows = Message.objects.exclude(law="").order_by().values_list("law")
    counted = rows.annotate(Count("pk"), last_at=Max("queued_at")).order_by("-last_at")[:MOST_APPLIED]
    return [Applied(*row) for row in counted]


def whole_table() -> list[tuple[str, list[Shown]]]:
    """The table that comes with the program, by jurisdiction."""
    found: dict[str, list[Shown]] = {}
    for rule in table.rules():
        found.setdefault(name_of(rule.jurisdiction), []).append(Shown(rule))
    return list(found.items())


def table_of() -> date:
    return table.table_of()


def name_of(code: str) -> str:
    return GROUPS.get(code) or dict(countries.choices()).get(code, code)


def is_jurisdiction(code: str) -> bool:
    return code in GROUPS or code in dict(countries.choices())
