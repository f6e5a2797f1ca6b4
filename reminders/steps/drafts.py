"""The words themselves: what a planned message will say, from the texts in force and what is known
about the decks."""

import hashlib
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import reduce
from typing import Any

from babel.dates import format_date
from django.db.models import Max

from clients import display
from clients.display import locale_for_language
from clients.messaging import texts
from clients.messaging.law import contents
from clients.messaging.models import MessageText
from clients.messaging.texts import standard_phrase, standard_phrases
from clients.messaging.unsendable import Unsendable
from clients.models import Business, Client, say_surfaces, traits_of
from clients.notation import primary_language
from jobs.day_words import say_span
from jobs.forecast_summary import WorkAdvice
from jobs.models import AppliedFinish, CoatApplied
from jobs.partial_dates import DaySpan, Precision
from reminders.client_links import ClientPageAddress, client_page_address
from reminders.forecasting import DueSurfaces, client_check_worth, reasons_for_client, visit_advice
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
    coated: DaySpan
    is_south: bool
    due_on: date
    contributions: Mapping[str, float]
    advice: WorkAdvice
    due_surfaces: Sequence[str] = ()  # where something else is not due yet

    @property
    def label_words(self) -> str:
        """“Sun deck”; where only a part of it is due, “Sun deck (railing)”."""
        if not self.due_surfaces:
            return self.label
        return f"{self.label} ({say_surfaces(self.due_surfaces).lower()})"

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
        self.facts = deck_facts_by_id(decks, today=today)
        self.check_worth = client_check_worth(decks, today=today)
        clients = Client.objects.in_bulk([each.client_id for each in planned])
        self.greetings = {pk: client.greeting for pk, client in clients.items()}

    def draft(self, planned: PlannedMessage) -> Draft:
        """Raises `Unsendable` naming what is wrong."""
        channel = planned.route.channel
        allowed = planned.route.permission
        chosen_facts = [self.facts[due_step.coat.deck_id] for due_step in planned.due_steps]
        first = min(each.due_on for each in chosen_facts)
        page = client_page_address(self.business, planned.key, channel)
        coated = min(each.coated.last for each in chosen_facts)
        purpose = self.purpose(planned.step.purpose, first)
        language = self.texts.wording(purpose, channel, planned.language).language
        fields = {
            "greeting": self.greetings[planned.client_id],
            "decks": self.decks_text(chosen_facts, channel, language),
            "due_by": self.month(first, language),
            "work": standard_phrases(language, "work")[most_work(chosen_facts).value],
            "since": time_since(coated, self.today, standard_phrases(language, "since")),
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

    def purpose(self, of_step: str, due_on: date) -> str:
        """The first word about a deck that was due in a month that is over has words of its own:
        no client reads in November that something is due in March."""
        is_overdue = due_on < self.today.replace(day=1)
        is_first = of_step == MessageText.Purpose.FIRST
        return MessageText.Purpose.OVERDUE if is_first and is_overdue else of_step

    def month(self, day: date, language: str) -> str:
        return format_date(day, "LLLL y", locale_for_language(language, self.business))

    def decks_text(self, chosen_facts: Sequence[DeckFacts], channel: str, language: str) -> str:
        """A paragraph each, or all on one line where that is the custom of the channel."""
        if traits_of(channel).on_one_line:
            with display.in_client_language(language):
                return "; ".join(f"{each.label_words}, {each.street}" for each in chosen_facts)
        return "\n\n".join("\n".join(self.deck_lines(each, language)) for each in chosen_facts)

    def coated_words(self, deck: DeckFacts, language: str) -> str:
        """The day of the last coat, as far as it is known."""
        if deck.coated.precision == Precision.DAY:
            locale = locale_for_language(language, self.business)
            return format_date(deck.coated.last, "medium", locale)
        with display.override_business(self.business), display.in_client_language(language):
            return say_span(deck.coated, is_south=deck.is_south)

    def deck_lines(self, deck: DeckFacts, language: str) -> Iterable[str]:
        labels = standard_phrases(language, "deck")
        with display.in_client_language(language):
            label = deck.label_words
        yield f"{label}, {deck.street}, {deck.town}"
        finishes = "; ".join(
            ", ".join(filter(None, [coat.product, coat.colour]))
            for coat in deck.coats
            if coat.product or coat.colour
        )
        coated = self.coated_words(deck, language)
        yield f"{labels['last']} {finishes + '; ' if finishes else ''}{coated}"
        yield f"{labels['work']} {standard_phrases(language, 'work')[deck.advice.value]}"
        if deck.due_on >= self.today.replace(day=1):
            yield f"{labels['due']} {self.month(deck.due_on, language)}"
        if why := deck.why(language):
            yield f"{labels['why']} {why}"


def time_since(day: date, today: date, phrases: Mapping[str, Any]) -> str:
    """“over three years”: the whole months or years that have passed, in the words of a language
    (standard.toml, words.….since)."""
    months = (today.year - day.year) * 12 + today.month - day.month - (today.day < day.day)
    years = months // 12
    if years > len(phrases["years"]):
        return str(phrases["many_years"]).format(years=years)
    if years:
        return str(phrases["years"][years - 1])
    return str(phrases["months"]).format(months=months) if months > 1 else ""


def most_work(decks: Sequence[DeckFacts]) -> WorkAdvice:
    """What the deck that needs most asks for."""
    order = list(WorkAdvice)
    return max((deck.advice for deck in decks), key=order.index)


def deck_facts_by_id(deck_ids: Collection[int], *, today: date) -> dict[int, DeckFacts]:
    """In a fixed number of queries."""
    rows = list(
        Forecast.objects.filter(deck__in=deck_ids)
        .order_by()
        .select_related("deck__site", "job__deck__site")
        .with_surfaces()
    )
    coats = CoatApplied.objects.finishes_by_job([row.job_id for row in rows])
    advice = visit_advice({row.deck_id: row.surface for row in rows}, today=today)
    return {
        row.deck_id: deck_facts(
            row, coats.get(row.job_id, []), advice[row.deck_id], due_part(row, today)
        )
        for row in rows
    }


def due_part(row: Forecast, today: date) -> Sequence[str]:
    """The surfaces of a deck that are due where something else is not, or has no coat."""
    days = DueSurfaces.of(row.boards_due_on, row.others)  # type: ignore[attr-defined] # annotated
    return days.due_now(today) if days.words(today) else ()


def deck_facts(
    row: Forecast, coats: Sequence[AppliedFinish], advice: WorkAdvice, part: Sequence[str]
) -> DeckFacts:
    place = row.deck.site
    return DeckFacts(
        place.street,
        place.town,
        row.deck.label,
        coats,
        row.job.span,
        place.is_south,
        row.due_on,
        row.contributions,
        advice,
        part,
    )


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
