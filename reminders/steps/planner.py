"""Who is to hear which word, when and how, and who is left out and why.
It reads, and writes nothing."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from itertools import groupby
from zoneinfo import ZoneInfo

from clients import display
from clients.messaging.quiet import (
    Locality,
    NeverOpenError,
    first_allowed_moment,
    first_moment_for_all,
)
from clients.messaging.reach import ContactPurpose, Reach, Refusal, Route
from clients.models import Business, Channel, Deck, traits_of
from clients.places.public_holidays import town_with_days
from reminders.models import ForecastQuerySet, ReminderStep
from reminders.steps import facts as known
from reminders.steps.facts import CoatRow, ReminderFacts
from reminders.steps.sequence import NextStep, NothingDue, allowed_day, next_step

LEFT_OUT_KINDS = {
    "unreachable": "No way to reach them",
    "waiting": "Something is on its way",
    "offered": "An offer is open or accepted",
    "booked": "A visit is booked",
    "stopped": "Reminders are stopped",
    "capped": "Written to often enough",
    "later": "Later",
    "said": "All reminders sent",
    "archived": "Archived",
    "no coat": "No coat",
}
WHY_ARCHIVED = "The deck or its client is archived."


@dataclass(frozen=True)
class DueStep:
    """A step that is due about one coat."""

    coat: CoatRow
    next: NextStep


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
class PlannedMessage:
    """One message to one client about all decks that are due for a word.

    `passed_over` says why it goes by none of the ways before this one.
    """

    client_id: int
    client: str
    language: str
    step: ReminderStep
    route: Route
    due_steps: Sequence[DueStep]
    day: date
    goes_at: datetime
    is_now: bool = False
    passed_over: str = ""

    @property
    def key(self) -> str:
        """The same coat, step and channel make the same key in any run."""
        first = min(self.due_steps, key=lambda due_step: due_step.coat.job_id)
        coat = first.coat
        step = first.next.step
        return f"due/{coat.site_id}/{coat.job_id}/{step.number}/{self.route.channel}"

    @property
    def local(self) -> datetime:
        """When it may go, on the clock of the first property."""
        return self.goes_at.astimezone(ZoneInfo(self.due_steps[0].coat.zone))

    @property
    def local_day(self) -> date:
        return self.local.date()


@dataclass(frozen=True)
class ChosenWay:
    """The first way that is possible, from when, and why those before it are not."""

    route: Route
    goes_at: datetime
    passed_over: str


@dataclass
class ReminderPlan:
    """All messages of a run, soonest first, and the decks left out."""

    planned: list[PlannedMessage] = field(default_factory=list)
    left_out: list[LeftOut] = field(default_factory=list)

    def leave_out_clients(self, client_ids: Collection[int]) -> None:
        """Whoever looked at the plan took the tick from these."""
        self.planned = [each for each in self.planned if each.client_id not in client_ids]


@dataclass(frozen=True)
class ReminderRequest:
    """Which words are asked for: those due before `until`, of the chosen decks (None: of the whole
    book).

    `at_once` lets them go without waiting for their days; rules and quiet times are kept all the
    same. `by_itself` takes only steps that the owner lets go without a look. `without_clients` are
    planned and looked at, but not queued.
    """

    until: date
    deck_ids: Collection[int] | None = None
    at_once: bool = False
    by_itself: bool = False
    without_clients: Collection[int] = ()


def plan_reminders(asked: ReminderRequest, *, business: Business, now: datetime) -> ReminderPlan:
    """The words that are asked for, each on its day."""
    steps = ReminderStep.objects.sequence()
    rows = (
        known.coats_due_before(asked.until, steps)
        if asked.deck_ids is None
        else known.coats_on_decks(asked.deck_ids)
    )
    planning = ReminderPlanner.of(rows, asked, business=business, now=now, steps=steps)
    made = planning.run()
    if asked.deck_ids is not None:
        made.left_out += decks_without_coat(asked.deck_ids)
    made.planned.sort(key=lambda each: (each.day, each.client_id))
    return made


def decks_without_coat(deck_ids: Collection[int]) -> Iterable[LeftOut]:
    """Decks that have no forecast, so no coat that anything could be due about."""
    for deck in Deck.objects.with_owner().filter(pk__in=deck_ids, forecast=None):
        client = deck.site.client
        is_archived = deck.archived_at or client.archived_at
        kind, why = (
            ("archived", WHY_ARCHIVED)
            if is_archived
            else ("no coat", "No coat is logged, so nothing is due.")
        )
        yield LeftOut(deck.pk, None, deck.label, client.pk, client.name, kind, why)


@dataclass
class ReminderPlanner:
    """One run: what is known, and what has been made of it."""

    now: datetime
    today: date
    asked: ReminderRequest
    steps: Sequence[ReminderStep]
    facts: ReminderFacts
    contacts: Reach
    plan: ReminderPlan = field(default_factory=ReminderPlan)
    openings: dict[tuple[object, ...], datetime] = field(default_factory=dict)

    @classmethod
    def of(
        cls,
        rows: ForecastQuerySet,
        asked: ReminderRequest,
        *,
        business: Business,
        now: datetime,
        steps: Sequence[ReminderStep] | None = None,
    ) -> "ReminderPlanner":
        """A run about these coats, with everything it may have to ask."""
        facts = ReminderFacts(rows, now=now, zone=business.zone)
        contacts = Reach(facts.clients, business=business)
        return cls.about(facts, contacts, asked, steps=steps)

    @classmethod
    def about(
        cls,
        facts: ReminderFacts,
        contacts: Reach,
        asked: ReminderRequest,
        *,
        steps: Sequence[ReminderStep] | None = None,
    ) -> "ReminderPlanner":
        """A run about facts that somebody has, and the clients whose they are."""
        sequence = ReminderStep.objects.sequence() if steps is None else steps
        today = contacts.business.today(facts.now)
        return cls(facts.now, today, asked, sequence, facts, contacts)

    def run(self) -> ReminderPlan:
        for _, coats in groupby(self.facts.coats(), key=lambda coat: coat.client_id):
            due_steps = [word for coat in coats if (word := self.word(coat))]
            if due_steps:
                self.add_message(due_steps)
        return self.plan

    def word(self, coat: CoatRow) -> DueStep | None:
        """The word that is due about a coat; None, with a line among the left out, if none is."""
        why_not = self.why_not_remind(coat)
        if why_not:
            self.leave_out(coat, *why_not)
            return None
        sent = self.facts.sent.get(coat.job_id, ())
        paced_week = self.facts.paced_weeks.get(coat.job_id)
        found = next_step(self.steps, coat.window, sent, paced_week=paced_week)
        if isinstance(found, NothingDue):
            kind = "said" if found.is_over else "waiting" if found.message_id else "later"
            self.leave_out(coat, kind, found.why, found.message_id)
            return None
        if self.asked.by_itself and not found.step.goes_by_itself:
            return None
        if why := self.why_later(coat, found):
            self.leave_out(coat, "later", why)
            return None
        return DueStep(coat, found)

    def leave_out(self, coat: CoatRow, kind: str, why: str, message_id: int | None = None) -> None:
        row = LeftOut(
            coat.deck_id,
            coat.job_id,
            coat.label,
            coat.client_id,
            coat.client,
            kind,
            why,
            message_id,
        )
        self.plan.left_out.append(row)

    def why_not_remind(self, coat: CoatRow) -> tuple[str, str] | None:
        """What speaks against any word about this coat."""
        if coat.is_archived:
            return "archived", WHY_ARCHIVED
        stop = self.facts.stops.get(coat.job_id)
        if stop and (stop.until is None or stop.until >= self.today):
            return "stopped", stop.description
        booked_on = self.facts.booked.get(coat.deck_id)
        if booked_on and booked_on > coat.coated_on:
            return "booked", f"A visit is booked for {display.format_day(booked_on)}."
        return self.why_offered(coat)

    def why_offered(self, coat: CoatRow) -> tuple[str, str] | None:
        for offer in self.facts.offered.get(coat.deck_id, ()):
            if offer.state == "open" and offer.valid_until >= self.today:
                return (
                    "offered",
                    f"Offer {offer.number} is open until {display.format_day(offer.valid_until)}.",
                )
            if (
                offer.state == "accepted"
                and offer.answered_on
                and offer.answered_on >= coat.coated_on
            ):
                return (
                    "offered",
                    (
                        f"Offer {offer.number} was accepted on"
                        f" {display.format_day(offer.answered_on)}."
                    ),
                )
        return None

    def why_later(self, coat: CoatRow, found: NextStep) -> str:
        if not self.asked.at_once and found.day >= self.asked.until:
            return (
                f"The {found.step.label} is due on {display.format_day(found.day)}, after this"
                " time."
            )
        if self.asked.at_once and coat.due_on >= self.asked.until:
            return f"It is due {display.format_month(coat.due_on)}, after this time."
        return ""

    def add_message(self, due_steps: Sequence[DueStep]) -> None:
        """One message about all of them on the first of their days, in the gentlest of their
        words."""
        step = min((word.next.step for word in due_steps), key=lambda each: each.number)
        wanted = (
            self.today
            if self.asked.at_once
            else max(self.today, min(word.next.day for word in due_steps))
        )
        client = due_steps[0].coat.client_id
        day = allowed_day(wanted, self.facts.contact_days.get(client, ()), self.facts.rules)
        if day >= self.asked.until and day > self.today:
            self.leave_all_out(
                due_steps, "capped", f"So often is enough: again from {display.format_day(day)}."
            )
            return
        found = self.first_route(due_steps, step, day)
        if isinstance(found, str):
            self.leave_all_out(due_steps, "unreachable", found)
            return
        coat = due_steps[0].coat
        planned = PlannedMessage(
            client,
            coat.client,
            coat.language,
            step,
            found.route,
            due_steps,
            day,
            found.goes_at,
            found.goes_at <= self.now,
            found.passed_over,
        )
        self.plan.planned.append(planned)

    def leave_all_out(self, due_steps: Sequence[DueStep], kind: str, why: str) -> None:
        for word in due_steps:
            self.leave_out(word.coat, kind, why)

    def first_route(
        self, due_steps: Sequence[DueStep], step: ReminderStep, day: date
    ) -> ChosenWay | str:
        """The first channel that is possible: the client's favourite, then those of the step."""
        coat = due_steps[0].coat
        tried = {sent.channel for word in due_steps for sent in word.next.tried}
        reasons: dict[str, str] = {}
        for channel in dict.fromkeys(filter(None, [coat.preferred, *step.channels])):
            if channel in tried:
                reasons[channel] = "It reached nobody."
                continue
            route = self.route(coat.client_id, channel, day)
            if isinstance(route, Route):
                try:
                    opens = self.opening(due_steps, route, day)
                    return ChosenWay(route, opens, self.labelled_reasons(reasons))
                except NeverOpenError as error:
                    reasons[channel] = str(error)
            else:
                reasons[channel] = route.why
        return self.joined_reasons(reasons)

    def route(self, client: int, channel: str, day: date) -> Route | Refusal:
        if why := self.contacts.why_down(channel):
            return Refusal(why)
        return self.contacts.route(client, channel, ContactPurpose.MARKETING, on=day)

    def joined_reasons(self, reasons: dict[str, str]) -> str:
        """One reason as it is; several with their channels;
        what the business lacks only if nothing else is wrong."""
        own = {
            channel: why
            for channel, why in reasons.items()
            if channel not in self.contacts.transports_down
        } or reasons
        if len(own) == 1:
            return next(iter(own.values()))
        return self.labelled_reasons(own)

    def labelled_reasons(self, reasons: dict[str, str]) -> str:
        """“E-mail: There is no consent on record.”"""
        return " ".join(f"{Channel(channel).label}: {why}" for channel, why in reasons.items())

    def opening(self, due_steps: Sequence[DueStep], route: Route, day: date) -> datetime:
        """From when it may go, at all places of the client if there is a moment that suits all,
        else at the first."""
        places = dict.fromkeys(
            Locality(
                ZoneInfo(word.coat.zone),
                word.coat.country,
                word.coat.region,
                town_with_days(word.coat.country, word.coat.town),
            )
            for word in due_steps
        )
        asked = (day, route.channel, id(route.permission.rule), *places)
        if asked not in self.openings:  # most of a book lies in a few places and days
            self.openings[asked] = self.common_opening(list(places), route, day)
        return self.openings[asked]

    def common_opening(self, places: Sequence[Locality], route: Route, day: date) -> datetime:
        is_now = day <= self.today and not self.asked.by_itself
        opens = datetime.combine(day, self.facts.rules.quiet_until, places[0].zone)
        start = self.now if is_now else max(self.now, opens)
        if not traits_of(route.channel).disturbs:
            return start
        rules = self.facts.rules
        hours_at = route.permission.rule.hours_at
        found = first_moment_for_all(start, places, rules=rules, law_hours_at=hours_at)
        return found or first_allowed_moment(
            start,
            place=places[0],
            rules=rules,
            law_window=hours_at(places[0].holiday_place),
        )
