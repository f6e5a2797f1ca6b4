"""What keeping one deck up costs a year against neglect, the best month to recoat, and the jobs of
the coming years."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import cached_property
from math import isfinite, log

from clients.models import Business, Surface
from jobs.forecast_summary import WorkAdvice
from jobs.models import Job
from jobs.scope import OutlineFacts, read_outline_facts
from reminders import forecast
from reminders.forecasting import bridge
from reminders.forecasting.bridge import NewestCoats, read_newest_coats
from reminders.forecasting.check_worth import LookWorth, look_worth
from reminders.forecasting.price_ratio import MAX_PRICE_AGE, kept_middle_prices
from reminders.models import Forecast

PLANNED_YEARS = 10  # how far the plan goes
MIN_AREA_M2 = Decimal(1)
PRICED_KINDS = (Job.Kind.RECOAT, Job.Kind.STRIP)


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
    """What a year in which the finish protects costs, kept up at the best age and left to itself;
    `jobs` is empty where waiting for the strip costs least. `advice` is for the first of them."""

    upkeep_a_year: Decimal
    neglect_a_year: Decimal
    recoat: JobPrice
    strip: JobPrice
    currency: str
    jobs: list[UpkeepJob]
    advice: WorkAdvice
    look: LookWorth

    @property
    def our_look(self) -> Decimal:
        """What one look by us is worth."""
        return whole_amount(self.look.ours * float(self.recoat.amount))

    @property
    def clients_look(self) -> Decimal:
        """What the client's own answers are worth."""
        return whole_amount(self.look.clients * float(self.recoat.amount))

    @property
    def best_month(self) -> date | None:
        """Of the first job."""
        return self.jobs[0].month if self.jobs else None


def deck_upkeep(
    row: Forecast,
    *,
    today: date,
    business: Business,
    coats: NewestCoats | None = None,
    work: OutlineFacts | None = None,
) -> Upkeep | None:
    """For the deck of a forecast; None while the prices of the two jobs are not known. `coats` is
    the newest coat of this deck alone, `work` what the rules of the work ask of its past; both are
    read where they are not given. It is about the boards: None where they have no coat.

    Its first job comes in the month of the forecast's due day, or in the next one that can be
    worked; the others follow at the best age.
    """
    prices = deck_job_prices(row, today=today, currency=business.currency)
    if "recoat" not in prices or "strip" not in prices:
        return None
    coats = coats or read_newest_coats([row.deck_id], today=today)
    if coats is None:
        return None
    recoat = prices["recoat"]
    strip = prices["strip"]
    core = bridge.core_coats(coats, today=today)
    median, log_sd = boards_life(row, core, today)
    best = forecast.optimal_recoat_age(
        log(median),
        log_sd,
        float(recoat.amount),
        float(strip.amount),
        forecast.FILM_WEAR if core.is_film[0] else forecast.OIL_WEAR,
        forecast.recoats_between_strips(coats_a_job(coats)),
    )
    facts = work or read_outline_facts([row.deck_id])
    plan = UpkeepPlanner(row, coats, core, facts, today)
    return Upkeep(
        upkeep_a_year=whole_amount(best.upkeep_a_year),
        neglect_a_year=whole_amount(best.neglect_a_year),
        recoat=recoat,
        strip=strip,
        currency=business.currency,
        jobs=plan.jobs(best.months, recoat, strip) if isfinite(best.months) else [],
        advice=plan.advice,
        look=look_worth(core, today=today, strip_price=float(strip.amount / recoat.amount)),
    )


def boards_life(row: Forecast, core: forecast.Coats, today: date) -> tuple[float, float]:
    """Median life [clock months] and spread of the coat on the boards, as stored where the
    forecast tells of them."""
    if row.surface == Surface.BOARDS:
        return row.median_months, row.log_sd
    found = forecast.predict(core, bridge.active_posterior(), bridge.epoch_days(today))
    return float(found.median_months[0]), float(found.log_sd[0])


def coats_a_job(coats: NewestCoats) -> int:
    """As many as the newest job put on; two where nobody counted."""
    return int(coats.coats[0] or 2)


def whole_amount(amount: float) -> Decimal:
    """An estimate is not known to the cent."""
    return Decimal(round(amount))


def deck_job_prices(row: Forecast, *, today: date, currency: str) -> dict[str, JobPrice]:
    """By kind of job: what was charged last on this deck, else the middle price of the other decks,
    at most an hour old. A kind that was hardly ever priced is left out, and so is one never charged
    here while nobody knows the size of this deck."""
    prices: dict[str, JobPrice] = {}
    for job in row.deck.jobs.all():  # the newest first
        is_recent = job.finished_on > today - MAX_PRICE_AGE
        if job.starts_a_coat and job.amount and job.currency == currency and is_recent:
            prices.setdefault(job.kind, JobPrice(job.amount, is_own=True))
    if len(prices) == len(PRICED_KINDS) or row.deck.area_m2 is None:
        return prices
    area = float(max(row.deck.area_m2, MIN_AREA_M2))
    for kind, middle in kept_middle_prices(today=today, currency=currency).items():
        prices.setdefault(kind, JobPrice(whole_amount(middle * area), is_own=False))
    return prices


@dataclass
class UpkeepPlanner:
    """The jobs of the coming years on one deck."""

    row: Forecast
    coats: NewestCoats
    core: forecast.Coats
    work: OutlineFacts
    today: date

    @property
    def first_on(self) -> date:
        """The due day, or today where it was missed."""
        return max(self.row.boards_due_on or self.row.due_on, self.today)

    @cached_property
    def advice(self) -> WorkAdvice:
        deck = self.row.deck_id
        return self.work.advice({deck: self.row.advice(self.first_on)})[deck]

    def jobs(self, age: float, recoat: JobPrice, strip: JobPrice) -> list[UpkeepJob]:
        """With a strip wherever the coats have grown too thick, and first where one is due now."""
        rule = forecast.UpkeepRule(
            age_months=age,
            workable=bridge.workable_months_of_coats(self.coats, self.core)[0],
            coats_a_job=coats_a_job(self.coats),
            recoat_cost=float(recoat.amount),
            strip_cost=float(strip.amount),
        )
        jobs = forecast.plan_coating_jobs(
            forecast.deck_clock(self.core),
            rule,
            first_on=bridge.epoch_days(self.first_on),
            until=bridge.epoch_days(self.today) + 365.25 * PLANNED_YEARS,
            build=int(self.coats.build[0] or 0),
            is_strip_first=self.advice == WorkAdvice.STRIP,
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


def first_day_of_month(month: forecast.CalendarMonth) -> date:
    return date(month.year, month.month_of_year, 1)
