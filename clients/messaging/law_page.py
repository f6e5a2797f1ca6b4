"""What pages show of the law: the rules of the places in the book, what messages went under, and one client's case."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Count, Max

from clients import countries
from clients.messaging.law import NONE_NEEDED, Law, Rule, countries_of, table
from clients.messaging.law.history import last_job_on
from clients.messaging.law.words import BASES, Shown
from clients.messaging.models import Consent, Message
from clients.messaging.outbox.permission import Refusal, basis_in_force
from clients.models import Business, Client, Property
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


@dataclass(frozen=True)
class Permission:
    """Whether a client may get reminders and offers by one channel today, and what says so."""

    channel: Channel
    entry: Consent | None
    rule: Rule
    basis: str = ""
    until: date | None = None
    why: str = ""

    @property
    def words(self) -> str:
        return BASES.get(self.basis, "") if self.basis != NONE_NEEDED else "No consent is needed there"


def permissions(client: Client, business: Business, *, today: date) -> list[Permission]:
    """Per channel the newest entry of the log and what the law of the place makes of it."""
    newest: dict[str, Consent] = {}
    for consent in client.consents.all():
        newest.setdefault(consent.channel, consent)
    law, countries_there = Law.load(), countries_of(client)
    last_job = last_job_on([client.pk]).get(client.pk)
    found = []
    for channel in Channel:
        rule = law.rule_for_all(countries_there, sender_country=business.country, channel=channel, on=today)
        found.append(permission(Channel(channel), newest.get(channel), rule, last_job, today))
    return found


def permission(channel: Channel, entry: Consent | None, rule: Rule, last_job: date | None, today: date) -> Permission:
    basis = basis_in_force(entry, rule, last_job_on=last_job, today=today)
    if isinstance(basis, Refusal):
        return Permission(channel, entry, rule, why=basis.why)
    is_of_entry = entry is not None and basis != NONE_NEEDED
    given_on = entry.recorded_at.date() if entry and is_of_entry else None
    ends = [rule.consent_expires(basis, last_job, given_on), entry.expires_on if entry and is_of_entry else None]
    return Permission(channel, entry, rule, basis, min(filter(None, ends), default=None))


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
