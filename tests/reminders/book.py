"""A simulated book: decks whose coats wear at a pace that the test chooses, visited once a year,
written as rows."""

from datetime import date, timedelta

import numpy as np

from clients.models import Deck
from jobs.models import CoatApplied, Job, Visit
from reminders import forecast
from reminders.forecasting import bridge
from reminders.forecasting.bridge import read_newest_coats
from tests.factories import ClientFactory, DeckFactory, ProductFactory, PropertyFactory

FIRST = date(2021, 5, 1)
LAST = date(2026, 10, 1)


def simulated_book(
    *,
    decks: int,
    months: float,
    spread: float = 0.25,
    seed: int = 20261125,
    grade_noise: float | None = None,
) -> list[Deck]:
    """Decks of one place, coated in spring;
    the life of each coat is log-normal with that median in clock months.

    Every deck is visited about once a year; a coat found worn is renewed a week later, a sound one
    is left. With `grade_noise` grades follow the wear (3 where the age is the life, by a power of
    1.3) and scatter so much; else they are 1 and 4.
    """
    place = PropertyFactory(client=ClientFactory())
    product = ProductFactory()
    made: list[Deck] = [DeckFactory(site=place, label=f"Deck {n}") for n in range(decks)]
    rng = np.random.default_rng(seed)
    clock = clock_of(made[0], product)
    jobs: list[Job] = []
    visits: list[Visit] = []
    for deck in made:
        middle = np.log(months) + rng.normal(0, 0.1)
        history_of(deck, (clock, rng, middle, spread, grade_noise), jobs, visits)
    Job.objects.bulk_create(jobs)
    CoatApplied.objects.bulk_create(
        CoatApplied(job=job, product=product, coats=2, colour="Slate") for job in jobs
    )
    Visit.objects.bulk_create(visits)
    return made


def clock_of(deck: Deck, product: object) -> forecast.SeasonalClock:
    """The seasonal clock of the place, as the bridge calculates it from a coat that is taken away
    again."""
    job = Job.objects.create(deck=deck, kind="recoat", finished_on=FIRST)
    sun, wet_days = bridge.monthly_climate(read_newest_coats([deck.pk], today=LAST))
    job.delete()
    return forecast.SeasonalClock(forecast.seasonal_rate(sun, wet_days))


def history_of(deck, world, jobs, visits) -> None:
    clock, rng, middle, spread, noise = world
    day = FIRST + timedelta(days=int(rng.integers(0, 400)))
    jobs.append(Job(deck=deck, kind="strip", finished_on=day))
    months = rng.lognormal(middle, spread)
    visit = day
    while (visit := visit + timedelta(days=int(rng.integers(250, 460)))) < LAST:
        grade = grade_found(clock, day, visit, months)
        if noise is not None:
            grade = scattered_grade(clock, day, visit, months, noise * rng.normal())
        visits.append(
            Visit(deck=deck, visited_on=visit, reason="routine", overall=grade, found_by="Lee")
        )
        if grade >= 3:
            day = visit + timedelta(days=7)
            jobs.append(Job(deck=deck, kind="recoat", finished_on=day))
            months = rng.lognormal(middle, spread)


def grade_found(clock, coated: date, visit: date, months: float) -> int:
    return 4 if bridge.epoch_days(visit) >= worn_on(clock, coated, months) else 1


def scattered_grade(clock, coated: date, visit: date, months: float, error: float) -> int:
    days = [bridge.epoch_days(coated)], [bridge.epoch_days(visit)]
    share = clock.months_between(*days).item() / months
    return int(np.clip(np.floor(3 * share**1.3 + error), 0, 5))


def worn_on(clock: forecast.SeasonalClock, day: date, months: float) -> float:
    return float(clock.day_after([bridge.epoch_days(day)], [months])[0])
