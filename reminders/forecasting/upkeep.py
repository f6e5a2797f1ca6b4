"""What keeping one deck up costs a year against neglect, the best month to recoat, and the jobs of
the coming years."""

from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from math import isfinite, log

import numpy as np
from django.db import connection

from clients.models import Business
from clients.places import climate
from reminders import forecast
from reminders.forecasting import bridge
from reminders.forecasting.bridge import NewestCoats, read_newest_coats
from reminders.models import Forecast

PLANNED_YEARS = 10  # how far the plan goes
MAX_PRICE_AGE = timedelta(days=5 * 365)  # older prices say little about today's
# jobs elsewhere before their middle price a m² is taken for this deck (judgement)
MIN_PRICED_JOBS = 3
MIN_AREA_M2 = Decimal(1)

# For each kind of job: what was charged last on this deck, and the middle price a m² over all
# decks.
PRICES_SQL = """
SELECT j.kind, (array_agg(j.amount ORDER BY j.finished_on DESC, j.id DESC)
    FILTER (WHERE j.deck_id = %(deck)s))[1],
    percentile_cont(0.5) WITHIN GROUP (ORDER BY j.amount / d.area_m2), count(d.area_m2)
FROM jobs_job j JOIN clients_deck d ON d.id = j.deck_id
WHERE j.kind IN ('recoat', 'strip') AND j.amount > 0 AND j.currency = %(currency)s
    AND j.finished_on > %(since)s
GROUP BY j.kind
"""


@dataclass(frozen=True)
class JobPrice:
    """What a job on this deck costs, and whether that was charged here or comes from the other
    decks."""

    amount: Decimal
    is_own: bool


@dataclass(frozen=True)
class UpkeepJob:
    """A job of the coming years at today's prices."""

    month: date
    work: str
    stripper_applications: int
    coats_after: int
    cost: Decimal

    @property
    def words(self) -> str:
        if self.work == "recoat":
            return "Clean and recoat"
        return f"Strip and seal, {self.stripper_applications} full applications of stripper"


@dataclass(frozen=True)
class Upkeep:
    """The best month and the yearly costs;
    `best_month` is None where waiting for the strip costs least."""

    best_month: date | None
    upkeep_a_year: Decimal
    neglect_a_year: Decimal
    strip_chance: float
    recoat: JobPrice
    strip: JobPrice
    currency: str
    jobs: list[UpkeepJob]


def deck_upkeep(row: Forecast, *, today: date, business: Business) -> Upkeep | None:
    """For the deck of a forecast; None while the prices of the two jobs are not known."""
    prices = deck_job_prices(row, today=today, currency=business.currency)
    coats = read_newest_coats([row.deck_id], today=today)
    if "recoat" not in prices or "strip" not in prices or coats is None:
        return None
    recoat = prices["recoat"]
    strip = prices["strip"]
    best = forecast.optimal_recoat_age(
        log(row.median_months), row.log_sd, float(recoat.amount), float(strip.amount)
    )
    jobs = (
        upkeep_jobs(coats, best.months, recoat, strip, today, business)
        if isfinite(best.months)
        else []
    )
    return Upkeep(
        best_month=(
            best_recoat_month(coats, best.months, today, business)
            if isfinite(best.months)
            else None
        ),
        upkeep_a_year=whole_amount(best.upkeep_a_year),
        neglect_a_year=whole_amount(best.neglect_a_year),
        strip_chance=best.strip_chance,
        recoat=recoat,
        strip=strip,
        currency=business.currency,
        jobs=jobs,
    )


def whole_amount(amount: float) -> Decimal:
    """An estimate is not known to the cent."""
    return Decimal(round(amount))


def deck_job_prices(row: Forecast, *, today: date, currency: str) -> dict[str, JobPrice]:
    """By kind of job; a kind that was hardly ever priced is left out, and so is one never charged
    here while nobody knows the size of this deck."""
    with connection.cursor() as cursor:
        cursor.execute(
            PRICES_SQL, {"deck": row.deck_id, "currency": currency, "since": today - MAX_PRICE_AGE}
        )
        found = cursor.fetchall()
    prices = {}
    for kind, own, middle, jobs in found:
        if own is not None:
            prices[kind] = JobPrice(own, is_own=True)
        elif jobs >= MIN_PRICED_JOBS and row.deck.area_m2 is not None:
            area = float(max(row.deck.area_m2, MIN_AREA_M2))
            prices[kind] = JobPrice(whole_amount(float(middle) * area), is_own=False)
    return prices


def seasonal_clock_and_months(
    coats: NewestCoats, today: date, business: Business
) -> tuple[forecast.SeasonalClock, np.ndarray]:
    """The deck's seasonal clock, and which months can be worked at its place and by this
    business."""
    core = bridge.core_coats(coats, today=today)
    rate = forecast.seasonal_rate(forecast.sun_on_deck(core), core.wet_days)
    clock = forecast.SeasonalClock(rate)
    normals = climate.normals([coats.latitude[0]], [coats.longitude[0]])
    season = [month in business.season_months for month in range(1, 13)]
    return clock, forecast.workable_months(
        normals.temperature_c[0], core.wet_days[0], season=season
    )


def first_day_of_month(month: forecast.CalendarMonth) -> date:
    return date(month.year, month.month_of_year, 1)


def best_recoat_month(coats: NewestCoats, age: float, today: date, business: Business) -> date:
    """The workable month nearest to the best age, not before this one."""
    clock, workable = seasonal_clock_and_months(coats, today, business)
    found = forecast.best_workable_month(
        clock, coating_day(coats, today), age, workable, not_before=bridge.epoch_days(today)
    )
    return first_day_of_month(found)


def coating_day(coats: NewestCoats, today: date) -> float:
    """The middle of the days on which it may have been."""
    return float(bridge.middle_days(coats, today)[0][0])


def upkeep_jobs(
    coats: NewestCoats,
    age: float,
    recoat: JobPrice,
    strip: JobPrice,
    today: date,
    business: Business,
) -> list[UpkeepJob]:
    """The jobs of the coming years, with a strip wherever the coats have grown too thick."""
    clock, workable = seasonal_clock_and_months(coats, today, business)
    rule = forecast.UpkeepRule(
        age_months=age,
        workable=workable,
        coats_a_job=int(coats.coats[0] or 2),
        recoat_cost=float(recoat.amount),
        strip_cost=float(strip.amount),
    )
    jobs = forecast.plan_coating_jobs(
        clock,
        rule,
        coated_on=coating_day(coats, today),
        build=int(coats.build[0] or 0),
        today=bridge.epoch_days(today),
        years=PLANNED_YEARS,
    )
    return [
        UpkeepJob(
            first_day_of_month(job.month),
            job.work,
            job.stripper_applications,
            job.build_after,
            whole_amount(job.cost),
        )
        for job in jobs
    ]
