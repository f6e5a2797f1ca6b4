"""Pacing: a plan of 2,000 households over 26 weeks in the core, and the whole deed on the book of the bench."""

from datetime import date

import numpy as np

from clients.models import Business
from jobs.models import Crew
from reminders import pacing
from reminders.pacing_book import Horizon
from reminders.pacing_plan import plan
from restorer.bench.timing import seconds

HOUSEHOLDS, WEEKS = 2_000, 26


def problem() -> tuple[pacing.Work, pacing.Hours]:
    """Far more households than two crews can serve, so that there is something to choose."""
    rng, week, lead = np.random.default_rng(9), np.arange(WEEKS), pacing.Lead()
    chance = rng.choice([0.5, 0.35, 0.12], HOUSEHOLDS)
    opens = rng.integers(-10, WEEKS + 6, HOUSEHOLDS)
    work = pacing.Work(
        chance=chance, chance_cv=np.where(chance == 0.5, 0.1, 0.2), hours=1 + rng.gamma(8, 0.8, HOUSEHOLDS),
        hours_sd=rng.uniform(0, 2, HOUSEHOLDS), saved=300 * rng.random((HOUSEHOLDS, 1)) * (1 - week / 40),
        allowed=week + 5 >= opens[:, None], town=rng.integers(0, 12, HOUSEHOLDS), fixed=np.full(HOUSEHOLDS, -1),
    )  # fmt: skip
    return work, pacing.Hours(np.where(np.arange(WEEKS + lead.last) > 5, 70.0, 0.0))


def measure(today: date) -> dict[str, float]:
    work, hours = problem()
    results = {"core_2000_x_26_s": seconds(lambda: pacing.pace(work, hours))}
    for name in ("Tern crew", "Heron crew"):
        Crew.objects.get_or_create(name=name, defaults={"hours_a_day": 14})
    business = Business.objects.get()
    monday = date.fromordinal(today.toordinal() - today.weekday())
    horizon = Horizon(monday, WEEKS)
    found = []
    results["whole_s"] = seconds(lambda: found.append(plan(horizon, today=today, business=business)))
    results["households"] = float(len(found[0].book.households))
    results["reminders"] = float((found[0].pace.week >= 0).sum())
    return results
