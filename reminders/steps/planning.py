"""Who is to hear which word, when and how, and who is left out and why. It reads, and writes nothing."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from itertools import groupby
from zoneinfo import ZoneInfo

from clients import display
from clients.messaging.quiet import NeverOpenError, allowed_from
from clients.models import Business, Deck
from clients.models.channel import Channel
from reminders.models import ForecastQuerySet, ReminderStep
from reminders.steps import facts as known
from reminders.steps.caps import allowed_day
from reminders.steps.facts import CoatRow, Facts
from reminders.steps.sequence import Next, NoNext, next_word
from reminders.steps.ways import Way, Ways

KINDS = {
    "unreachable": "No way to reach them",
    "waiting": "Something is on its way",
    "offered": "An offer is open or accepted",
    "booked": "A visit is booked",
    "stopped": "Reminders are stopped",
    "capped": "Written to often enough",
    "later": "Later",
    "said": "All words said",
    "archived": "Archived",
    "no coat": "No coat",
}
Place = tuple[str, str, str]  # time zone, country, region
ARCHIVED = "The deck or its client is archived."
MOST_ROUNDS = 14  # of looking for a moment that suits all places of a client


@dataclass(frozen=True)
class Word:
    """A step that is due about one coat."""

    coat: CoatRow
    next: Next


@dataclass(frozen=True)
class LeftOut:
    """A deck about which nothing goes, and why."""

    deck_id: int
    job_id: int | None
    deck: str
    client_id: int
    client: str
    kind: str
    why: str
    message_id: int | None = None


@dataclass(frozen=True)
class Planned:
    """One message to one client about all decks that are due for a word."""

    client_id: int
    client: str
    language: str
    step: ReminderStep
    way: Way
    words: Sequence[Word]
    day: date
    goes_at: datetime
    is_now: bool = False

    @property
    def key(self) -> str:
        """The same coat, step and channel make the same key in any run."""
        first = min(self.words, key=lambda word: word.coat.job_id)
        return f"due/{first.coat.property_id}/{first.coat.job_id}/{first.next.step.number}/{self.way.channel}"

    @property
    def local(self) -> datetime:
        """When it may go, on the clock of the first property."""
        return self.goes_at.astimezone(ZoneInfo(self.words[0].coat.zone))

    @property
    def local_day(self) -> date:
        return self.local.date()


@dataclass
class Plan:
    """All messages of a run, soonest first, and the decks left out."""

    planned: list[Planned] = field(default_factory=list)
    left_out: list[LeftOut] = field(default_factory=list)


def plan(
    *, business: Business, now: datetime, until: date, deck_ids: Collection[int] | None = None, at_once: bool = False,
    by_itself: bool = False,
) -> Plan:  # fmt: skip
    """The words due before `until`, of the chosen decks or of the whole book, each on its day.

    `at_once` lets the chosen ones go without waiting for their days; rules and quiet times are kept all the same.
    `by_itself` takes only steps that the owner lets go without a look.
    """
    steps = ReminderStep.objects.sequence()
    rows = known.due_for_words(until, steps) if deck_ids is None else known.about(deck_ids)
    planning = Planning.of(
        rows, business=business, now=now, until=until, at_once=at_once, by_itself=by_itself, steps=steps
    )
    made = planning.run()
    if deck_ids is not None:
        made.left_out += without_coat(deck_ids)
    made.planned.sort(key=lambda each: (each.day, each.client_id))
    return made


def without_coat(deck_ids: Collection[int]) -> Iterable[LeftOut]:
    """Decks that have no forecast, so no coat that anything could be due about."""
    for deck in Deck.objects.with_owner().filter(pk__in=deck_ids, forecast=None):
        client = deck.property.client
        is_archived = deck.archived_at or client.archived_at
        kind, why = ("archived", ARCHIVED) if is_archived else ("no coat", "No coat is logged, so nothing is due.")
        yield LeftOut(deck.pk, None, deck.label, client.pk, client.name, kind, why)


@dataclass
class Planning:
    """One run: what is known, and what has been made of it."""

    now: datetime
    today: date
    until: date
    steps: Sequence[ReminderStep]
    facts: Facts
    ways: Ways
    at_once: bool = False
    by_itself: bool = False
    made: Plan = field(default_factory=Plan)
    openings: dict[tuple[object, ...], datetime] = field(default_factory=dict)

    @classmethod
    def of(
        cls, rows: ForecastQuerySet, *, business: Business, now: datetime, until: date, at_once: bool = False,
        by_itself: bool = False, steps: Sequence[ReminderStep] | None = None,
    ) -> "Planning":  # fmt: skip
        """A run about these coats, with everything it may have to ask."""
        facts = Facts(rows, now=now, zone=business.zone)
        sequence = ReminderStep.objects.sequence() if steps is None else steps
        ways = Ways(facts.clients, business=business)
        return cls(now, business.today(now), until, sequence, facts, ways, at_once, by_itself)

    def run(self) -> Plan:
        for _, coats in groupby(self.facts.coats(), key=lambda coat: coat.client_id):
            words = [word for coat in coats if (word := self.word(coat))]
            if words:
                self.add_message(words)
        return self.made

    def word(self, coat: CoatRow) -> Word | None:
        """The word that is due about a coat; None, with a line among the left out, if none is."""
        why_not = self.why_silent(coat)
        if why_not:
            self.leave_out(coat, *why_not)
            return None
        said, pace = self.facts.said.get(coat.job_id, ()), self.facts.paces.get(coat.job_id)
        found = next_word(self.steps, coat.window, said, pace=pace)
        if isinstance(found, NoNext):
            kind = "said" if found.is_over else "waiting" if found.message_id else "later"
            self.leave_out(coat, kind, found.why, found.message_id)
            return None
        if self.by_itself and not found.step.goes_by_itself:
            return None
        if why := self.why_later(coat, found):
            self.leave_out(coat, "later", why)
            return None
        return Word(coat, found)

    def leave_out(self, coat: CoatRow, kind: str, why: str, message_id: int | None = None) -> None:
        row = LeftOut(coat.deck_id, coat.job_id, coat.label, coat.client_id, coat.client, kind, why, message_id)
        self.made.left_out.append(row)

    def why_silent(self, coat: CoatRow) -> tuple[str, str] | None:
        """What speaks against any word about this coat."""
        if coat.is_archived:
            return "archived", ARCHIVED
        stop = self.facts.stops.get(coat.job_id)
        if stop and (stop.until is None or stop.until >= self.today):
            return "stopped", stop.in_words
        booked_on = self.facts.booked.get(coat.deck_id)
        if booked_on and booked_on > coat.coated_on:
            return "booked", f"A visit is booked for {display.day(booked_on)}."
        return self.why_offered(coat)

    def why_offered(self, coat: CoatRow) -> tuple[str, str] | None:
        for offer in self.facts.offered.get(coat.deck_id, ()):
            if offer.state == "open" and offer.valid_until >= self.today:
                return "offered", f"Offer {offer.number} is open until {display.day(offer.valid_until)}."
            if offer.state == "accepted" and offer.answered_on and offer.answered_on >= coat.coated_on:
                return "offered", f"Offer {offer.number} was accepted on {display.day(offer.answered_on)}."
        return None

    def why_later(self, coat: CoatRow, found: Next) -> str:
        if not self.at_once and found.day >= self.until:
            return f"The {found.step.word} is due on {display.day(found.day)}, after this time."
        if self.at_once and coat.due_on >= self.until:
            return f"It is due by {display.day(coat.due_on)}, after this time."
        return ""

    def add_message(self, words: Sequence[Word]) -> None:
        """One message about all of them on the first of their days, in the gentlest of their words."""
        step = min((word.next.step for word in words), key=lambda each: each.number)
        wanted = self.today if self.at_once else max(self.today, min(word.next.day for word in words))
        client = words[0].coat.client_id
        day = allowed_day(wanted, self.facts.written_to.get(client, ()), self.facts.rules)
        if day >= self.until and day > self.today:
            self.leave_all_out(words, "capped", f"So often is enough: again from {display.day(day)}.")
            return
        found = self.first_way(words, step, day)
        if isinstance(found, str):
            self.leave_all_out(words, "unreachable", found)
            return
        coat, (way, goes_at) = words[0].coat, found
        is_now = goes_at <= self.now
        self.made.planned.append(Planned(client, coat.client, coat.language, step, way, words, day, goes_at, is_now))

    def leave_all_out(self, words: Sequence[Word], kind: str, why: str) -> None:
        for word in words:
            self.leave_out(word.coat, kind, why)

    def first_way(self, words: Sequence[Word], step: ReminderStep, day: date) -> tuple[Way, datetime] | str:
        """The first channel that is possible: the client's favourite, then those of the step."""
        coat = words[0].coat
        tried = {said.channel for word in words for said in word.next.tried}
        reasons: dict[str, str] = {}
        for channel in dict.fromkeys(filter(None, [coat.preferred, *step.channels])):
            if channel in tried:
                reasons[channel] = "It reached nobody."
                continue
            way = self.ways.way(coat.client_id, channel, on=day)
            if isinstance(way, Way):
                try:
                    return way, self.opening(words, way, day)
                except NeverOpenError as error:
                    reasons[channel] = str(error)
            else:
                reasons[channel] = way
        return self.told(reasons)

    def told(self, reasons: dict[str, str]) -> str:
        """One reason as it is; several with their channels; what the business lacks only if nothing else is wrong."""
        own = {channel: why for channel, why in reasons.items() if channel not in self.ways.lines_down} or reasons
        if len(own) == 1:
            return next(iter(own.values()))
        return " ".join(f"{Channel(channel).label}: {why}" for channel, why in own.items())

    def opening(self, words: Sequence[Word], way: Way, day: date) -> datetime:
        """From when it may go, at all places of the client if there is a moment that suits all, else at the first."""
        places = {(word.coat.zone, word.coat.country, word.coat.region): None for word in words}
        asked = (day, way.channel, id(way.rule), *places)
        if asked not in self.openings:  # most of a book lies in a few places and days
            self.openings[asked] = self.common_opening(list(places), way, day)
        return self.openings[asked]

    def common_opening(self, places: Sequence[Place], way: Way, day: date) -> datetime:
        opens = datetime.combine(day, self.facts.rules.quiet_until, ZoneInfo(places[0][0]))
        is_now = day <= self.today and not self.by_itself
        moment = first = self.open_at(self.now if is_now else max(self.now, opens), places[0], way)
        for _ in range(MOST_ROUNDS):
            later = moment
            for place in places:
                later = self.open_at(later, place, way)
            if later == moment:
                return moment
            moment = later
        return first

    def open_at(self, moment: datetime, place: Place, way: Way) -> datetime:
        zone, country, region = place
        return allowed_from(
            moment, zone=ZoneInfo(zone), country=country, region=region, channel=way.channel, rules=self.facts.rules,
            law_window=way.rule.window_local,
        )  # fmt: skip
