"""Pacing: a plan of 2,000 households over 26 weeks in the core, and the whole action on the book of
the bench."""

from datetime import date, datetime

import numpy as np
from django.test import Client as Browser

from jobs.models import Crew
from reminders.pacing import core
from reminders.pacing.actions import save_pacing_plan
from reminders.pacing.inputs import horizon_from_month
from tests.bench.offers import make_bench_prices
from tests.bench.pages import bench_owner
from tests.bench.timing import elapsed_seconds

HOUSEHOLDS = 2_000
WEEKS = 26


def random_pacing_problem() -> tuple[core.ReminderCandidates, core.CrewHours]:
    """Far more households than two crews can serve, so that there is something to choose."""
    rng = np.random.default_rng(9)
    week = np.arange(WEEKS)
    lead = core.LeadTime()
    chance = rng.choice([0.5, 0.35, 0.12], HOUSEHOLDS)
    opens = rng.integers(-10, WEEKS + 6, HOUSEHOLDS)
    work = core.ReminderCandidates(
        chance=chance,
        chance_cv=np.where(chance == 0.5, 0.1, 0.2),
        hours=1 + rng.gamma(8, 0.8, HOUSEHOLDS),
        hours_sd=rng.uniform(0, 2, HOUSEHOLDS),
        saved=300 * rng.random((HOUSEHOLDS, 1)) * (1 - week / 40),
        allowed=week + 5 >= opens[:, None],
        town=rng.integers(0, 12, HOUSEHOLDS),
        fixed=np.full(HOUSEHOLDS, -1),
    )
    return work, core.CrewHours(np.where(np.arange(WEEKS + lead.last) > 5, 70.0, 0.0))


def measure_pacing_plan(today: date, now: datetime) -> dict[str, float]:
    work, hours = random_pacing_problem()
    results = {"core_2000_x_26_s": elapsed_seconds(lambda: core.solve_pacing(work, hours))}
    for name in ("Tern crew", "Heron crew"):
        Crew.objects.get_or_create(name=name, defaults={"hours_a_day": 14})
    make_bench_prices()
    spring = date(today.year + 1, 3, 1)
    chosen = horizon_from_month(spring, weeks=WEEKS, percent=100, today=today)
    found = []
    results["whole_s"] = elapsed_seconds(
        lambda: found.append(save_pacing_plan(horizon=chosen, now=now))
    )
    results["households"] = float(len(found[0].inputs.households))
    results["reminders"] = float((found[0].pace.week >= 0).sum())
    browser = Browser(headers={"host": "127.0.0.1"})
    browser.force_login(bench_owner())
    results["page_s"] = elapsed_seconds(lambda: browser.get("/pacing/"))
    return results
