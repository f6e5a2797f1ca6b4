"""A plan as people read it: households by week, hours by week, how it compares, and the picture."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from functools import cached_property
from typing import Any

import numpy as np

from clients.models import Business
from jobs import diary
from reminders.models import PacedDeck
from reminders.months import month_of, months_on
from reminders.pacing import core
from reminders.pacing.actions import Planned
from reminders.pacing.book import Book, Horizon, Household, book
from reminders.pacing.core.problem import Floats
from reminders.pictures.pacing import Column, PacingPicture, pacing_picture

COLUMNS = [
    "week", "by_hand", "property_id", "client", "client_id", "street", "town", "region", "decks", "deck_ids", "due_on",
    "chance", "hours", "expected_hours", "saved", "group", "why_not",
]  # fmt: skip
HOUR_COLUMNS = [
    "week", "reminders", "hours_to_come", "hours_to_come_sd", "hours_open", "hours_booked", "hours_placed", "towns",
]  # fmt: skip
USUAL_WEEKS = 12
LONGEST_LEAD = 8  # weeks from a reminder to the work (common practice, no source)
LEFT_OUT, NO_ROOM, LATER = (
    "left out by hand",
    "others are worth more in the hours there are",
    "too early in these weeks",
)


@dataclass(frozen=True)
class Line:
    """One household in a plan, or left out of it."""

    household: Household
    week: date | None
    is_by_hand: bool
    chance: float
    hours: float
    saved: float
    why_not: str

    @property
    def expected_hours(self) -> float:
        return self.chance * self.hours

    @property
    def decks(self) -> list[str]:
        return [deck.label for deck in self.household.decks]

    @property
    def saved_money(self) -> Decimal:
        """An estimate is not known to the cent."""
        return Decimal(round(self.saved))


def lines(made: Planned) -> list[Line]:
    """All households, those of the plan first, by week, then town, then what haste saves."""
    found = [line_of(made, row) for row in range(len(made.book.households))]
    return sorted(found, key=lambda each: (each.week is None, each.week, each.household.place, -each.saved))


def line_of(made: Planned, row: int) -> Line:
    work, week = made.book.work, int(made.pace.week[row])
    if week >= 0:
        saved, why_not = work.chance[row] * work.saved[row, week], ""
    else:
        allowed = work.saved[row][work.allowed[row]]
        saved = work.chance[row] * allowed.max(initial=-np.inf) if len(allowed) else 0.0
        why_not = why(work, row)
    return Line(
        made.book.households[row], made.book.horizon.mondays[week] if week >= 0 else None,
        bool(work.fixed[row] != core.FREE), float(work.chance[row]), float(work.hours[row]), float(saved), why_not,
    )  # fmt: skip


def why(work: core.Work, row: int) -> str:
    """Why a household is not in the plan."""
    if work.fixed[row] == core.LEFT_OUT:
        return LEFT_OUT
    return NO_ROOM if work.allowed[row].any() else LATER


def rows_of(made: Planned) -> list[dict[str, Any]]:
    """With the keys of COLUMNS, as documented in docs/operations.md."""
    return [row_of(line) for line in lines(made)]


def row_of(line: Line) -> dict[str, Any]:
    first = line.household.decks[0]
    own = {name: getattr(first, name) for name in ("property_id", "client", "client_id", "street", "town", "region")}
    return own | {
        "week": line.week, "by_hand": line.is_by_hand, "decks": line.decks,
        "deck_ids": [deck.deck_id for deck in line.household.decks], "due_on": line.household.due_on,
        "chance": round(line.chance, 3), "hours": round(line.hours, 2),
        "expected_hours": round(line.expected_hours, 2), "saved": round(line.saved, 2),
        "group": str(line.household.group), "why_not": line.why_not,
    }  # fmt: skip


@dataclass(frozen=True)
class Week:
    """A week with what goes out in it and what is worked in it."""

    monday: date
    reminders: int
    hours_to_come: float
    hours_to_come_sd: float
    hours_open: float
    hours_booked: float
    by_town: dict[str, float]
    towns: Sequence[str]

    @property
    def hours_placed(self) -> float:
        return sum(self.by_town.values())


class Shown:
    """A plan laid out for the page and the commands."""

    def __init__(self, made: Planned) -> None:
        self.made, self.book = made, made.book

    @cached_property
    def weeks(self) -> list[Week]:
        """The weeks of the plan and those after it to which its work reaches."""
        return [self.week(number) for number in range(len(self.book.crews))]

    @property
    def busy_weeks(self) -> list[Week]:
        return [week for week in self.weeks if week.reminders or week.hours_placed or week.hours_booked]

    def week(self, number: int) -> Week:
        crews, (work, names) = self.book.crews[number], self.placed
        here = np.nonzero(self.made.pace.week == number)[0].tolist()
        past = len(self.made.pace.moments) - self.book.horizon.weeks
        moments = self.made.pace.moments[past + number] if number < self.book.horizon.weeks else np.zeros(3)
        by_town = {name: float(work[number, place]) for place, name in enumerate(names) if work[number, place] > 0.005}
        return Week(
            crews.monday, len(here), float(moments[0]), float(core.spread(moments[None])[0]), float(crews.hours_open),
            float(crews.hours_booked), by_town, sorted({self.book.households[row].place[0] for row in here}),
        )  # fmt: skip

    @cached_property
    def placed(self) -> tuple[Floats, list[str]]:
        """Expected hours by work week and town; the last column is what was out before the plan."""
        work, pace = self.book.work, self.made.pace
        names = sorted({household.place[0] for household in self.book.households})
        expected = np.zeros((self.book.horizon.weeks, len(names)))
        for row in np.nonzero(pace.week >= 0)[0]:
            expected[pace.week[row], names.index(self.book.households[row].place[0])] += work.moments[row, 0]
        found, _ = core.placed(expected, self.left_after_out, self.book.learned.lead)
        out = self.book.hours.open - self.left_after_out
        return np.column_stack([found, out]), [*names, OUT]

    @cached_property
    def left_after_out(self) -> Floats:
        """Hours of each week once what is out already is placed."""
        lead, before = self.book.learned.lead, self.book.hours.out_week
        reach = -int(before.min(initial=0))
        expected = np.zeros((reach + self.book.horizon.weeks, 1))
        np.add.at(expected[:, 0], before + reach, self.book.hours.out[:, 0])
        hours = np.concatenate([np.zeros(reach), self.book.hours.open])
        work, _ = core.placed(expected, hours, lead)
        return np.maximum(self.book.hours.open - work[reach:, 0], 0.0)

    @property
    def reminders(self) -> int:
        return int((self.made.pace.week >= 0).sum())

    @property
    def expected_hours(self) -> float:
        return float(self.book.work.moments[self.made.pace.week >= 0, 0].sum())

    @property
    def saved(self) -> Decimal:
        return Decimal(round(sum(line.saved for line in lines(self.made) if line.week)))

    @property
    def value(self) -> Decimal:
        return Decimal(round(self.made.pace.value))

    @property
    def chances(self) -> list[dict[str, Any]]:
        """Of each group of clients: what is believed and what it rests on."""
        known = self.book.learned
        return [
            {
                "words": str(group), "mean": belief.mean, "sd": belief.sd, "asked": known.asked[group],
                "accepted": known.accepted[group],
            }
            for group, belief in known.chances.items()
        ]  # fmt: skip

    @cached_property
    def by_due_date(self) -> "Shown":
        """The same hours and risk, filled soonest due first."""
        order = np.argsort([home.due_on.toordinal() for home in self.book.households], kind="stable")
        rules, lead = self.book.rules, self.book.learned.lead
        week = core.in_order(order, self.book.work, self.book.hours, lead=lead, rules=rules)
        return Shown(Planned(self.book, core.reckoned(self.book.work, self.book.hours, week, lead=lead, rules=rules)))

    @cached_property
    def picture(self) -> PacingPicture:
        return pacing_picture(
            [
                Column(week.monday, week.hours_open, week.hours_booked, week.by_town, week.reminders)
                for week in self.weeks
            ]
        )


OUT = "reminded or offered before"


def hours_of(made: Planned) -> list[dict[str, Any]]:
    """With the keys of HOUR_COLUMNS."""
    names = ("hours_to_come", "hours_to_come_sd", "hours_open", "hours_booked", "hours_placed")
    return [
        {"week": week.monday, "reminders": week.reminders, "towns": list(week.towns)}
        | {name: round(getattr(week, name), 2) for name in names}
        for week in Shown(made).weeks
    ]


def kept(found: Book) -> Planned:
    """The plan as it stands in the tables, against the diary and the book of today."""
    weeks = {job: week for job, week in PacedDeck.objects.values_list("job_id", "week") if week}
    chosen = np.full(len(found.households), -1)
    for row, household in enumerate(found.households):
        numbers = [found.horizon.week_of(weeks[deck.job_id]) for deck in household.decks if deck.job_id in weeks]
        inside = [number for number in numbers if 0 <= number < found.horizon.weeks]
        chosen[row] = min(inside, default=-1)
    lead, rules = found.learned.lead, found.rules
    return Planned(found, core.reckoned(found.work, found.hours, chosen, lead=lead, rules=rules))


def kept_horizon(business: Business, *, today: date, percent: int = 100) -> Horizon:
    """The weeks that the kept plan spans, twelve at least; without one those that serve the next work outdoors."""
    this = diary.monday_of(today)
    weeks = PacedDeck.objects.filter(week__gte=this).order_by("week").values_list("week", flat=True)
    first, last = weeks.first() or first_useful(business, this), weeks.last() or this
    span = max((last - first) // timedelta(weeks=1) + 1, USUAL_WEEKS)
    return Horizon(first, min(span, Horizon.LONGEST), percent)


def first_useful(business: Business, this: date) -> date:
    """This week if crews go out within the usual weeks, else the longest lead before they go out again."""
    months = (months_on(month_of(this), count) for count in range(12))
    begins = next((month for month in months if month.month in business.season_months), this)
    if begins <= this + timedelta(weeks=USUAL_WEEKS):
        return this
    return diary.monday_of(begins) - timedelta(weeks=LONGEST_LEAD)


def kept_plan(horizon: Horizon, *, today: date, business: Business) -> Shown:
    return Shown(kept(book(horizon, today=today, business=business)))
