"""Invented households in the season of a small business, and what becomes of a plan when clients
answer by chance."""

from dataclasses import dataclass

import numpy as np

from reminders.pacing.core import (
    Beta,
    CrewHours,
    LeadTime,
    ReminderCandidates,
    monthly_upkeep_rates,
    place_hours,
    savings_by_age,
    strip_chances_by_age,
)

LEAD = LeadTime(2, 8)
GROUPS = [Beta(10, 10), Beta(7, 13), Beta(2.4, 17.6)]
NEVER = np.nan


@dataclass(frozen=True)
class World:
    """A problem, the groups of its households, and how long past due each is on the first day, in
    months."""

    work: ReminderCandidates
    hours: CrewHours
    group: np.ndarray
    past_due: np.ndarray


def season(households: int, weeks: int, *, crews: float = 70.0, seed: int = 1) -> World:
    """Crews work from the fifth to the thirtieth week;
    coats of all ages, a strip costs two and a half recoats."""
    rng = np.random.default_rng(seed)
    week = np.arange(weeks + LEAD.last)
    open_hours = np.where((week >= 4) & (week < 30), crews, 0.0)
    area = rng.gamma(6, 4, households) + 5
    median = rng.uniform(10, 26, households)
    log_sd = rng.uniform(0.25, 0.4, households)
    age = median * rng.uniform(0.5, 2.2, households)
    months = np.append(np.maximum(np.arange(weeks) + 5, 6), weeks + 10) * 12 / 52
    ages = age[:, None] + months
    blank = np.full(households, NEVER)
    chances = strip_chances_by_age(ages, median, log_sd, blank, blank)
    recoat = 15 * area
    strip = 37 * area
    costs = (strip - recoat)[:, None] * chances
    rate = monthly_upkeep_rates(median, log_sd, recoat, strip)
    money = savings_by_age(ages, costs, 1 - chances, rate)
    group = rng.choice(3, households, p=[0.4, 0.4, 0.2])
    share = chances[:, weeks // 2]
    more = area * 0.35
    opens = median * np.exp(-0.84 * log_sd)  # the chance of being worn reaches one fifth
    work = ReminderCandidates(
        chance=np.array([belief.mean for belief in GROUPS])[group],
        chance_cv=np.array([belief.cv for belief in GROUPS])[group],
        hours=1 + area * 0.25 + share * more,
        hours_sd=np.sqrt(share * (1 - share)) * more,
        saved=money,
        allowed=ages[:, :-1] >= opens[:, None],
        town=rng.integers(0, 8, households),
        fixed=np.full(households, -1),
    )
    return World(work, CrewHours(open_hours), group, age - median)


@dataclass(frozen=True)
class Outcome:
    """Means over many seasons: hours worked, hours that came too late for a client's patience, and
    money saved."""

    worked: float
    too_many: float
    saved: float
    seasons_overrun: float


def lived_through(world: World, week: np.ndarray, *, seasons: int = 400, seed: int = 7) -> Outcome:
    """Clients say yes by a chance that is drawn again for each group and season;
    work goes into the first free week."""
    rng = np.random.default_rng(seed)
    work = world.work
    chosen = np.nonzero(week >= 0)[0]
    rows = np.array([one_season(world, week, chosen, rng) for _ in range(seasons)])
    if not len(work):
        return Outcome(0, 0, 0, 0)
    first, second, third = rows.mean(axis=0)[:3]
    return Outcome(first, second, third, float((rows[:, 1] > 0.01).mean()))


def one_season(
    world: World, week: np.ndarray, chosen: np.ndarray, rng: np.random.Generator
) -> list[float]:
    work = world.work
    truth = np.array([rng.beta(belief.alpha, belief.beta) for belief in GROUPS])[world.group]
    yes = chosen[rng.random(len(chosen)) < truth[chosen]]
    hours = np.maximum(rng.normal(work.hours[yes], work.hours_sd[yes]), 0.5)
    wanted = np.zeros((work.weeks, 1))
    np.add.at(wanted[:, 0], week[yes], hours)
    done, over = place_hours(wanted, world.hours.available, LEAD)
    return [done.sum(), over.sum(), work.saved[yes, week[yes]].sum()]
