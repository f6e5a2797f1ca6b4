"""Care plans begin and end: agreed with the client, ended by either side or as agreed; while one
runs nobody is reminded of its decks."""

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.db import IntegrityError, transaction
from django.dispatch import receiver

from clients import display
from clients.events import house_sold
from clients.messaging import outbox
from clients.messaging.actions.to_dos import add_to_do
from clients.messaging.models import ToDo
from clients.models import Business, Property, User
from jobs.actions.booking_messages import messages_about_booking
from jobs.actions.bookings import cancel_booking
from reminders.actions import stop_reminders
from reminders.models import CarePlan, Forecast, PlanVisit, Stop
from reminders.price_rule import term_end

EndedBy = CarePlan.EndedBy
ONE_PLAN = "care_plan_once_a_property"


class CarePlanError(ValueError):
    """It cannot be done like this; the message says why and what to do."""


@dataclass(frozen=True)
class CarePlanTerms:
    """What was agreed; `price` is of a visit in the first year, with tax."""

    starts_on: date
    price: Decimal
    raise_percent: Decimal
    notice_days: int
    term_months: int
    renews: bool
    wording: str
    evidence: str


@transaction.atomic
def start_care_plan(*, site: Property, terms: CarePlanTerms, by: User, now: datetime) -> CarePlan:
    """Keep what the client agreed to. Raises `CarePlanError` where one runs already."""
    if site.client.archived_at:
        raise CarePlanError("The client is archived. Bring them back first.")
    currency = Business.objects.get().currency
    try:
        with transaction.atomic():
            plan = CarePlan.objects.create(
                site=site, currency=currency, created_by=by, created_at=now, **vars(terms)
            )
    except IntegrityError as error:
        if ONE_PLAN not in str(error):
            raise
        raise CarePlanError("A care plan runs for this property. End it first.") from error
    stop_plan_reminders(plan, now=now)
    return plan


def stop_plan_reminders(plan: CarePlan, *, now: datetime) -> None:
    """Of the coats of its decks that are not stopped for good already."""
    coats = Forecast.objects.current().filter(deck__site=plan.site_id)
    stopped = Stop.objects.filter(deck__site=plan.site_id, until=None).values("job")
    decks = list(coats.exclude(job__in=stopped).values_list("deck_id", flat=True))
    if decks:
        stop_reminders(deck_ids=decks, why=Stop.Why.PLAN, by=None, now=now)


@transaction.atomic
def end_care_plan(*, plan: CarePlan, ended_by: EndedBy, now: datetime) -> bool:
    """From now on nothing is proposed. Of the client who ends it, the visit that they may still
    refuse is cancelled; others stand until somebody cancels them in the diary, where the client is
    told. False if it had ended before."""
    row = CarePlan.objects.select_for_update().get(pk=plan.pk)
    if row.ended_on:
        return False
    today = Business.objects.get().today(now)
    row.ended_on = today
    row.ended_by = ended_by
    row.save(update_fields=["ended_on", "ended_by"])
    Stop.objects.filter(deck__site=row.site_id, why=Stop.Why.PLAN).delete()
    if ended_by == EndedBy.CLIENT:
        for visit in row.visits.refusable(today):
            cancel_plan_visit(visit, "The client has ended the care plan.", now)
        tell_office(row, "has ended the care plan", f"plan-end/{row.pk}", now)
    return True


@receiver(house_sold)
def end_plan_of_sold_house(*, site_id: int, now: datetime, **_signal: object) -> None:
    """The new owner has agreed to nothing; whoever notes the sale knows of it."""
    for plan in CarePlan.objects.running().filter(site=site_id):
        end_care_plan(plan=plan, ended_by=EndedBy.US, now=now)


@transaction.atomic
def resume_care_plan(*, plan: CarePlan, now: datetime) -> bool:
    """The client takes the end back on the day of it; False if it is too late."""
    row = CarePlan.objects.select_for_update().get(pk=plan.pk)
    today = Business.objects.get().today(now)
    runs_already = CarePlan.objects.running().filter(site=row.site_id).exists()
    if row.ended_by != EndedBy.CLIENT or row.ended_on != today or runs_already:
        return False
    row.ended_on = None
    row.ended_by = ""
    row.save(update_fields=["ended_on", "ended_by"])
    stop_plan_reminders(row, now=now)
    ToDo.objects.open().filter(key=f"plan-end/{row.pk}").update(done_at=now)
    return True


def cancel_plan_visit(visit: PlanVisit, why: str, now: datetime) -> None:
    """The client caused it and hears nothing; what has not left about it is stopped."""
    visit.refused_at = now
    visit.save(update_fields=["refused_at"])
    booking = cancel_booking(booking=visit.booking, why=why, by=None, now=now, notify_client=False)
    waiting = messages_about_booking(booking).open()
    outbox.cancel_unsent(messages=waiting, why=why, now=now, by=None)


@transaction.atomic
def refuse_plan_visit(*, visit: PlanVisit, now: datetime) -> bool:
    """The client says no to this week: another is looked for. False if they had said so. Raises
    `CarePlanError` where the last day for it is over."""
    row = PlanVisit.objects.select_for_update().get(pk=visit.pk)
    if row.refused_at:
        return False
    today = Business.objects.get().today(now)
    if not PlanVisit.objects.refusable(today).filter(pk=row.pk).exists():
        raise CarePlanError("too late")
    cancel_plan_visit(row, "Care plan: the client said no to this week.", now)
    day = display.format_day(row.booking.first_on)
    tell_office(row.plan, f"said no to {day}; another week is looked for", f"plan-no/{row.pk}", now)
    return True


def tell_office(plan: CarePlan, words: str, key: str, now: datetime) -> None:
    client = plan.site.client
    matter = ToDo(
        kind=ToDo.Kind.ANSWER,
        key=key,
        client=client,
        words=f"{client.name} {words}.",
        url=f"/clients/property/{plan.site_id}/plan/",
    )
    add_to_do(matter=matter, now=now)


def end_plans_at_term(*, today: date, now: datetime) -> int:
    """Those that were agreed for their term alone; how many."""
    over = [
        plan
        for plan in CarePlan.objects.running().filter(renews=False)
        if term_end(plan.starts_on, plan.term_months) <= today
    ]
    return sum(end_care_plan(plan=plan, ended_by=EndedBy.TERM, now=now) for plan in over)
