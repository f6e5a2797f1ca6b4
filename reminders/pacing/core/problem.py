"""What a plan is made from: work that may be reminded, the hours of the crews, what is already out,
and the rules."""

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from scipy.special import ndtri

from reminders.forecast.arrays import Booleans, Floats, Integers

# in `fixed`: the plan may choose; a person said no
FREE_CHOICE = -1
EXCLUDED = -2


@dataclass(frozen=True)
class LeadTime:
    """Between which weeks after a reminder the work may be done.

    Parameters
    ----------
    first : int
        Weeks until the first work can begin.
    last : int
        Weeks that a client is willing to wait at most.
    """

    first: int = 2
    last: int = 8

    def __post_init__(self) -> None:
        if not 0 <= self.first <= self.last:
            raise ValueError(
                f"lead must run from first to last, not below 0; got {self.first} to {self.last}"
            )


@dataclass(frozen=True)
class PacingRules:
    """What the plan keeps to.

    Parameters
    ----------
    risk : float
        Chance allowed, for each stretch of weeks, that more hours are accepted than the crews have.
    hour_value : float
        Money that one filled hour counts for beside what haste saves.
    max_saving_loss : float
        Share of what haste saves (or loses) that may be given up for reminding a town in few weeks.
    """

    risk: float = 0.1
    hour_value: float = 50.0
    max_saving_loss: float = 0.05

    def __post_init__(self) -> None:
        if not (0 < self.risk <= 0.5 and self.hour_value >= 0 and 0 <= self.max_saving_loss < 1):
            raise ValueError(
                "risk must lie above 0 and at most at 0.5, hour_worth not below 0, give from 0 to"
                " below 1"
            )

    @property
    def z(self) -> float:
        """How many standard deviations stay free."""
        return max(float(-ndtri(self.risk)), 0.0)


@dataclass(frozen=True, eq=False)
class ReminderCandidates:
    """The n properties that may be reminded in w weeks; one reminder and one answer each.

    Parameters
    ----------
    chance : ndarray, shape (n,)
        Expected chance that a reminder leads to work.
    chance_cv : ndarray, shape (n,)
        Standard deviation of that chance over itself: what nobody knows about all alike.
    hours : ndarray, shape (n,)
        Expected hours if it does.
    hours_sd : ndarray, shape (n,)
        Their standard deviation.
    saved : ndarray, shape (n, w)
        Money saved by work after a reminder in that week, against waiting for a later plan.
    allowed : ndarray, shape (n, w)
        Whether the week comes into question.
    town : ndarray, shape (n,)
        Number of the town.
    fixed : ndarray, shape (n,)
        Week that a person chose, `FREE` or `LEFT_OUT`.
    """

    chance: Floats
    chance_cv: Floats
    hours: Floats
    hours_sd: Floats
    saved: Floats
    allowed: Booleans
    town: Integers
    fixed: Integers

    def __post_init__(self) -> None:
        if not ((self.chance >= 0) & (self.chance <= 1)).all():
            raise ValueError("chance must lie between 0 and 1")
        if not ((self.hours > 0) & (self.hours_sd >= 0) & (self.chance_cv >= 0)).all():
            raise ValueError("hours must be above 0, hours_sd and chance_cv not below 0")
        if (
            self.saved.shape != self.allowed.shape
            or self.fixed.max(initial=FREE_CHOICE) >= self.saved.shape[1]
        ):
            raise ValueError(
                "saved and allowed must have a column a week, and fixed must lie inside"
            )

    def __len__(self) -> int:
        return len(self.chance)

    @property
    def weeks(self) -> int:
        return int(self.saved.shape[1])

    @cached_property
    def moments(self) -> Floats:
        """Of the hours that one reminder brings, shape (n, 3):
        mean, own variance, and what all share of the doubt."""
        mean = self.chance * self.hours
        variance = self.chance * (self.hours**2 + self.hours_sd**2) - mean**2
        return np.column_stack([mean, variance, self.chance_cv * mean])


def reminder_values(work: ReminderCandidates, rules: PacingRules) -> Floats:
    """Return what a reminder in each week is worth.

    Parameters
    ----------
    work : ReminderCandidates
        What may be reminded.
    rules : PacingRules
        With the worth of an hour.

    Returns
    -------
    ndarray, shape (n, w)
        Money, as expected.
    """
    return work.chance[:, None] * (work.saved + rules.hour_value * work.hours[:, None])


def no_moments() -> Floats:
    return np.zeros((0, 3))


@dataclass(frozen=True, eq=False)
class CrewHours:
    """What the crews have, and what may still come of reminders and offers that are out already.

    Parameters
    ----------
    available : ndarray, shape (w + lead.last,)
        Hours not booked in each week, from the first of the plan on.
    outstanding_week : ndarray, shape (k,)
        Weeks in which something went out before the plan, all below 0.
    outstanding : ndarray, shape (k, 3)
        Their moments, as `Work.moments`.
    """

    available: Floats
    outstanding_week: Integers = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    outstanding: Floats = field(default_factory=no_moments)

    def __post_init__(self) -> None:
        if not (np.isfinite(self.available) & (self.available >= 0)).all():
            raise ValueError("open hours must be finite and not below 0")
        if (self.outstanding_week >= 0).any() or self.outstanding.shape != (
            len(self.outstanding_week),
            3,
        ):
            raise ValueError("what is out went out before the plan, with three moments a row")
