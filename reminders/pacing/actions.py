"""The actions of pacing: make a plan and keep it, put a household into a week by hand, and give it
back."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction
from django.db.models import Max

from clients.models import Business
from jobs import diary
from reminders.models import PacedDeck
from reminders.pacing import core
from reminders.pacing.inputs import Horizon, PacingError, PacingInputs, gather_pacing_inputs
from reminders.pacing.savings import open_forecasts


@dataclass(frozen=True)
class PacingPlan:
    """A plan with the book it was made from."""

    inputs: PacingInputs
    pace: core.PacingSolution


def compute_pacing_plan(horizon: Horizon, *, today: date, business: Business) -> PacingPlan:
    """Only calculated; nothing is kept."""
    found = gather_pacing_inputs(horizon, today=today, business=business)
    return PacingPlan(
        found,
        core.solve_pacing(
            found.work, found.hours, lead=found.response_rates.lead, rules=found.rules
        ),
    )


@transaction.atomic
def save_pacing_plan(*, horizon: Horizon, now: datetime) -> PacingPlan:
    """Calculate and keep; it replaces the plan before, but for weeks that a person chose."""
    business = Business.objects.select_for_update().get()
    today = business.today(now)
    clear_pacing_plan(today)
    made = compute_pacing_plan(horizon, today=today, business=business)
    PacedDeck.objects.bulk_create(
        PacedDeck(
            deck_id=deck.deck_id, job_id=deck.job_id, week=week, until=horizon.last, made_at=now
        )
        for household, week in zip(made.inputs.households, household_weeks(made), strict=True)
        for deck in household.decks
        if made.inputs.work.fixed[made.inputs.row_by_property[household.site_id]]
        == core.FREE_CHOICE
    )
    return made


def clear_pacing_plan(today: date) -> None:
    """All but what a person chose for a coat that may still be reminded about, in a week that is
    not over."""
    rows = PacedDeck.objects.all()
    open_jobs = open_forecasts(today=today).values("job_id")
    kept = rows.filter(is_by_hand=True, job__in=open_jobs).exclude(week__lt=diary.monday_of(today))
    rows.exclude(pk__in=kept.values("pk")).delete()


def household_weeks(made: PacingPlan) -> list[date | None]:
    """The Monday of each household, None for not in this plan."""
    mondays = made.inputs.horizon.mondays
    return [mondays[week] if week >= 0 else None for week in made.pace.week.tolist()]


@transaction.atomic
def choose_week(*, site_id: int, week: date | None, now: datetime) -> int:
    """Put all open decks of a property into a week, or leave them out of every plan;
    returns how many there are."""
    business = Business.objects.select_for_update().get()
    today = business.today(now)
    if week is not None and week < diary.monday_of(today):
        raise PacingError("This week is over. Choose the present week or a later one.")
    decks = require_open_decks(site_id, today)
    for deck_id, job_id in decks:
        chosen = {
            "deck_id": deck_id,
            "week": week,
            "is_by_hand": True,
            "until": None,
            "made_at": now,
        }
        PacedDeck.objects.update_or_create(job_id=job_id, defaults=chosen)
    return len(decks)


@transaction.atomic
def clear_chosen_week(*, site_id: int, now: datetime) -> int:
    """Take back what a person chose; the next plan decides. Returns how many decks there are."""
    Business.objects.select_for_update().get()
    rows = PacedDeck.objects.filter(deck__site=site_id, is_by_hand=True)
    until = PacedDeck.objects.aggregate(until=Max("until"))["until"]
    return rows.update(is_by_hand=False, until=until, made_at=now) if until else rows.delete()[0]


def delete_old_plans(*, today: date) -> int:
    """Each night: what a plan said of weeks that are over binds nobody.
    Returns of how many coats."""
    return PacedDeck.objects.filter(is_by_hand=False, until__lt=today).delete()[0]


def require_open_decks(site_id: int, today: date) -> Sequence[tuple[int, int]]:
    found = list(
        open_forecasts(today=today).filter(deck__site=site_id).values_list("deck_id", "job_id")
    )
    if not found:
        raise PacingError(
            "No deck here can be reminded now: it is booked, offered, stopped, or was reminded"
            " already."
        )
    return found
