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
from reminders.forecast.arrays import Floats
from reminders.models import PacedDeck
from reminders.months import month_of, shift_months
from reminders.pacing import core
from reminders.pacing.actions import PacingPlan
from reminders.pacing.inputs import Horizon, Household, PacingInputs, gather_pacing_inputs
from reminders.pictures import PacingPicture, PacingWeek, pacing_picture

COLUMNS = [
    "week",
    "by_hand",
    "property_id",
    "client",
    "client_id",
    "street",
    "town",
    "region",
    "decks",
    "deck_ids",
    "due_on",
    "chance",
    "hours",
    "expected_hours",
    "saved",
    "group",
    "why_not",
]
HOUR_COLUMNS = [
    "week",
    "reminders",
    "hours_to_come",
    "hours_to_come_sd",
    "hours_open",
    "hours_booked",
    "hours_placed",
    "towns",
]
USUAL_WEEKS = 12
REMINDER_LEAD_WEEKS = 8  # weeks from a reminder to the work (common practice, no source)
WHY_LEFT_OUT = "left out by hand"
WHY_NO_ROOM = "others are worth more in the hours there are"
WHY_TOO_EARLY = "too early in these weeks"


@dataclass(frozen=True)
class HouseholdLine:
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


def household_lines(made: PacingPlan) -> list[HouseholdLine]:
    """All households, those of the plan first, by week, then town, then what haste saves."""
    found = [household_line(made, row) for row in range(len(made.inputs.households))]
    return sorted(
        found, key=lambda each: (each.week is None, each.week, each.household.place, -each.saved)
    )


def household_line(made: PacingPlan, row: int) -> HouseholdLine:
    work = made.inputs.work
    week = int(made.pace.week[row])
    if week >= 0:
        saved = work.chance[row] * work.saved[row, week]
        why_not = ""
    else:
        allowed = work.saved[row][work.allowed[row]]
        saved = work.chance[row] * allowed.max(initial=-np.inf) if len(allowed) else 0.0
        why_not = why_not_planned(work, row)
    return HouseholdLine(
        made.inputs.households[row],
        made.inputs.horizon.mondays[week] if week >= 0 else None,
        bool(work.fixed[row] != core.FREE_CHOICE),
        float(work.chance[row]),
        float(work.hours[row]),
        float(saved),
        why_not,
    )


def why_not_planned(work: core.ReminderCandidates, row: int) -> str:
    """Why a household is not in the plan."""
    if work.fixed[row] == core.EXCLUDED:
        return WHY_LEFT_OUT
    return WHY_NO_ROOM if work.allowed[row].any() else WHY_TOO_EARLY


def household_rows(made: PacingPlan) -> list[dict[str, Any]]:
    """With the keys of COLUMNS, as documented in docs/commands.md."""
    return [household_row(line) for line in household_lines(made)]


def household_row(line: HouseholdLine) -> dict[str, Any]:
    first = line.household.decks[0]
    own = {
        name: getattr(first, name) for name in ("client", "client_id", "street", "town", "region")
    }
    return {
        "property_id": first.site_id,
        **own,
        "week": line.week,
        "by_hand": line.is_by_hand,
        "decks": line.decks,
        "deck_ids": [deck.deck_id for deck in line.household.decks],
        "due_on": line.household.due_on,
        "chance": round(line.chance, 3),
        "hours": round(line.hours, 2),
        "expected_hours": round(line.expected_hours, 2),
        "saved": round(line.saved, 2),
        "group": str(line.household.group),
        "why_not": line.why_not,
    }


@dataclass(frozen=True)
class PlanWeek:
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

    @property
    def hours_expected(self) -> float:
        """Of the reminders of the plan alone, without what was out before it."""
        return self.hours_placed - self.by_town.get(OUTSTANDING, 0.0)


class PlanSummary:
    """A plan laid out for the page and the commands."""

    def __init__(self, made: PacingPlan) -> None:
        self.plan = made
        self.inputs = made.inputs

    @cached_property
    def weeks(self) -> list[PlanWeek]:
        """The weeks of the plan and those after it to which its work reaches."""
        return [self.week(number) for number in range(len(self.inputs.crews))]

    @property
    def busy_weeks(self) -> list[PlanWeek]:
        return [
            week for week in self.weeks if week.reminders or week.hours_placed or week.hours_booked
        ]

    def week(self, number: int) -> PlanWeek:
        crews = self.inputs.crews[number]
        (work, names) = self.placed
        here = np.nonzero(self.plan.pace.week == number)[0].tolist()
        past = len(self.plan.pace.moments) - self.inputs.horizon.weeks
        moments = (
            self.plan.pace.moments[past + number]
            if number < self.inputs.horizon.weeks
            else np.zeros(3)
        )
        by_town = {
            name: float(work[number, place])
            for place, name in enumerate(names)
            if work[number, place] > 0.005
        }
        return PlanWeek(
            crews.monday,
            len(here),
            float(moments[0]),
            float(core.standard_deviation(moments[None])[0]),
            float(crews.hours_open),
            float(crews.hours_booked),
            by_town,
            sorted({self.inputs.households[row].place[0] for row in here}),
        )

    @cached_property
    def placed(self) -> tuple[Floats, list[str]]:
        """Expected hours by work week and town; the last column is what was out before the plan."""
        work = self.inputs.work
        pace = self.plan.pace
        names = sorted({household.place[0] for household in self.inputs.households})
        expected = np.zeros((self.inputs.horizon.weeks, len(names)))
        for row in np.nonzero(pace.week >= 0)[0]:
            expected[pace.week[row], names.index(self.inputs.households[row].place[0])] += (
                work.moments[row, 0]
            )
        found, _ = core.place_hours(
            expected, self.hours_after_outstanding, self.inputs.response_rates.lead
        )
        out = self.inputs.hours.available - self.hours_after_outstanding
        return np.column_stack([found, out]), [*names, OUTSTANDING]

    @cached_property
    def hours_after_outstanding(self) -> Floats:
        """Hours of each week once what is out already is placed."""
        lead = self.inputs.response_rates.lead
        before = self.inputs.hours.outstanding_week
        reach = -int(before.min(initial=0))
        expected = np.zeros((reach + self.inputs.horizon.weeks, 1))
        np.add.at(expected[:, 0], before + reach, self.inputs.hours.outstanding[:, 0])
        hours = np.concatenate([np.zeros(reach), self.inputs.hours.available])
        work, _ = core.place_hours(expected, hours, lead)
        return np.maximum(self.inputs.hours.available - work[reach:, 0], 0.0)

    @property
    def reminders(self) -> int:
        return int((self.plan.pace.week >= 0).sum())

    @property
    def expected_hours(self) -> float:
        return float(self.inputs.work.moments[self.plan.pace.week >= 0, 0].sum())

    @property
    def saved(self) -> Decimal:
        return Decimal(round(sum(line.saved for line in household_lines(self.plan) if line.week)))

    @property
    def value(self) -> Decimal:
        return Decimal(round(self.plan.pace.value))

    @property
    def chances(self) -> list[dict[str, Any]]:
        """Of each group of clients: what is believed and what it rests on."""
        known = self.inputs.response_rates
        return [
            {
                "words": str(group),
                "mean": belief.mean,
                "sd": belief.sd,
                "asked": known.asked[group],
                "accepted": known.accepted[group],
            }
            for group, belief in known.chances.items()
        ]

    @cached_property
    def by_due_date(self) -> "PlanSummary":
        """The same hours and risk, filled soonest due first."""
        order = np.argsort(
            [home.due_on.toordinal() for home in self.inputs.households], kind="stable"
        )
        rules = self.inputs.rules
        lead = self.inputs.response_rates.lead
        week = core.assign_in_order(
            order, self.inputs.work, self.inputs.hours, lead=lead, rules=rules
        )
        return PlanSummary(
            PacingPlan(
                self.inputs,
                core.evaluate_weeks(
                    self.inputs.work, self.inputs.hours, week, lead=lead, rules=rules
                ),
            )
        )

    @cached_property
    def picture(self) -> PacingPicture:
        return pacing_picture(
            [
                PacingWeek(
                    week.monday, week.hours_open, week.hours_booked, week.by_town, week.reminders
                )
                for week in self.weeks
            ]
        )


OUTSTANDING = "reminded or offered before"


def week_hours_rows(made: PacingPlan) -> list[dict[str, Any]]:
    """With the keys of HOUR_COLUMNS."""
    names = ("hours_to_come", "hours_to_come_sd", "hours_open", "hours_booked", "hours_placed")
    return [
        {"week": week.monday, "reminders": week.reminders, "towns": list(week.towns)}
        | {name: round(getattr(week, name), 2) for name in names}
        for week in PlanSummary(made).weeks
    ]


def stored_plan(found: PacingInputs) -> PacingPlan:
    """The plan as it stands in the tables, against the diary and the book of today."""
    weeks = {job: week for job, week in PacedDeck.objects.values_list("job_id", "week") if week}
    chosen = np.full(len(found.households), -1)
    for row, household in enumerate(found.households):
        numbers = [
            found.horizon.week_of(weeks[deck.job_id])
            for deck in household.decks
            if deck.job_id in weeks
        ]
        inside = [number for number in numbers if 0 <= number < found.horizon.weeks]
        chosen[row] = min(inside, default=-1)
    lead = found.response_rates.lead
    rules = found.rules
    return PacingPlan(
        found, core.evaluate_weeks(found.work, found.hours, chosen, lead=lead, rules=rules)
    )


def stored_horizon(business: Business, *, today: date, percent: int = 100) -> Horizon:
    """The weeks that the kept plan spans, twelve at least;
    without one those that serve the next work outdoors."""
    this = diary.monday_of(today)
    weeks = PacedDeck.objects.filter(week__gte=this).order_by("week").values_list("week", flat=True)
    first = weeks.first() or first_useful_week(business, this)
    last = weeks.last() or this
    span = max((last - first) // timedelta(weeks=1) + 1, USUAL_WEEKS)
    return Horizon(first, min(span, Horizon.MAX_WEEKS), percent)


def first_useful_week(business: Business, this: date) -> date:
    """This week if crews go out within the usual weeks, else the longest lead before they go out
    again."""
    months = (shift_months(month_of(this), count) for count in range(12))
    begins = next((month for month in months if month.month in business.season_months), this)
    if begins <= this + timedelta(weeks=USUAL_WEEKS):
        return this
    return diary.monday_of(begins) - timedelta(weeks=REMINDER_LEAD_WEEKS)


def stored_plan_summary(horizon: Horizon, *, today: date, business: Business) -> PlanSummary:
    return PlanSummary(stored_plan(gather_pacing_inputs(horizon, today=today, business=business)))
