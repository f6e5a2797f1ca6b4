"""Each night: the weeks of care plans. Where a deck is ready the visit goes into the first week
with room, so late that the client can still say no, and they are told."""

import logging
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal

from django.db import transaction

from clients import display
from clients.messaging.actions.to_dos import add_to_do
from clients.messaging.models import ToDo
from clients.models import Business, Deck
from jobs import diary
from jobs.actions.bookings import BookingError, NewBooking, NoRoomError, book_work
from reminders.care_plans.agreeing import end_plans_at_term, stop_plan_reminders
from reminders.care_plans.telling import tell_of_plan_visit
from reminders.models import CarePlan, Forecast, PlanVisit
from reminders.months import last_day_of_season
from reminders.pacing import labour_times
from reminders.price_rule import term_end

logger = logging.getLogger(__name__)
PROPOSED_AHEAD = timedelta(weeks=6)  # beyond the notice; nobody is booked earlier (judgement)
READY_WITH = timedelta(days=60)  # decks ready so soon after the first go with it (judgement)
WEEKS_LOOKED_AT = 20  # the longest notice and `PROPOSED_AHEAD`
MIN_HOURS = Decimal(1)


@dataclass(frozen=True)
class ProposedWeek:
    """Decks that are ready, their hours, and the Monday of a week with room for them."""

    decks: Sequence[Deck]
    hours: Decimal
    monday: date


def propose_plan_visits(*, now: datetime) -> int:
    """For every plan that runs; how many visits. One that fails keeps no other from its turn."""
    business = Business.objects.get()
    today = business.today(now)
    end_plans_at_term(today=today, now=now)
    made = 0
    for plan in CarePlan.objects.running().filter(starts_on__lte=today).order_by("pk"):
        stop_plan_reminders(plan, now=now)
        try:
            made += propose_plan_visit(plan=plan, business=business, now=now) is not None
        except (BookingError, NoRoomError) as problem:
            logger.warning("Care plan %s has no visit: %s", plan.pk, problem)
            ask_for_hand(plan, str(problem), today, now)
    return made


@transaction.atomic
def propose_plan_visit(*, plan: CarePlan, business: Business, now: datetime) -> PlanVisit | None:
    """Book the next visit and tell the client; None while nothing is ready, or it has its visit."""
    row = CarePlan.objects.select_for_update(of=("self",)).with_place().get(pk=plan.pk)
    if row.ended_on or row.site.client.archived_at or row.visits.ahead().exists():
        return None
    today = business.today(now)
    week = find_plan_week(row, business, today)
    if week is None or has_visit(row, week.monday, business):
        return None
    booking = book_work(
        work=NewBooking(site=row.site, decks=week.decks, hours=week.hours, week=week.monday),
        by=None,
        now=now,
        notify_client=False,
    )
    visit = PlanVisit.objects.create(
        plan=row,
        season_ends_on=last_day_of_season(week.monday, business.season_months),
        booking=booking,
        price=row.price_on_day(booking.first_on),
        say_no_by=today + timedelta(days=row.notice_days),
        created_at=now,
    )
    tell_of_plan_visit(visit=visit, business=business, now=now)
    return visit


def find_plan_week(plan: CarePlan, business: Business, today: date) -> ProposedWeek | None:
    """None while there is time. Raises `NoRoomError` where a deck is ready and every week that it
    could have is full."""
    ready = ready_decks(plan, today)
    if not ready:
        return None
    decks = list(Deck.objects.filter(pk__in=ready).select_related("site").order_by("pk"))
    times = labour_times({deck.pk: deck.area_m2 for deck in decks}, today=today)
    hours = max(MIN_HOURS, Decimal(str(round(times.visit_hours(list(ready)), 2))))
    notice = today + timedelta(days=plan.notice_days)
    first = max(notice + timedelta(days=1), min(ready.values()), after_refusals(plan, today))
    weeks = [
        week
        for week in diary.week_capacities(
            hours=hours, site=plan.site, today=today, weeks=WEEKS_LOOKED_AT
        )
        if first <= week.monday <= notice + PROPOSED_AHEAD and not is_past_term(plan, week.monday)
    ]
    if with_room := next((week for week in weeks if week.has_room), None):
        return ProposedWeek(decks, hours, with_room.monday)
    is_waiting = min(ready.values()) <= notice
    if weeks and is_waiting and not has_visit(plan, weeks[0].monday, business):
        raise NoRoomError(f"None has room until that of {display.format_day(weeks[-1].monday)}.")
    return None


def has_visit(plan: CarePlan, day: date, business: Business) -> bool:
    """In the season of a day; one is all that there is."""
    season = last_day_of_season(day, business.season_months)
    return plan.visits.standing().filter(season_ends_on=season).exists()


def is_past_term(plan: CarePlan, day: date) -> bool:
    return not plan.renews and day >= term_end(plan.starts_on, plan.term_months)


def ready_decks(plan: CarePlan, today: date) -> dict[int, date]:
    """Deck → the day its window opens, of those that will be ready with the first of them, if that
    is near enough; none that is booked otherwise."""
    rows = Forecast.objects.current().unbooked().filter(deck__site=plan.site_id).order_by()
    opens = dict(rows.values_list("deck_id", "window_opens_on"))
    first = min(opens.values(), default=date.max)
    if first > today + timedelta(days=plan.notice_days) + PROPOSED_AHEAD:
        return {}
    until = max(first, today) + READY_WITH
    return {deck: day for deck, day in opens.items() if day <= until}


def after_refusals(plan: CarePlan, today: date) -> date:
    """The week after the last one that the client said no to."""
    refused = plan.visits.exclude(refused_at=None).order_by("-booking__first_on")
    last = refused.values_list("booking__first_on", flat=True).first()
    return diary.monday_of(last) + timedelta(days=7) if last else today


def ask_for_hand(plan: CarePlan, why: str, today: date, now: datetime) -> None:
    """Once a month and plan: somebody has to look."""
    client = plan.site.client
    matter = ToDo(
        kind=ToDo.Kind.BOOK,
        key=f"plan/{plan.pk}/{today:%Y-%m}",
        client=client,
        words=f"{client.name}: the care plan finds no week. {why}",
        url=f"/clients/property/{plan.site_id}/plan/",
    )
    add_to_do(matter=matter, now=now)
