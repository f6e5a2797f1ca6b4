"""The words themselves: what a planned message will say, from the texts in force and what is known
about the decks."""

import hashlib
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import reduce

from babel.dates import format_date
from django.db.models import Max

from clients.display import locale_for_language
from clients.languages import primary_language
from clients.messaging import texts
from clients.messaging.law import contents
from clients.messaging.models import MessageText
from clients.messaging.texts import standard_phrase, standard_phrases
from clients.messaging.unsendable import Unsendable
from clients.models import Business, Client, traits_of
from jobs.models import AppliedFinish, CoatApplied
from reminders.client_links import ClientPageAddress, client_page_address
from reminders.forecasting import client_check_worth, reasons_for_client
from reminders.models import Forecast
from reminders.steps.planner import LeftOut, PlannedMessage


@dataclass(frozen=True)
class Draft:
    """One message, ready to be queued but for the client's own link, which the outbox makes."""

    planned: PlannedMessage
    written: texts.ComposedText
    page: ClientPageAddress | None = None

    @property
    def shown_text(self) -> str:
        """Without the links, which open only once the message is queued."""
        text = self.written.text.replace("{unsubscribe_url}", "(the client's own link)")
        if self.page is None:
            return text
        shown = {self.page.url: "(the client's own page)", self.page.code: "(the client's code)"}
        return reduce(lambda so_far, pair: so_far.replace(*pair), filter(all, shown.items()), text)


@dataclass(frozen=True)
class DeckFacts:
    """What is told about one deck."""

    street: str
    town: str
    label: str
    coats: Sequence[AppliedFinish]
    coated_on: date
    due_on: date
    contributions: Mapping[str, float]

    def why(self, language: str) -> str:
        return reasons_for_client(self.contributions, language=primary_language(language))


class DraftWriter:
    """Writes the drafts of many planned messages: texts, coats and places are read once for all."""

    def __init__(
        self, planned: Sequence[PlannedMessage], *, business: Business, today: date
    ) -> None:
        self.business = business
        self.today = today
        self.texts = texts.Texts.load(business)
        decks = [due_step.coat.deck_id for each in planned for due_step in each.due_steps]
        self.facts = deck_facts_by_id(decks)
        self.check_worth = client_check_worth(decks, today=today)
        clients = Client.objects.in_bulk([each.client_id for each in planned])
        self.greetings = {pk: client.greeting for pk, client in clients.items()}

    def draft(self, planned: PlannedMessage) -> Draft:
        """Raises `Unsendable` naming what is wrong."""
        purpose = planned.step.purpose
        channel = planned.route.channel
        allowed = planned.route.permission
        language = self.texts.wording(purpose, channel, planned.language).language
        chosen_facts = [self.facts[due_step.coat.deck_id] for due_step in planned.due_steps]
        first = min(each.due_on for each in chosen_facts)
        page = client_page_address(self.business, planned.key, channel)
        fields = {
            "greeting": self.greetings[planned.client_id],
            "decks": self.decks_text(chosen_facts, channel, language),
            "due_by": self.month(first, language),
            "why": chosen_facts[0].why(language),
            "step": str(planned.step.number),
            "page_url": page.url if page else "",
            "page_code": page.code if page else "",
            "check_question": self.check_question(planned, language) if page else "",
        }
        written = self.texts.write(
            purpose=purpose,
            channel=channel,
            language=planned.language,
            fields=fields,
            basis=allowed.basis,
        )
        contents.check_required_contents(
            allowed.rule, business=self.business, text=written.text, basis=allowed.basis
        )
        return Draft(planned, written, page)

    def check_question(self, planned: PlannedMessage, language: str) -> str:
        """Asked where the client's own look at one of the decks would change what to do."""
        is_worth_it = any(each.coat.deck_id in self.check_worth for each in planned.due_steps)
        return standard_phrase(language, "check_question") if is_worth_it else ""

    def month(self, day: date, language: str) -> str:
        return format_date(day, "LLLL y", locale_for_language(language, self.business))

    def decks_text(self, chosen_facts: Sequence[DeckFacts], channel: str, language: str) -> str:
        """A paragraph each, or all on one line where that is the custom of the channel."""
        if traits_of(channel).on_one_line:
            return "; ".join(f"{each.label}, {each.street}" for each in chosen_facts)
        return "\n\n".join("\n".join(self.deck_lines(each, language)) for each in chosen_facts)

    def deck_lines(self, deck: DeckFacts, language: str) -> Iterable[str]:
        labels = standard_phrases(language, "deck")
        locale = locale_for_language(language, self.business)
        yield f"{deck.label}, {deck.street}, {deck.town}"
        finishes = "; ".join(
            ", ".join(filter(None, [coat.product, coat.colour])) for coat in deck.coats
        )
        coated = format_date(deck.coated_on, "medium", locale)
        yield f"{labels['last']} {finishes + '; ' if finishes else ''}{coated}"
        due = labels["past"] if deck.due_on < self.today else labels["due"]
        yield f"{due} {self.month(deck.due_on, language)}"
        if why := deck.why(language):
            yield f"{labels['why']} {why}"


def deck_facts_by_id(deck_ids: Collection[int]) -> dict[int, DeckFacts]:
    """In two queries."""
    columns = (
        "deck_id",
        "job_id",
        "deck__label",
        "deck__site__street",
        "deck__site__town",
        "job__finished_on",
        "due_on",
        "contributions",
    )
    rows = list(Forecast.objects.filter(deck__in=deck_ids).order_by().values_list(*columns))
    coats = CoatApplied.objects.finishes_by_job([row[1] for row in rows])
    return {
        deck: DeckFacts(street, town, label, coats.get(job, []), coated_on, due_on, contributions)
        for deck, job, label, street, town, coated_on, due_on, contributions in rows
    }


def write_drafts(
    planned: Sequence[PlannedMessage], *, business: Business, today: date
) -> tuple[list[Draft], list[LeftOut]]:
    """The drafts, and what cannot be written with the reason."""
    writer = DraftWriter(planned, business=business, today=today)
    drafts = []
    left_out = []
    for each in planned:
        try:
            drafts.append(writer.draft(each))
        except Unsendable as problem:
            left_out += unwritable_decks(each, str(problem))
    return drafts, left_out


def unwritable_decks(planned: PlannedMessage, why: str) -> list[LeftOut]:
    return [
        LeftOut(
            due_step.coat.deck_id,
            due_step.coat.job_id,
            due_step.coat.label,
            planned.client_id,
            planned.client,
            "unreachable",
            why,
        )
        for due_step in planned.due_steps
    ]


def plan_fingerprint(planned: Iterable[PlannedMessage]) -> str:
    """Changes with everything that somebody looked at and agreed to, texts too;
    not with the minute of the day."""
    parts = sorted(
        f"{each.key} {each.route.address} {each.step.purpose} {each.day}"
        f" {[(due_step.coat.job_id, due_step.next.step.number) for due_step in each.due_steps]}"
        for each in planned
    )
    newest = MessageText.objects.aggregate(at=Max("changed_at"))["at"]
    return hashlib.sha256("\n".join([*parts, str(newest)]).encode()).hexdigest()[:32]
