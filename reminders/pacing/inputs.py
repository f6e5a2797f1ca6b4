"""The question a plan answers, put together from the book:
households, hours of the crews, and what is out already."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal
from functools import cached_property
from itertools import groupby

import numpy as np

from clients.models import Business
from jobs import diary
from jobs.models import Coat
from jobs.offers import due_parts
from reminders.forecast import Floats
from reminders.forecasting import bridge
from reminders.models import PacedDeck
from reminders.months import month_of
from reminders.pacing import core
from reminders.pacing.labour import LabourTimes, labour_times
from reminders.pacing.outstanding import outstanding_work
from reminders.pacing.responses import (
    ResponseGroup,
    ResponseRates,
    learn_response_rates,
    response_group,
)
from reminders.pacing.savings import (
    DeckPrices,
    DeckSavings,
    OpenDeck,
    deck_prices,
    deck_savings,
    open_decks,
)

MAX_HOUSEHOLDS = 2_500  # those worth most; a plan of more would keep somebody waiting
# weeks after the plan in which the next one finds room: over the longest closed season
WEEKS_BEYOND_PLAN = 60
MIDWEEK_DAYS = 2  # days after Monday


class PacingError(ValueError):
    """No plan can be made; the message says what to do."""


@dataclass(frozen=True)
class Horizon:
    """The weeks of a plan, from a Monday on, and the share of the crews' hours that reminders may
    fill."""

    first: date
    weeks: int = 12
    percent: int = 100

    MAX_WEEKS = 52

    def __post_init__(self) -> None:
        if not 1 <= self.weeks <= self.MAX_WEEKS:
            raise PacingError(
                f"A plan has 1 to {self.MAX_WEEKS} weeks; write a number between these."
            )
        if not 1 <= self.percent <= 100:
            raise PacingError("The share of the crews' hours is a number from 1 to 100.")

    @property
    def mondays(self) -> list[date]:
        return [self.first + timedelta(weeks=week) for week in range(self.weeks)]

    @property
    def last(self) -> date:
        """The Sunday of the last week."""
        return self.first + timedelta(weeks=self.weeks, days=-1)

    def week_of(self, monday: date) -> int:
        return (monday - self.first).days // 7


def horizon_from_month(month: date, *, weeks: int, percent: int, today: date) -> Horizon:
    """From the week of the first of a month, or from this week in the present month;
    a past month has no plan."""
    if month < month_of(today):
        raise PacingError("This month is over. Write the present month or a later one.")
    return Horizon(max(diary.monday_of(month), diary.monday_of(today)), weeks, percent)


@dataclass(frozen=True)
class Household:
    """The decks of one property that may be reminded; one message, one visit."""

    decks: Sequence[OpenDeck]
    group: ResponseGroup

    @property
    def site_id(self) -> int:
        return self.decks[0].site_id

    @property
    def place(self) -> tuple[str, str]:
        return self.decks[0].town, self.decks[0].region

    @property
    def due_on(self) -> date:
        return min(deck.due_on for deck in self.decks)

    @property
    def area_m2(self) -> Decimal:
        """Of the decks whose size is known."""
        return sum((deck.area_m2 for deck in self.decks if deck.area_m2), Decimal(0))


@dataclass(frozen=True)
class PacingInputs:
    """All that a plan is made from, and the households in the order of the rows of `work`."""

    horizon: Horizon
    households: list[Household]
    work: core.ReminderCandidates
    hours: core.CrewHours
    rules: core.PacingRules
    response_rates: ResponseRates
    crews: list[diary.CrewHoursInWeek]
    is_priced: bool
    is_timed: bool
    currency: str
    left_over: int = 0
    unsized: int = 0  # decks whose size nobody knows, planned with the usual one
    usual_area_m2: Decimal = Decimal(0)

    @cached_property
    def row_by_property(self) -> dict[int, int]:
        return {household.site_id: row for row, household in enumerate(self.households)}


def gather_pacing_inputs(horizon: Horizon, *, today: date, business: Business) -> PacingInputs:
    """In a fixed number of queries, whatever the number of decks."""
    known = learn_response_rates(today=today)
    crews = diary.crew_hours_by_week(
        first=horizon.first,
        weeks=horizon.weeks + known.lead.last + WEEKS_BEYOND_PLAN,
        business=business,
    )
    if not any(week.hours_open for week in crews):
        raise PacingError(
            "No crew has hours in these weeks. Add a crew, or choose weeks that reach into the"
            " season."
        )
    return PacingInputsBuilder(horizon, known, crews, today, business).build()


def pacing_rules(prices: DeckPrices, times: LabourTimes) -> core.PacingRules:
    """An hour is worth what it earns at a recoat."""
    return core.PacingRules(hour_value=prices.recoat_m2 / times.recoat_m2)


class PacingInputsBuilder:
    """Puts one book together."""

    def __init__(
        self,
        horizon: Horizon,
        known: ResponseRates,
        crews: list[diary.CrewHoursInWeek],
        today: date,
        business: Business,
    ) -> None:
        self.horizon = horizon
        self.known = known
        self.crews = crews
        free = np.array([float(week.hours_free) for week in crews]) * horizon.percent / 100
        self.free = free
        self.today = today
        self.business = business
        usual = core.expected_work_week(free, horizon.weeks + WEEKS_BEYOND_PLAN, known.lead)
        later = usual[horizon.weeks :]
        afterwards = (
            later[np.isfinite(later)][:1]
            if np.isfinite(later).any()
            else [horizon.weeks + WEEKS_BEYOND_PLAN]
        )
        weeks = np.concatenate([usual[: horizon.weeks], afterwards])
        middle = np.arange(horizon.weeks + 1) + (known.lead.first + known.lead.last) / 2
        self.days = bridge.epoch_days(horizon.first) + 7 * np.maximum.accumulate(
            np.where(np.isnan(weeks), middle, weeks)
        )
        self.days += MIDWEEK_DAYS

    def build(self) -> PacingInputs:
        by_hand = weeks_by_hand()
        last = date.fromordinal(int(self.days[-2]) + bridge.EPOCH_ORDINAL)
        decks = open_decks(opens_before=last, near=self.horizon.first, today=self.today)
        decks = [deck for deck in decks if not self.is_elsewhere(by_hand.get(deck.job_id))]
        parts = due_parts([deck.deck_id for deck in decks], today=self.today)
        areas = {deck.deck_id: deck.area_m2 for deck in decks}
        times = labour_times(areas, today=self.today, parts=parts)
        prices = deck_prices(decks, today=self.today, currency=self.business.currency, parts=parts)
        if not decks:
            return self.assemble([], empty_work(self.horizon.weeks), prices, times)
        found = deck_savings(decks, self.days, prices, today=self.today)
        households = self.households(decks)
        work = self.work(households, decks, found, times, by_hand)
        kept = most_valuable_rows(work, pacing_rules(prices, times))
        made = self.assemble(
            [households[row] for row in kept], select_work_rows(work, kept), prices, times
        )
        usual = times.usual.area_m2 if times.usual else 0.0
        return replace(
            made,
            left_over=len(households) - len(kept),
            unsized=sum(deck.area_m2 is None for deck in decks),
            usual_area_m2=Decimal(str(round(usual, 2))),
        )

    def assemble(
        self,
        households: list[Household],
        work: core.ReminderCandidates,
        prices: DeckPrices,
        times: LabourTimes,
    ) -> PacingInputs:
        reach = self.horizon.weeks + self.known.lead.last
        weeks, moments = outstanding_work(
            self.known, before=self.horizon.first, elsewhere=weeks_by_hand(), today=self.today
        )
        return PacingInputs(
            self.horizon,
            households,
            work,
            core.CrewHours(self.free[:reach], weeks, moments),
            pacing_rules(prices, times),
            self.known,
            self.crews[:reach],
            prices.is_known,
            times.is_from_prices,
            self.business.currency,
        )

    def is_elsewhere(self, week: date | None) -> bool:
        """Whether a person put it into a week outside this plan that has not gone by."""
        if week is None or week < diary.monday_of(self.today):
            return False
        return not 0 <= self.horizon.week_of(week) < self.horizon.weeks

    def households(self, decks: list[OpenDeck]) -> list[Household]:
        coats = Coat.objects.counts_by_deck([deck.deck_id for deck in decks])
        found = []
        for _, members in groupby(decks, key=lambda deck: deck.site_id):
            home = list(members)
            groups = [
                response_group(
                    coats=coats.get(deck.deck_id, 1),
                    age_days=(self.horizon.first - deck.coated_on).days,
                )
                for deck in home
            ]
            found.append(
                Household(home, max(groups, key=lambda group: self.known.chances[group].mean))
            )
        return found

    def work(
        self,
        households: list[Household],
        decks: list[OpenDeck],
        found: DeckSavings,
        times: LabourTimes,
        by_hand: dict[int, date | None],
    ) -> core.ReminderCandidates:
        """Sums over the decks of each household."""
        edges = np.cumsum([0, *(len(home.decks) for home in households)])[:-1]
        hours = [times.decks[deck.deck_id] for deck in decks]
        visit, recoat, strip, sure = np.array(
            [(row.visit, row.recoat, row.strip, row.is_strip) for row in hours]
        ).T
        share = np.maximum(found.strip_chance, sure)
        more = strip - recoat
        doubt = (recoat + share * more) * self.size_doubt(decks, times)
        beliefs = [self.known.chances[home.group] for home in households]
        opens = np.minimum.reduceat(
            np.array([bridge.epoch_days(deck.earliest) for deck in decks]), edges
        )
        towns = {
            place: number
            for number, place in enumerate(sorted({home.place for home in households}))
        }
        return core.ReminderCandidates(
            chance=np.array([belief.mean for belief in beliefs]),
            chance_cv=np.array([belief.cv for belief in beliefs]),
            hours=np.maximum.reduceat(visit, edges) + np.add.reduceat(recoat + share * more, edges),
            hours_sd=np.sqrt(np.add.reduceat(share * (1 - share) * more**2 + doubt**2, edges)),
            saved=np.add.reduceat(found.money, edges, axis=0),
            allowed=self.days[None, :-1] >= opens[:, None],
            town=np.array([towns[home.place] for home in households]),
            fixed=np.array([self.fixed(home, by_hand) for home in households]),
        )

    @staticmethod
    def size_doubt(decks: list[OpenDeck], times: LabourTimes) -> Floats:
        """The spread of the hours against them that comes of a size nobody knows."""
        cv = times.usual.cv if times.usual else 0.0
        return np.array([cv if deck.area_m2 is None else 0.0 for deck in decks])

    def fixed(self, home: Household, by_hand: dict[int, date | None]) -> int:
        """What a person chose for any deck of the home; a week that has gone by binds nobody."""
        chosen = [by_hand[deck.job_id] for deck in home.decks if deck.job_id in by_hand]
        if not chosen:
            return core.FREE_CHOICE
        weeks = [
            self.horizon.week_of(week) for week in chosen if week and week >= self.horizon.first
        ]
        if weeks:
            return min(weeks)
        return core.EXCLUDED if None in chosen else core.FREE_CHOICE


def weeks_by_hand() -> dict[int, date | None]:
    """For each coat that a person decided on: its week, or None for left out."""
    return dict(PacedDeck.objects.filter(is_by_hand=True).values_list("job_id", "week"))


def most_valuable_rows(work: core.ReminderCandidates, rules: core.PacingRules) -> list[int]:
    """Rows of the households worth most an hour, and of all that a person decided on."""
    best = (
        np.where(work.allowed, core.reminder_values(work, rules), -np.inf).max(axis=1)
        / work.moments[:, 0]
    )
    best[work.fixed != core.FREE_CHOICE] = np.inf
    order = np.argsort(-best, kind="stable")[:MAX_HOUSEHOLDS]
    return sorted(order[np.isfinite(best[order]) | (best[order] > 0)].tolist())


def select_work_rows(work: core.ReminderCandidates, rows: list[int]) -> core.ReminderCandidates:
    return core.ReminderCandidates(
        **{name: getattr(work, name)[rows] for name in core.ReminderCandidates.__dataclass_fields__}
    )


def empty_work(weeks: int) -> core.ReminderCandidates:
    empty = np.zeros(0)
    numbers = np.zeros(0, dtype=int)
    return core.ReminderCandidates(
        empty,
        empty,
        empty,
        empty,
        np.zeros((0, weeks)),
        np.zeros((0, weeks), dtype=bool),
        numbers,
        numbers,
    )
