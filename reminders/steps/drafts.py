"""The words themselves: what a planned message will say, from the texts in force and what is known about the decks."""

import hashlib
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from babel.core import UnknownLocaleError
from babel.dates import format_date
from django.db.models import Max

from clients.messaging import texts
from clients.messaging.law import contents
from clients.messaging.models import MessageText
from clients.messaging.texts.standard import primary
from clients.messaging.unsendable import Unsendable
from clients.models import Business, Client
from clients.models.channel import Channel
from reminders.due.due_list import Coat, coats_of
from reminders.forecasting.reasons import plain_reasons
from reminders.models import Forecast
from reminders.steps import LeftOut, Planned

ON_ONE_LINE = {Channel.TEXT, Channel.CALL}
# Words around the facts, in the languages that the program's own texts are in.
AROUND = {
    "en": {"last": "Last coat:", "due": "Due by about:", "past": "Due since about:", "why": "What we reckoned with:"},
    "fr": {
        "last": "Dernière couche :",
        "due": "À refaire vers",
        "past": "À refaire depuis environ",
        "why": "Ce dont nous avons tenu compte :",
    },
}


@dataclass(frozen=True)
class Draft:
    """One message, ready to be queued but for the client's own link, which the outbox makes."""

    planned: Planned
    written: texts.Written

    @property
    def shown_text(self) -> str:
        return self.written.text.replace("{unsubscribe_url}", "(the client's own link)")


@dataclass(frozen=True)
class DeckFacts:
    """What is told about one deck."""

    street: str
    town: str
    label: str
    coats: Sequence[Coat]
    coated_on: date
    due_on: date
    contributions: Mapping[str, float]

    def why(self, language: str) -> str:
        return plain_reasons(self.contributions, language=primary(language))


class Writer:
    """Writes the drafts of many planned messages: texts, coats and places are read once for all."""

    def __init__(self, planned: Sequence[Planned], *, business: Business, today: date) -> None:
        self.business, self.today = business, today
        self.texts = texts.Texts.load(business)
        decks = [word.coat.deck_id for each in planned for word in each.words]
        self.facts = facts_of(decks)
        clients = Client.objects.in_bulk([each.client_id for each in planned])
        self.greetings = {pk: client.greeting for pk, client in clients.items()}

    def draft(self, planned: Planned) -> Draft:
        """Raises `Unsendable` naming what is wrong."""
        purpose, channel = planned.step.purpose, planned.way.channel
        language = self.texts.wording(purpose, channel, planned.language).language
        told = [self.facts[word.coat.deck_id] for word in planned.words]
        first = min(each.due_on for each in told)
        fields = {
            "greeting": self.greetings[planned.client_id],
            "decks": self.decks(told, channel, language),
            "due_by": month(first, self.locale(language)),
            "why": told[0].why(language),
            "step": str(planned.step.number),
        }
        written = self.texts.write(
            purpose=purpose, channel=channel, language=planned.language, fields=fields, basis=planned.way.basis
        )
        contents.check(planned.way.rule, business=self.business, text=written.text, basis=planned.way.basis)
        return Draft(planned, written)

    def locale(self, language: str) -> str:
        """The business's way of writing dates, in the language of the text."""
        own = self.business.locale
        return own if primary(own) == primary(language) else language

    def decks(self, told: Sequence[DeckFacts], channel: str, language: str) -> str:
        """A paragraph each, or all on one line where that is the custom of the channel."""
        if channel in ON_ONE_LINE:
            return "; ".join(f"{each.label}, {each.street}" for each in told)
        return "\n\n".join("\n".join(self.lines(each, language)) for each in told)

    def lines(self, deck: DeckFacts, language: str) -> Iterable[str]:
        around, locale = AROUND.get(primary(language), AROUND["en"]), self.locale(language)
        yield f"{deck.label}, {deck.street}, {deck.town}"
        finishes = "; ".join(", ".join(filter(None, [coat.product, coat.colour])) for coat in deck.coats)
        yield f"{around['last']} {finishes + '; ' if finishes else ''}{day(deck.coated_on, locale)}"
        due = around["past"] if deck.due_on < self.today else around["due"]
        yield f"{due} {month(deck.due_on, locale)}"
        if why := deck.why(language):
            yield f"{around['why']} {why}"


def facts_of(deck_ids: Collection[int]) -> dict[int, DeckFacts]:
    """In two queries."""
    columns = ("deck_id", "job_id", "deck__label", "deck__property__street", "deck__property__town",
               "job__finished_on", "due_on", "contributions")  # fmt: skip
    rows = list(Forecast.objects.filter(deck__in=deck_ids).order_by().values_list(*columns))
    coats = coats_of([row[1] for row in rows])
    return {
        deck: DeckFacts(street, town, label, coats.get(job, []), coated_on, due_on, contributions)
        for deck, job, label, street, town, coated_on, due_on, contributions in rows
    }


def written_out(planned: Sequence[Planned], *, business: Business, today: date) -> tuple[list[Draft], list[LeftOut]]:
    """The drafts, and what cannot be written with the reason."""
    writer = Writer(planned, business=business, today=today)
    drafts, left_out = [], []
    for each in planned:
        try:
            drafts.append(writer.draft(each))
        except Unsendable as problem:
            left_out += not_writable(each, str(problem))
    return drafts, left_out


def not_writable(planned: Planned, why: str) -> list[LeftOut]:
    return [
        LeftOut(
            word.coat.deck_id, word.coat.job_id, word.coat.label, planned.client_id, planned.client, "unreachable", why
        )
        for word in planned.words
    ]  # fmt: skip


def fingerprint(planned: Iterable[Planned]) -> str:
    """Changes with everything that somebody looked at and agreed to, texts too; not with the minute of the day."""
    parts = sorted(
        f"{each.key} {each.way.address} {each.step.purpose} {each.day}"
        f" {[(word.coat.job_id, word.next.step.number) for word in each.words]}"
        for each in planned
    )
    newest = MessageText.objects.aggregate(at=Max("changed_at"))["at"]
    return hashlib.sha256("\n".join([*parts, str(newest)]).encode()).hexdigest()[:32]


def formatted(pattern: str) -> Callable[[date, str], str]:
    def write(value: date, locale: str) -> str:
        try:
            return format_date(value, format=pattern, locale=locale.replace("-", "_"))
        except (UnknownLocaleError, ValueError):
            return format_date(value, format=pattern, locale="en")

    return write


day = formatted("medium")
month = formatted("LLLL y")
