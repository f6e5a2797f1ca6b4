"""What keeping one deck up costs a year against neglect, the best month to recoat, and the jobs of the coming years."""

from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from math import isfinite, log

import numpy as np
from django.db import connection

from clients.models import Business
from clients.places import climate
from reminders import forecast
from reminders.forecast.exposure import sun_on_deck
from reminders.forecasting import bridge
from reminders.forecasting.coats import NewestCoats, newest_coats
from reminders.models import Forecast

YEARS = 10  # how far the plan goes
PRICES_OF = timedelta(days=5 * 365)  # older prices say little about today's
ENOUGH_PRICES = 3  # jobs elsewhere before their middle price a m² is taken for this deck (judgement)
FEWEST_M2 = Decimal(1)

# For each kind of job: what was charged last on this deck, and the middle price a m² over all decks.
PRICES = """
SELECT j.kind, (array_agg(j.amount ORDER BY j.finished_on DESC, j.id DESC) FILTER (WHERE j.deck_id = %(deck)s))[1],
    percentile_cont(0.5) WITHIN GROUP (ORDER BY j.amount / d.area_m2), count(*)
FROM jobs_job j JOIN clients_deck d ON d.id = j.deck_id
WHERE j.kind IN ('recoat', 'strip') AND j.amount > 0 AND j.currency = %(currency)s AND j.finished_on > %(since)s
GROUP BY j.kind
"""


@dataclass(frozen=True)
class Price:
    """What a job on this deck costs, and whether that was charged here or comes from the other decks."""

    amount: Decimal
    is_own: bool


@dataclass(frozen=True)
class PlannedJob:
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
    """The best month and the yearly costs; `best_month` is None where waiting for the strip costs least."""

    best_month: date | None
    upkeep_a_year: Decimal
    neglect_a_year: Decimal
    strip_chance: float
    recoat: Price
    strip: Price
    currency: str
    jobs: list[PlannedJob]

    @property
    def saved_a_year(self) -> Decimal:
        return self.neglect_a_year - self.upkeep_a_year


def upkeep(row: Forecast, *, today: date, business: Business) -> Upkeep | None:
    """For the deck of a forecast; None while the prices of the two jobs are not known."""
    prices = prices_of(row, today=today, currency=business.currency)
    coats = newest_coats([row.deck_id], today=today)
    if "recoat" not in prices or "strip" not in prices or coats is None:
        return None
    recoat, strip = prices["recoat"], prices["strip"]
    best = forecast.best_recoat_age(log(row.median_months), row.log_sd, float(recoat.amount), float(strip.amount))
    jobs = planned(coats, best.months, recoat, strip, today, business) if isfinite(best.months) else []
    return Upkeep(
        best_month=best_month(coats, best.months, today, business) if isfinite(best.months) else None,
        upkeep_a_year=whole(best.upkeep_a_year), neglect_a_year=whole(best.neglect_a_year),
        strip_chance=best.strip_chance, recoat=recoat, strip=strip, currency=business.currency, jobs=jobs,
    )  # fmt: skip


def whole(amount: float) -> Decimal:
    """An estimate is not known to the cent."""
    return Decimal(round(amount))


def prices_of(row: Forecast, *, today: date, currency: str) -> dict[str, Price]:
    """By kind of job; a kind that was hardly ever priced is left out."""
    with connection.cursor() as cursor:
        cursor.execute(PRICES, {"deck": row.deck_id, "currency": currency, "since": today - PRICES_OF})
        found = cursor.fetchall()
    prices = {}
    for kind, own, middle, jobs in found:
        if own is not None:
            prices[kind] = Price(own, is_own=True)
        elif jobs >= ENOUGH_PRICES:
            prices[kind] = Price(whole(float(middle) * float(max(row.deck.area_m2, FEWEST_M2))), is_own=False)
    return prices


def clock_and_season(coats: NewestCoats, today: date, business: Business) -> tuple[forecast.Clock, np.ndarray]:
    """The deck's seasonal clock, and which months can be worked at its place and by this business."""
    core = bridge.core_coats(coats, today=today)
    clock = forecast.Clock(forecast.seasonal_rate(sun_on_deck(core), core.wet_days))
    normals = climate.normals([coats.latitude[0]], [coats.longitude[0]])
    season = [month in business.season_months for month in range(1, 13)]
    return clock, forecast.workable_months(normals.temperature_c[0], core.wet_days[0], season=season)


def first_day(month: forecast.Month) -> date:
    return date(month.year, month.of_year, 1)


def best_month(coats: NewestCoats, age: float, today: date, business: Business) -> date:
    """The workable month nearest to the best age, not before this one."""
    clock, workable = clock_and_season(coats, today, business)
    found = forecast.best_month(clock, laid_on(coats, today), age, workable, not_before=bridge.days(today))
    return first_day(found)


def laid_on(coats: NewestCoats, today: date) -> float:
    return bridge.days(min(coats.finished_on[0], today))


def planned(
    coats: NewestCoats, age: float, recoat: Price, strip: Price, today: date, business: Business
) -> list[PlannedJob]:
    """The jobs of the coming years, with a strip wherever the coats have grown too thick."""
    clock, workable = clock_and_season(coats, today, business)
    jobs = forecast.plan(
        clock, laid_on(coats, today), age, workable, today=bridge.days(today), years=YEARS,
        build=int(coats.build[0] or 0), coats_a_job=int(coats.coats[0] or 2),
        recoat_cost=float(recoat.amount), strip_cost=float(strip.amount),
    )  # fmt: skip
    return [
        PlannedJob(first_day(job.month), job.work, job.stripper_applications, job.build_after, whole(job.cost))
        for job in jobs
    ]
