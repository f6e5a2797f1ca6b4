"""What pages show of the law: the rules of the places in the book, what messages went under, and
one client's case."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from babel import Locale
from django.db.models import Count, Max

from clients.messaging.asking import asked_without
from clients.messaging.law import (
    AGREED_BASES,
    BASIS_LABELS,
    CERTAINTY_LABELS,
    DEFAULT_JURISDICTION,
    NONE_NEEDED,
    ContractLanguage,
    LegalRule,
    LegalRules,
    RegionalHours,
    RuleSummary,
    WithdrawalRight,
    hours_text,
    law_table_as_of,
    table_contract_languages,
    table_hours,
    table_rules,
    table_withdrawals,
)
from clients.messaging.models import Consent, Message
from clients.messaging.reach import WITHDRAWALS, ConsentEntry, Reach, Refusal
from clients.models import Business, Channel, Client, Property
from clients.notation import countries
from clients.places.public_holidays import region_name

MAX_APPLIED_RULES = 50
MAX_LACKING_SHOWN = 50
JURISDICTION_GROUPS = {"EU": "European Union", DEFAULT_JURISDICTION: "Everywhere else"}


@dataclass(frozen=True)
class CountryRules:
    """A country with clients, and the rule of each medium there, ours kept too."""

    code: str
    name: str
    clients: int
    rules: list[RuleSummary]


@dataclass(frozen=True)
class AppliedRule:
    """How many messages went under a rule."""

    law: str
    messages: int
    last_at: datetime


def rules_by_country(law: LegalRules, business: Business, *, on: date) -> Iterator[CountryRules]:
    """The countries of the book, those with most clients first;
    the business's own is always there."""
    owners = Property.objects.filter(client__archived_at=None).order_by().values_list("country")
    counts = dict(owners.annotate(Count("client", distinct=True)))
    for code in sorted({*counts, business.country}, key=lambda each: (-counts.get(each, 0), each)):
        rules = [
            law.rule_for(
                sender_country=business.country, recipient_country=code, channel=channel, on=on
            )
            for channel in Channel.values
        ]
        yield CountryRules(
            code,
            jurisdiction_name(code),
            counts.get(code, 0),
            [RuleSummary(rule) for rule in rules],
        )
    nowhere = Client.objects.current().filter(properties=None, postal_country="").count()
    if nowhere:
        strict = [
            law.rule_for(
                sender_country=business.country, recipient_country="", channel=channel, on=on
            )
            for channel in Channel.values
        ]
        yield CountryRules("", "No address known", nowhere, [RuleSummary(rule) for rule in strict])


@dataclass(frozen=True)
class ChannelPermission:
    """Whether a client may get reminders and offers by one channel today, and what says so."""

    channel: Channel
    entry: ConsentEntry | None
    rule: LegalRule
    basis: str = ""
    until: date | None = None
    why: str = ""
    is_withdrawn: bool = False
    asked_without: Sequence[str] = ()

    @property
    def basis_text(self) -> str:
        return (
            BASIS_LABELS.get(self.basis, "")
            if self.basis != NONE_NEEDED
            else "No consent is needed there"
        )


def channel_permissions(
    client: Client, business: Business, *, today: date
) -> list[ChannelPermission]:
    """Per channel the newest entry of the log and what the law of the place makes of it."""
    contacts = Reach.of(client, business=business)
    return [channel_permission(contacts, client, channel, today) for channel in Channel]


def channel_permission(
    contacts: Reach, client: Client, channel: Channel, today: date
) -> ChannelPermission:
    entry = contacts.consents.get((client.pk, channel))
    rule = contacts.rule(client.pk, channel, today)
    answer = contacts.consent_permission(client.pk, channel, rule, today)
    if isinstance(answer, Refusal):
        is_withdrawn = answer in WITHDRAWALS
        return ChannelPermission(channel, entry, rule, why=answer.why, is_withdrawn=is_withdrawn)
    lacks = words_lacking(client, entry, rule, contacts.business)
    return ChannelPermission(channel, entry, rule, answer.basis, answer.until, asked_without=lacks)


def words_lacking(
    client: Client, entry: ConsentEntry | None, rule: LegalRule, business: Business
) -> list[str]:
    """What the request for this consent did not say and the law wants said."""
    if entry is None or not (rule.asking_must_include or rule.implied_if_told):
        return []
    wording = next(each.wording for each in client.consents.all() if each.pk == entry.pk)
    return asked_without(rule, business, basis=entry.basis, wording=wording)


@dataclass(frozen=True)
class LackingConsent:
    """A consent in the book that was asked for without what the law there wants said."""

    client_id: int
    client: str
    channel: str
    without: Sequence[str]

    @property
    def channel_label(self) -> str:
        return str(Channel(self.channel).label)


def lacking_consents(business: Business, *, today: date) -> list[LackingConsent]:
    """All of them, by the client's name."""
    current = Client.objects.current()
    contacts = Reach(current.values("pk"), business=business)
    newest = [entry.pk for entry in contacts.consents.values() if entry.is_given]
    bases = [*AGREED_BASES, Consent.Basis.CUSTOMER]
    rows = Consent.objects.filter(pk__in=newest, basis__in=bases)
    rows = rows.select_related("client").order_by("client__name", "client_id", "channel")
    found = (
        LackingConsent(row.client_id, row.client.name, row.channel, without)
        for row in rows
        if (rule := contacts.rule(row.client_id, row.channel, today))
        and (without := asked_without(rule, business, basis=row.basis, wording=row.wording))
    )
    return list(found)


def applied_rules() -> list[AppliedRule]:
    """The rules frozen with messages, the last used first."""
    rows = Message.objects.exclude(law="").order_by().values_list("law")
    counted = rows.annotate(Count("pk"), last_at=Max("queued_at")).order_by("-last_at")[
        :MAX_APPLIED_RULES
    ]
    return [AppliedRule(*row) for row in counted]


def rules_by_jurisdiction() -> list[tuple[str, list[RuleSummary]]]:
    """The table that comes with the program, by jurisdiction."""
    found: dict[str, list[RuleSummary]] = {}
    for rule in table_rules():
        found.setdefault(jurisdiction_name(rule.jurisdiction), []).append(RuleSummary(rule))
    return list(found.items())


def contract_rules() -> list[tuple[str, str, WithdrawalRight | ContractLanguage, str]]:
    """Place, what clients may do there or have a right to, the row and how sure it is."""
    rows: list[tuple[str, WithdrawalRight | ContractLanguage]] = [
        (f"{'cancel' if row.is_cancellation else 'withdraw'} within {row.days} days", row)
        for row in table_withdrawals()
    ]
    rows += [
        (f"in {Locale(row.language).get_display_name('en')} first", row)
        for row in table_contract_languages()
    ]
    return [
        (jurisdiction_name(row.jurisdiction), words, row, CERTAINTY_LABELS[row.certainty])
        for words, row in rows
    ]


def regional_hours() -> list[tuple[str, str, RegionalHours, str]]:
    """Place, its hours, the row and how sure it is."""
    return [
        (
            regional_name(row.jurisdiction),
            hours_text(row.window),
            row,
            CERTAINTY_LABELS[row.certainty],
        )
        for row in table_hours()
    ]


def regional_name(code: str) -> str:
    """“United States, Rhode Island”, “United States, all others”."""
    name = jurisdiction_name(code)
    return name if "-" in code else f"{name}, all others"


def law_table_date() -> date:
    return law_table_as_of()


def jurisdiction_name(code: str) -> str:
    """“European Union”, “Canada”, “Canada, Nova Scotia”."""
    country, _, region = code.partition("-")
    name = JURISDICTION_GROUPS.get(code) or dict(countries.country_choices()).get(country, code)
    return f"{name}, {region_name(country, region)}" if region else name


def is_jurisdiction(code: str) -> bool:
    return code in JURISDICTION_GROUPS or code in dict(countries.country_choices())
