"""The plan itself: a mixed-integer linear program for HiGHS, solved as a linear one and then made
whole."""

from dataclasses import dataclass

import numpy as np
import scipy  # whose parts load themselves when they are used

from reminders.forecast.arrays import Booleans, Floats, Integers
from reminders.pacing.core.hall_intervals import (
    HallIntervals,
    LinearisedBound,
    fits_intervals,
    hall_intervals,
    linearise_bound,
    moments_by_week,
    overrun_chances,
    reachable_hours,
    slack_by_week,
)
from reminders.pacing.core.local_search import PlanExchange
from reminders.pacing.core.problem import (
    FREE_CHOICE,
    CrewHours,
    LeadTime,
    PacingRules,
    ReminderCandidates,
    reminder_values,
)

MAX_EXACT_CHOICES = 400  # choices that are solved whole at once
LINEARISATION_ROUNDS = 3  # tangents laid in a small problem
MILP_SECONDS = 1.0  # for each round of a small problem
ROUNDING_TOLERANCE = 1e-6
# choices that would lose more of their value than this are left until the last fillings
MAX_RELATIVE_LOSS = 0.02
SHARED_DOUBT_ROW = np.array([[0.0, 0.0, 1.0]])  # picks the shared doubt out of the three sums


@dataclass(frozen=True, eq=False)
class PacingSolution:
    """A plan.

    Parameters
    ----------
    week : ndarray, shape (n,)
        In which week each is reminded; -1 is not in this plan.
    value : float
        Money: hours filled at their worth and what is saved, both as expected.
    bound : float
        No whole plan under the same straight bounds has more.
    moments : ndarray, shape (p + w, 3)
        Mean, variance and shared doubt of the hours by reminder week.
    overrun : float
        The largest chance of any stretch that more is accepted than fits.
    """

    week: Integers
    value: float
    bound: float
    moments: Floats
    overrun: float


@dataclass(frozen=True, eq=False)
class Choices:
    """The m pairs of a property and a week that come into question, with the value of each."""

    row: Integers
    week: Integers
    value: Floats

    def __len__(self) -> int:
        return len(self.row)

    def take(self, which: Booleans) -> "Choices":
        """Return some of them."""
        return Choices(self.row[which], self.week[which], self.value[which])


def solve_pacing(
    work: ReminderCandidates,
    hours: CrewHours,
    *,
    lead: LeadTime | None = None,
    rules: PacingRules | None = None,
) -> PacingSolution:
    """Choose whom to remind in which week.

    Parameters
    ----------
    work : ReminderCandidates
        What may be reminded.
    hours : CrewHours
        What the crews have.
    lead : LeadTime, optional
        From reminder to work.
    rules : PacingRules, optional
        Risk and worth.

    Returns
    -------
    PacingSolution
        The plan; weeks that a person chose stand as they are, whatever they overrun.
    """
    lead = lead or LeadTime()
    rules = rules or PacingRules()
    intervals = hall_intervals(hours, work.weeks, lead)
    worth = reminder_values(work, rules)
    open_to = (
        work.allowed
        & (reachable_hours(hours, work.weeks, lead) > 0)
        & (work.fixed == FREE_CHOICE)[:, None]
        & (worth > 0)
    )
    row, week = np.nonzero(open_to)
    choices = Choices(row, week, worth[row, week])
    fixed = np.where(work.fixed >= 0, work.fixed, -1)
    if len(choices) == 0 or len(intervals.hours) == 0:
        return evaluate_weeks(work, hours, fixed, lead=lead, rules=rules)
    chosen, bound = PacingSolver(work, hours, intervals, rules, choices, fixed).plan()
    by_hand = np.nonzero(work.fixed >= 0)[0]
    bound += float(worth[by_hand, work.fixed[by_hand]].sum())
    return evaluate_weeks(work, hours, chosen, lead=lead, rules=rules, bound=bound)


def evaluate_weeks(
    work: ReminderCandidates,
    hours: CrewHours,
    week: Integers,
    *,
    lead: LeadTime | None = None,
    rules: PacingRules | None = None,
    bound: float = 0.0,
) -> PacingSolution:
    """Return what a given choice of weeks amounts to.

    Parameters
    ----------
    work : ReminderCandidates
        What may be reminded.
    hours : CrewHours
        What the crews have.
    week : ndarray, shape (n,)
        Week of each; -1 is none.
    lead : LeadTime, optional
        From reminder to work.
    rules : PacingRules, optional
        Risk and worth.
    bound : float
        The best value known to be possible, if any.

    Returns
    -------
    PacingSolution
        The same weeks with their figures.
    """
    intervals = hall_intervals(hours, work.weeks, lead or LeadTime())
    moments = moments_by_week(work, week, hours, intervals.past)
    taken = np.nonzero(week >= 0)[0]
    value = float(reminder_values(work, rules or PacingRules())[taken, week[taken]].sum())
    return PacingSolution(
        week,
        value,
        max(bound, value),
        moments,
        float(overrun_chances(intervals, moments).max(initial=0.0)),
    )


@dataclass(eq=False)
class PacingSolver:
    """One problem: lays tangents, solves, brings towns together, makes whole."""

    work: ReminderCandidates
    hours: CrewHours
    found: HallIntervals
    rules: PacingRules
    choices: Choices
    fixed: Integers

    def __post_init__(self) -> None:
        work = self.work
        choices = self.choices
        self.fixed_load = self.found.total(
            moments_by_week(work, self.fixed, self.hours, self.found.past)
        )
        count = len(choices)
        self.assignment = scipy.sparse.coo_matrix(
            (np.ones(count), (choices.row, np.arange(count))), shape=(len(work), count)
        ).tocsr()
        self.assignment = self.assignment[np.unique(choices.row)]
        self.sums = scipy.sparse.vstack(
            [self.week_sum_matrix(work.moments[choices.row, each]) for each in range(3)]
        ).tocsr()

    def week_sum_matrix(self, amount: Floats) -> "scipy.sparse.csr_matrix":
        """A matrix that sums an amount of each choice over the weeks."""
        place = (self.choices.week, np.arange(len(self.choices)))
        shape = (self.work.weeks, len(self.choices))
        return scipy.sparse.coo_matrix((amount, place), shape=shape).tocsr()

    def plan(self) -> tuple[Integers, float]:
        """The week of each, and a bound on the value of the free ones."""
        if len(self.choices) <= MAX_EXACT_CHOICES:
            return self.plan_exactly()
        first = self.solve_lp(self.linearise(None), -self.choices.value)
        lost = first.lower.marginals[
            : len(self.choices)
        ]  # what taking a choice not taken would cost
        near = lost <= MAX_RELATIVE_LOSS * self.choices.value
        linearised = self.linearise(
            self.moments(first.x[: len(self.choices)])
        )  # the first plan keeps it too
        fewer = PacingSolver(
            self.work, self.hours, self.found, self.rules, self.choices.take(near), self.fixed
        )
        share, bound = fewer.solve_relaxation(linearised)
        whole = np.zeros(len(self.choices))
        whole[near] = fewer.concentrate_towns(share, linearised, bound)
        return self.round_shares(whole), bound

    def plan_exactly(self) -> tuple[Integers, float]:
        share, bound = self.solve_relaxation(self.linearise(None))
        return self.solve_exactly(self.linearise(self.moments(share))), bound

    def solve_relaxation(self, linearised: LinearisedBound) -> tuple[Floats, float]:
        """The linear program under one tangent: the share of each choice, and the value."""
        result = self.solve_lp(linearised, -self.choices.value)
        return result.x[: len(self.choices)], float(-result.fun)

    def linearise(self, moments: Floats | None) -> LinearisedBound:
        return linearise_bound(self.found, moments, self.work, self.hours.outstanding, self.rules.z)

    def moments(self, share: Floats) -> Floats:
        """By week, with what is fixed and what is out."""
        total = moments_by_week(self.work, self.fixed, self.hours, self.found.past)
        total[self.found.past :] += (self.sums @ share).reshape(3, self.work.weeks).T
        return total

    def solve_lp(
        self, linearised: LinearisedBound, cost: Floats, *, least_value: float | None = None
    ) -> "scipy.optimize.OptimizeResult":
        """The linear program over the choices and the three sums of each week."""
        sums = 3 * self.work.weeks
        room = [
            (linearised.slopes, self.found.hours - linearised.intercept),
            (SHARED_DOUBT_ROW, linearised.max_doubt),
        ]
        no_sums = scipy.sparse.csr_matrix((self.assignment.shape[0], sums))
        upper = [scipy.sparse.hstack([self.assignment, no_sums])]
        upper += [self.capacity_rows(slopes) for slopes, _ in room]
        limits = [np.ones(self.assignment.shape[0]), *(self.remaining(*each) for each in room)]
        if least_value is not None:
            worth = np.concatenate([-self.choices.value, np.zeros(sums)])
            upper.append(scipy.sparse.csr_matrix(worth))
            limits.append(np.array([-least_value]))
        return scipy.optimize.linprog(
            np.concatenate([cost, np.zeros(sums)]),
            A_ub=scipy.sparse.vstack(upper).tocsr(),
            b_ub=np.concatenate(limits),
            A_eq=scipy.sparse.hstack([self.sums, -scipy.sparse.diags(np.ones(sums))]).tocsr(),
            b_eq=np.zeros(sums),
            method="highs-ds",
        )

    def solve_milp(self, linearised: LinearisedBound) -> "scipy.optimize.OptimizeResult":
        """The same with every choice taken or not; for few choices, so the sums are written out."""
        inside = self.found.inside[:, self.found.past + self.choices.week]
        moments = self.work.moments[self.choices.row].T
        room = [
            (linearised.slopes, self.found.hours - linearised.intercept),
            (SHARED_DOUBT_ROW, linearised.max_doubt),
        ]
        rules = [
            scipy.optimize.LinearConstraint(
                inside * (slopes @ moments), -np.inf, self.remaining(slopes, most)
            )
            for slopes, most in room
        ]
        return scipy.optimize.milp(
            -self.choices.value,
            constraints=[scipy.optimize.LinearConstraint(self.assignment, -np.inf, 1), *rules],
            integrality=np.ones(len(self.choices)),
            bounds=scipy.optimize.Bounds(0, 1),
            options={"time_limit": MILP_SECONDS, "mip_rel_gap": 1e-6},
        )

    def capacity_rows(self, slopes: Floats) -> "scipy.sparse.csr_matrix":
        """Rows over the choices and the three sums of each week, one a stretch."""
        plan = self.found.inside[:, self.found.past :]
        parts = [scipy.sparse.csr_matrix(plan * slopes[:, [each]]) for each in range(3)]
        no_choices = scipy.sparse.csr_matrix((len(plan), len(self.choices)))
        return scipy.sparse.hstack([no_choices, *parts]).tocsr()

    def remaining(self, slopes: Floats, room: Floats) -> Floats:
        """What the plan may still fill; where a person or what is out has filled it already,
        nothing."""
        return np.maximum(room - (slopes * self.fixed_load).sum(axis=1), 0.0)

    def concentrate_towns(self, share: Floats, linearised: LinearisedBound, best: float) -> Floats:
        """Towns on fewer weeks, for little of what haste saves (reweighted:
        Candès, Wakin & Boyd 2008, from memory)."""
        if self.rules.max_saving_loss == 0:
            return share
        town = self.work.town[self.choices.row]
        hours = self.work.moments[self.choices.row, 0]
        seen = np.zeros((int(town.max()) + 1, self.work.weeks))
        np.add.at(seen, (town, self.choices.week), hours * share)
        cost = hours / (1.0 + seen[town, self.choices.week])
        haste = np.abs(
            self.work.chance[self.choices.row]
            * self.work.saved[self.choices.row, self.choices.week]
        )
        result = self.solve_lp(
            linearised, cost, least_value=best - self.rules.max_saving_loss * float(haste @ share)
        )
        return share if result.x is None else result.x[: len(self.choices)]

    def round_shares(self, share: Floats) -> Integers:
        """Those that the linear program split between weeks, and whoever else still fits, worth
        most an hour first."""
        week = self.assigned_weeks(share >= 1 - ROUNDING_TOLERANCE)
        total = self.found.total(moments_by_week(self.work, week, self.hours, self.found.past))
        worth = self.choices.value / self.work.moments[self.choices.row, 0]
        split = (share > ROUNDING_TOLERANCE) & (share < 1 - ROUNDING_TOLERANCE)
        left = slack_by_week(self.found, total, self.rules.z)
        hours = self.work.moments[:, 0]
        for at in np.lexsort([-worth, ~split]).tolist():
            row = self.choices.row[at]
            column = self.found.past + self.choices.week[at]
            if week[row] >= 0 or left[column] < hours[row]:
                continue
            if fits_intervals(self.found, total, column, self.work.moments[row], self.rules.z):
                week[row] = self.choices.week[at]
                total += self.found.inside[:, [column]] * self.work.moments[row]
                left = slack_by_week(self.found, total, self.rules.z)
        return week

    def solve_exactly(self, linearised: LinearisedBound) -> Integers:
        """A small problem: every choice whole, tangents laid again while that gains something."""
        best = self.fixed
        value = -1.0
        for _ in range(LINEARISATION_ROUNDS):
            result = self.solve_milp(linearised)
            if result.x is None or -result.fun <= value + ROUNDING_TOLERANCE:
                break
            taken = result.x[: len(self.choices)] > 0.5
            best = self.assigned_weeks(taken)
            value = float(-result.fun)
            linearised = self.linearise(self.moments(taken.astype(float)))
        return self.improve_by_exchange(best)

    def improve_by_exchange(self, week: Integers) -> Integers:
        """The straight bounds are tight at one spread only; what they left is found by exchange."""
        worth = np.full((len(self.work), self.work.weeks), -np.inf)
        worth[self.choices.row, self.choices.week] = self.choices.value
        total = self.found.total(moments_by_week(self.work, week, self.hours, self.found.past))
        search = PlanExchange(
            self.found, total, self.work.moments, worth, week.copy(), self.rules.z
        )
        return search.improve(np.unique(self.choices.row))

    def assigned_weeks(self, taken: Booleans) -> Integers:
        week = self.fixed.copy()
        week[self.choices.row[taken]] = self.choices.week[taken]
        return week
