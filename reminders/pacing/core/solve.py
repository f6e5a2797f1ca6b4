"""The plan itself: a mixed-integer linear program for HiGHS, solved as a linear one and then made whole."""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, OptimizeResult, linprog, milp
from scipy.sparse import coo_matrix, csr_matrix, diags, hstack, vstack

from reminders.pacing.core.exchange import Exchange
from reminders.pacing.core.problem import (
    FREE,
    Booleans,
    Floats,
    Hours,
    Integers,
    Lead,
    Rules,
    Work,
    values,
)
from reminders.pacing.core.stretches import (
    Stretches,
    Tangent,
    by_week,
    fits,
    overrun_chances,
    reachable,
    slack,
    stretches,
    tangent,
)

SMALL = 400  # choices that are solved whole at once
ROUNDS = 3  # tangents laid in a small problem
SECONDS = 1.0  # for each round of a small problem
NEAR = 1e-6
NEARLY = 0.02  # choices that would lose more of their value than this are left until the last fillings
DOUBT = np.array([[0.0, 0.0, 1.0]])  # picks the shared doubt out of the three sums


@dataclass(frozen=True, eq=False)
class Pace:
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

    def chosen(self, which: Booleans) -> "Choices":
        """Return some of them."""
        return Choices(self.row[which], self.week[which], self.value[which])


def pace(work: Work, hours: Hours, *, lead: Lead | None = None, rules: Rules | None = None) -> Pace:
    """Choose whom to remind in which week.

    Parameters
    ----------
    work : Work
        What may be reminded.
    hours : Hours
        What the crews have.
    lead : Lead, optional
        From reminder to work.
    rules : Rules, optional
        Risk and worth.

    Returns
    -------
    Pace
        The plan; weeks that a person chose stand as they are, whatever they overrun.
    """
    lead, rules = lead or Lead(), rules or Rules()
    found = stretches(hours, work.weeks, lead)
    worth = values(work, rules)
    open_to = work.allowed & (reachable(hours, work.weeks, lead) > 0) & (work.fixed == FREE)[:, None] & (worth > 0)
    row, week = np.nonzero(open_to)
    choices = Choices(row, week, worth[row, week])
    fixed = np.where(work.fixed >= 0, work.fixed, -1)
    if len(choices) == 0 or len(found.hours) == 0:
        return reckoned(work, hours, fixed, lead=lead, rules=rules)
    chosen, bound = Planner(work, hours, found, rules, choices, fixed).plan()
    by_hand = np.nonzero(work.fixed >= 0)[0]
    bound += float(worth[by_hand, work.fixed[by_hand]].sum())
    return reckoned(work, hours, chosen, lead=lead, rules=rules, bound=bound)


def reckoned(
    work: Work, hours: Hours, week: Integers, *, lead: Lead | None = None, rules: Rules | None = None,
    bound: float = 0.0,
) -> Pace:  # fmt: skip
    """Return what a given choice of weeks amounts to.

    Parameters
    ----------
    work : Work
        What may be reminded.
    hours : Hours
        What the crews have.
    week : ndarray, shape (n,)
        Week of each; -1 is none.
    lead : Lead, optional
        From reminder to work.
    rules : Rules, optional
        Risk and worth.
    bound : float
        The best value known to be possible, if any.

    Returns
    -------
    Pace
        The same weeks with their figures.
    """
    found = stretches(hours, work.weeks, lead or Lead())
    moments = by_week(work, week, hours, found.past)
    taken = np.nonzero(week >= 0)[0]
    value = float(values(work, rules or Rules())[taken, week[taken]].sum())
    return Pace(week, value, max(bound, value), moments, float(overrun_chances(found, moments).max(initial=0.0)))


class Planner:
    """One problem: lays tangents, solves, brings towns together, makes whole."""

    def __init__(
        self, work: Work, hours: Hours, found: Stretches, rules: Rules, choices: Choices, fixed: Integers
    ) -> None:
        self.work, self.hours, self.found, self.rules, self.choices, self.fixed = (
            work, hours, found, rules, choices, fixed
        )  # fmt: skip
        self.held = found.total(by_week(work, fixed, hours, found.past))
        count = len(choices)
        self.once = coo_matrix((np.ones(count), (choices.row, np.arange(count))), shape=(len(work), count)).tocsr()
        self.once = self.once[np.unique(choices.row)]
        self.sums = vstack([self.by_week(work.moments[choices.row, each]) for each in range(3)]).tocsr()

    def by_week(self, amount: Floats) -> csr_matrix:
        """A matrix that sums an amount of each choice over the weeks."""
        place = (self.choices.week, np.arange(len(self.choices)))
        return coo_matrix((amount, place), shape=(self.work.weeks, len(self.choices))).tocsr()

    def plan(self) -> tuple[Integers, float]:
        """The week of each, and a bound on the value of the free ones."""
        if len(self.choices) <= SMALL:
            return self.small()
        first = self.solve(self.tangent(None), -self.choices.value)
        lost = first.lower.marginals[: len(self.choices)]  # what taking a choice not taken would cost
        near = lost <= NEARLY * self.choices.value
        bent = self.tangent(self.moments(first.x[: len(self.choices)]))  # the first plan keeps it too
        fewer = Planner(self.work, self.hours, self.found, self.rules, self.choices.chosen(near), self.fixed)
        share, bound = fewer.bounded(bent)
        whole = np.zeros(len(self.choices))
        whole[near] = fewer.together(share, bent, bound)
        return self.made_whole(whole), bound

    def small(self) -> tuple[Integers, float]:
        share, bound = self.bounded(self.tangent(None))
        return self.whole_at_once(self.tangent(self.moments(share))), bound

    def bounded(self, bent: Tangent) -> tuple[Floats, float]:
        """The linear program under one tangent: the share of each choice, and the value."""
        result = self.solve(bent, -self.choices.value)
        return result.x[: len(self.choices)], float(-result.fun)

    def tangent(self, moments: Floats | None) -> Tangent:
        return tangent(self.found, moments, self.work, self.hours.out, self.rules.z)

    def moments(self, share: Floats) -> Floats:
        """By week, with what is fixed and what is out."""
        total = by_week(self.work, self.fixed, self.hours, self.found.past)
        total[self.found.past :] += (self.sums @ share).reshape(3, self.work.weeks).T
        return total

    def solve(self, bent: Tangent, cost: Floats, *, least_value: float | None = None) -> OptimizeResult:
        """The linear program over the choices and the three sums of each week."""
        sums = 3 * self.work.weeks
        room = [(bent.slopes, self.found.hours - bent.start), (DOUBT, bent.most)]
        upper = [hstack([self.once, csr_matrix((self.once.shape[0], sums))])]
        upper += [self.room(slopes) for slopes, _ in room]
        limits = [np.ones(self.once.shape[0]), *(self.left(*each) for each in room)]
        if least_value is not None:
            upper.append(csr_matrix(np.concatenate([-self.choices.value, np.zeros(sums)])))
            limits.append(np.array([-least_value]))
        return linprog(
            np.concatenate([cost, np.zeros(sums)]), A_ub=vstack(upper).tocsr(), b_ub=np.concatenate(limits),
            A_eq=hstack([self.sums, -diags(np.ones(sums))]).tocsr(), b_eq=np.zeros(sums), method="highs-ds",
        )  # fmt: skip

    def solve_whole(self, bent: Tangent) -> OptimizeResult:
        """The same with every choice taken or not; for few choices, so the sums are written out."""
        inside = self.found.inside[:, self.found.past + self.choices.week]
        moments = self.work.moments[self.choices.row].T
        room = [(bent.slopes, self.found.hours - bent.start), (DOUBT, bent.most)]
        rules = [
            LinearConstraint(inside * (slopes @ moments), -np.inf, self.left(slopes, most)) for slopes, most in room
        ]
        return milp(
            -self.choices.value, constraints=[LinearConstraint(self.once, -np.inf, 1), *rules],
            integrality=np.ones(len(self.choices)), bounds=Bounds(0, 1),
            options={"time_limit": SECONDS, "mip_rel_gap": 1e-6},
        )  # fmt: skip

    def room(self, slopes: Floats) -> csr_matrix:
        """Rows over the choices and the three sums of each week, one a stretch."""
        plan = self.found.inside[:, self.found.past :]
        parts = [csr_matrix(plan * slopes[:, [each]]) for each in range(3)]
        return hstack([csr_matrix((len(plan), len(self.choices))), *parts]).tocsr()

    def left(self, slopes: Floats, room: Floats) -> Floats:
        """What the plan may still fill; where a person or what is out has filled it already, nothing."""
        return np.maximum(room - (slopes * self.held).sum(axis=1), 0.0)

    def together(self, share: Floats, bent: Tangent, best: float) -> Floats:
        """Towns on fewer weeks, for little of what haste saves (reweighted: Candès, Wakin & Boyd 2008, from memory)."""
        if self.rules.give == 0:
            return share
        town, hours = self.work.town[self.choices.row], self.work.moments[self.choices.row, 0]
        seen = np.zeros((int(town.max()) + 1, self.work.weeks))
        np.add.at(seen, (town, self.choices.week), hours * share)
        cost = hours / (1.0 + seen[town, self.choices.week])
        haste = np.abs(self.work.chance[self.choices.row] * self.work.saved[self.choices.row, self.choices.week])
        result = self.solve(bent, cost, least_value=best - self.rules.give * float(haste @ share))
        return share if result.x is None else result.x[: len(self.choices)]

    def made_whole(self, share: Floats) -> Integers:
        """Those that the linear program split between weeks, and whoever else still fits, worth most an hour first."""
        week = self.weeks_of(share >= 1 - NEAR)
        total = self.found.total(by_week(self.work, week, self.hours, self.found.past))
        worth = self.choices.value / self.work.moments[self.choices.row, 0]
        split = (share > NEAR) & (share < 1 - NEAR)
        left, hours = slack(self.found, total, self.rules.z), self.work.moments[:, 0]
        for at in np.lexsort([-worth, ~split]).tolist():
            row, column = self.choices.row[at], self.found.past + self.choices.week[at]
            if week[row] >= 0 or left[column] < hours[row]:
                continue
            if fits(self.found, total, column, self.work.moments[row], self.rules.z):
                week[row] = self.choices.week[at]
                total += self.found.inside[:, [column]] * self.work.moments[row]
                left = slack(self.found, total, self.rules.z)
        return week

    def whole_at_once(self, bent: Tangent) -> Integers:
        """A small problem: every choice whole, tangents laid anew while that gains something."""
        best, value = self.fixed, -1.0
        for _ in range(ROUNDS):
            result = self.solve_whole(bent)
            if result.x is None or -result.fun <= value + NEAR:
                break
            taken = result.x[: len(self.choices)] > 0.5
            best, value = self.weeks_of(taken), float(-result.fun)
            bent = self.tangent(self.moments(taken.astype(float)))
        return self.exchanged(best)

    def exchanged(self, week: Integers) -> Integers:
        """The straight bounds are tight at one spread only; what they left is found by exchange."""
        worth = np.full((len(self.work), self.work.weeks), -np.inf)
        worth[self.choices.row, self.choices.week] = self.choices.value
        total = self.found.total(by_week(self.work, week, self.hours, self.found.past))
        desk = Exchange(self.found, total, self.work.moments, worth, week.copy(), self.rules.z)
        return desk.better(np.unique(self.choices.row))

    def weeks_of(self, taken: Booleans) -> Integers:
        week = self.fixed.copy()
        week[self.choices.row[taken]] = self.choices.week[taken]
        return week
