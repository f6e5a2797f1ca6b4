"""Where each deck of the book stands between its coat and the next visit, said by the database for
the whole book at once: the rule of the planning (`reminders.steps`) as one expression."""

from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache, reduce
from operator import or_
from typing import Any, NamedTuple

from django.db import connection
from django.db.models import (
    BooleanField,
    Case,
    CharField,
    Count,
    DateTimeField,
    ExpressionWrapper,
    F,
    Q,
    QuerySet,
    Value,
    When,
)
from django.db.models.expressions import RawSQL
from django.db.models.functions import Cast

from clients.messaging.models.message import State
from jobs.models import Booking, Offer, OfferScope
from reminders.models import Forecast, ForecastQuerySet, PacedDeck, Reminder, ReminderStep, Stop
from reminders.months import month_of, shift_months
from reminders.steps import PENDING_STATES, UNREACHED_STATES, is_anchored_before

# The tabs of the page in their order; QUIET decks stand under “All” alone.
DECK_TABS = {
    "remind": "To remind",
    "reminded": "No answer yet",
    "offered": "Offer open",
    "booked": "Booked",
    "later": "Not this year",
    "all": "All",
}
QUIET = "quiet"


class StepDay(NamedTuple):
    """When a step of the sequence is due, and by which ways it goes."""

    number: int
    anchor: str
    offset_days: int
    channels: tuple[str, ...]


@dataclass(frozen=True)
class StatusRule:
    """What the status of a deck is counted from: the day, and the steps in use, in order."""

    today: date
    steps: tuple[StepDay, ...]

    @property
    def until(self) -> date:
        """A word that is due before this day is one to say now: those of this month."""
        return shift_months(month_of(self.today), 1)


def with_deck_status(rows: ForecastQuerySet, rule: StatusRule) -> ForecastQuerySet:
    """With `status`: one of DECK_TABS, or QUIET where nothing is to be done yet."""
    sql, values = status_sql(rule)
    return rows.annotate(status=RawSQL(sql, values, output_field=CharField()))  # noqa: S611 - Django's own


@lru_cache(maxsize=4)
def status_sql(rule: StatusRule) -> tuple[str, tuple[Any, ...]]:
    """The rule as Django writes it for a row of forecasts, written once a day and process: a page
    asks twice, and writing it took a sixth of all its Python."""
    return sql_of_row(status_by_rule(rule))


def sql_of_row(expression: Any) -> tuple[str, tuple[Any, ...]]:
    query = Forecast.objects.annotate(written=expression).query
    sql, values = query.get_compiler(connection=connection).compile(query.annotations["written"])
    return sql, tuple(values)


def status_by_rule(rule: StatusRule) -> Case:
    conditions = [
        When(deck__in=booked_deck_ids(), then=Value("booked")),
        When(deck__in=open_offer_deck_ids(rule), then=Value("offered")),
        When(deck__in=accepted_deck_ids(), then=Value("booked")),
        When(job__in=stopped_job_ids(rule), then=Value("later")),
        When(job__in=job_ids_in_states(State.UNCONFIRMED, *PENDING_STATES), then=Value("reminded")),
        When(job__in=Reminder.objects.order_by().values("job"), then=next_word(rule)),
        *first_word_conditions(rule),
    ]
    return Case(*conditions, default=Value(QUIET), output_field=CharField())


def booked_deck_ids() -> QuerySet[Any, Any]:
    """Decks with a visit that is booked or held, after the coat that is on them now."""
    living = Booking.objects.filter(
        state__in=[Booking.State.BOOKED, Booking.State.HELD],
        first_on__gt=F("decks__forecast__job__finished_on"),
    )
    return living.order_by().values("decks")


def open_offer_deck_ids(rule: StatusRule) -> QuerySet[Any, Any]:
    found = OfferScope.objects.filter(
        offer__state=Offer.State.OPEN, offer__valid_until__gte=rule.today
    )
    return found.order_by().values("deck")


def accepted_deck_ids() -> QuerySet[Any, Any]:
    """Decks of an offer that was accepted after their coat was laid."""
    laid = Cast(F("deck__forecast__job__finished_on"), DateTimeField())
    found = OfferScope.objects.filter(
        offer__state=Offer.State.ACCEPTED, offer__answered_at__gte=laid
    )
    return found.order_by().values("deck")


def stopped_job_ids(rule: StatusRule) -> QuerySet[Any, Any]:
    in_force = Q(until=None) | Q(until__gte=rule.today)
    return Stop.objects.filter(in_force).order_by().values("job")


def job_ids_in_states(*states: str) -> QuerySet[Any, Any]:
    return Reminder.objects.filter(message__state__in=states).order_by().values("job")


def first_word_conditions(rule: StatusRule) -> list[When]:
    """Where nothing has been said the pacing plan goes before the day of the first step in use."""
    return [
        When(job__in=paced_soon(rule).values("job"), then=Value("remind")),
        When(job__in=paced_decks(rule).values("job"), then=Value(QUIET)),
        *(When(step_is_due(step, rule), then=Value("remind")) for step in rule.steps[:1]),
    ]


def paced_decks(rule: StatusRule) -> QuerySet[PacedDeck]:
    """Of the plan in force."""
    return PacedDeck.objects.filter(Q(until=None) | Q(until__gte=rule.today)).order_by()


def paced_soon(rule: StatusRule) -> QuerySet[PacedDeck]:
    return paced_decks(rule).filter(week__lt=rule.until)


def next_word(rule: StatusRule) -> Case:
    """After a word, the lowest step in use that was not said yet, or that reached nobody,
    decides."""
    decisions = [
        When(
            ~Q(job__in=job_ids_past_step(step.number)),
            then=Case(
                When(step_is_due(step, rule), then=Value("remind")), default=Value("reminded")
            ),
        )
        for step in rule.steps
    ]
    return Case(*decisions, default=Value("reminded"), output_field=CharField())


def step_is_due(step: StepDay, rule: StatusRule) -> Q:
    return is_anchored_before(step.anchor, rule.until - timedelta(days=step.offset_days))


def job_ids_past_step(number: int) -> QuerySet[Any, Any]:
    """Coats for which this step is over: it was said, or a later one was."""
    said = Q(step=number) & ~Q(message__state__in=UNREACHED_STATES)
    return Reminder.objects.filter(said | Q(step__gt=number)).order_by().values("job")


def count_decks_by_status(rows: ForecastQuerySet, rule: StatusRule) -> QuerySet[Any, Any]:
    grouped = with_deck_status(rows, rule).order_by().values_list("status")  # type: ignore[misc] # annotated
    return grouped.annotate(decks=Count("*"))  # the number of a row stands in no index


def decks_in_tab(rows: ForecastQuerySet, rule: StatusRule, tab: str) -> ForecastQuerySet:
    """With their `status`. Those that may stand there are found by the least that tells, so that
    the whole rule is asked of these alone."""
    if tab == "all":
        return with_deck_status(rows, rule)
    sql, values = may_stand_sql(tab, rule)
    possible = RawSQL(sql, values, output_field=BooleanField())  # noqa: S611 - Django's own
    found = with_deck_status(rows.filter(possible), rule)
    return found.filter(status=tab).annotate(status=Value(tab))  # type: ignore[misc] # annotated


@lru_cache(maxsize=4 * len(DECK_TABS))
def may_stand_sql(tab: str, rule: StatusRule) -> tuple[str, tuple[Any, ...]]:
    """As `status_sql`."""
    return sql_of_row(ExpressionWrapper(may_stand_in(tab, rule), BooleanField()))


def may_stand_in(tab: str, rule: StatusRule) -> Q:
    """What each deck of a tab is, as the rule has it; others may be it too."""
    if tab == "booked":
        return Q(deck__in=booked_deck_ids()) | Q(deck__in=accepted_deck_ids())
    if tab == "offered":
        return Q(deck__in=open_offer_deck_ids(rule))
    if tab == "later":
        return Q(job__in=stopped_job_ids(rule))
    if tab == "reminded":
        return Q(job__in=Reminder.objects.order_by().values("job"))
    due = [step_is_due(step, rule) for step in first_steps(rule)]
    return reduce(or_, [*due, Q(job__in=paced_soon(rule).values("job"))])


def first_steps(rule: StatusRule) -> list[StepDay]:
    """Of each day that steps are counted from, the one that comes first; the others come after."""
    found: dict[str, StepDay] = {}
    for step in sorted(rule.steps, key=lambda step: step.offset_days):
        found.setdefault(step.anchor, step)
    return list(found.values())


def current_rule(today: date) -> StatusRule:
    steps = [step for step in ReminderStep.objects.sequence() if step.is_on]
    return StatusRule(
        today,
        tuple(
            StepDay(step.number, step.anchor, step.offset_days, tuple(step.channels))
            for step in steps
        ),
    )
