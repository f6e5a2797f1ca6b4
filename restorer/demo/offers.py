"""Prices and offers of the invented business: one price list, and offers in every state;
every number is made up."""

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from decimal import Decimal
from itertools import count

from django.db import transaction
from django.db.models import F

from clients.messaging.models import Message, MessageEvent
from clients.messaging.models.message import State
from clients.messaging.reach import ContactPurpose, Route, route_to
from clients.models import Business, Channel
from jobs.actions import offer_answers, offer_questions, offer_sending, offers
from jobs.actions.bookings import NoRoomError
from jobs.actions.prices import PriceListRows, save_price_list
from jobs.models import Booking, Offer, PriceList, Rate
from jobs.offers import bookable_weeks
from reminders import offer_drafting
from reminders.models import Forecast, ForecastQuerySet

# Task, unit, dollars, minutes.
RATES = [
    ("set_up", "job", "65", "40"),
    ("clean", "m2", "3.40", "3"),
    ("strip", "m2", "8.90", "8"),
    ("brighten", "m2", "1.60", "1.5"),
    ("sand", "m2", "2.90", "3"),
    ("coat", "m2", "4.20", "4"),
    ("clean", "m", "4.50", "4"),
    ("strip", "m", "14.50", "14"),
    ("brighten", "m", "2.50", "3"),
    ("coat", "m", "8.50", "9"),
    ("clean", "tread", "2", "1.5"),
    ("strip", "tread", "5", "4.5"),
    ("brighten", "tread", "1", "1"),
    ("coat", "tread", "3.50", "3"),
    ("hourly", "hour", "58", "60"),
]
ZONES = [("Lunenburg", "0"), ("Mahone Bay", "15"), ("Bridgewater", "25"), ("Chester", "35")]
# The harmonized sales tax of Nova Scotia fell from 15 to 14 % on 1 April 2025 (notice of the
# province of 3 January 2025, seen in accounts of it).
TAX_PERCENT = {date(2025, 1, 1): 15, date(2025, 4, 1): 14}
DRAFTED_DECKS = 14  # decks with a draft in the end, some of them sent
OLDER_OFFER_AGE = timedelta(days=75)


def make_demo_prices() -> PriceList:
    """One list for each rate of tax; the one in force now."""
    return [make_price_list(day, percent) for day, percent in TAX_PERCENT.items()][-1]


def make_price_list(valid_from: date, tax_percent: int) -> PriceList:
    row = PriceList(
        valid_from=valid_from,
        note="Minutes checked against the jobs of 2024",
        currency="CAD",
        minimum_charge=Decimal(280),
        travel_free_km=Decimal(15),
        travel_per_km=Decimal("1.10"),
        high_above_m=Decimal("2.4"),
        high_percent=Decimal(12),
        markup_percent=Decimal(18),
        off_season_months=[5, 10],
        off_season_percent=Decimal(8),
        early_percent=Decimal(4),
        valid_days=30,
    )
    rates = [
        {
            "task": Rate.Task(task),
            "per": Rate.Per(per),
            "amount": Decimal(amount),
            "minutes": Decimal(minutes),
        }
        for task, per, amount, minutes in RATES
    ]
    zones = [{"town": town, "amount": Decimal(amount)} for town, amount in ZONES]
    tax = {
        "name": "HST",
        "percent": Decimal(tax_percent),
        "on_work": True,
        "on_materials": True,
        "on_travel": True,
    }
    return save_price_list(
        price_list=row,
        values={"valid_from": row.valid_from},
        rows=PriceListRows(rates, zones, [tax]),
    )


@transaction.atomic
def write_demo_offers(*, now: datetime) -> None:
    """After prices and forecasts: drafts for the decks that are due soonest, and what became of
    some of them."""
    business = Business.objects.get()
    make_older_offer(business, now - OLDER_OFFER_AGE)
    today = business.today(now)
    drafted = offer_drafting.draft_offers(
        deck_ids=next_due_deck_ids(today), today=today, now=now, by=None
    ).offers
    mailed = [
        offer
        for offer in drafted
        if isinstance(
            route_to(offer.client, Channel.EMAIL, ContactPurpose.MARKETING, on=today), Route
        )
    ]
    for offer in mailed[:6]:
        offer_sending.send_offer(offer=offer, channel="email", by=None, now=now)
        offer.refresh_from_db()
    answer_demo_offers(mailed[:6], today, now)


def next_due_deck_ids(today: date, limit: int = DRAFTED_DECKS) -> list[int]:
    """Decks near the yard that become due next: nothing of theirs is booked or offered."""
    rows = without_booking_ahead().filter(due_on__gte=today, deck__site__country="CA")
    return list(rows.order_by("due_on", "deck_id").values_list("deck_id", flat=True)[:limit])


def without_booking_ahead() -> ForecastQuerySet:
    ahead = [Booking.State.BOOKED, Booking.State.HELD]
    return Forecast.objects.current().exclude(deck__bookings__state__in=ahead)


def make_older_offer(business: Business, then: datetime) -> None:
    """An offer of some weeks ago that nobody answered; its message went out at that time."""
    today = business.today(then)
    decks = without_booking_ahead().filter(
        deck__site__client__consents__is_given=True, job__finished_on__lt=today
    )
    chosen = (
        decks.filter(deck__site__country="CA")
        .order_by("-due_on")
        .values_list("deck_id", flat=True)[:6]
    )
    for offer in offer_drafting.draft_offers(
        deck_ids=list(chosen), today=today, now=then, by=None
    ).offers[:1]:
        message = offer_sending.send_offer(offer=offer, channel="email", by=None, now=then)
        Message.objects.filter(pk=message.pk).update(
            state=State.ACCEPTED, accepted_at=then, not_before=F("queued_at")
        )
        MessageEvent.objects.create(message=message, state=State.ACCEPTED, at=then)
    Offer.objects.filter(state=Offer.State.DRAFT).delete()


def answer_demo_offers(sent: Sequence[Offer], today: date, now: datetime) -> None:
    """One declined, one asked about and answered, one asked about, one revised, one accepted if
    there is a week."""
    turn = count()
    for offer in sent:
        token = offer.token_hash or ""
        match next(turn):
            case 0:
                offer_answers.decline_offer(
                    token_hash=token,
                    reason="later",
                    words="We are away this summer.",
                    name=offer.client.name,
                    now=now,
                )
            case 1:
                offer_answers.ask_question(
                    token_hash=token, words="Do you move the planters, or shall we?", now=now
                )
                offer_questions.answer_question(
                    offer=offer, words="We move them and put them back.", by=None, now=now
                )
            case 2:
                offer_answers.ask_question(
                    token_hash=token, words="Can the dog stay in the garden that day?", now=now
                )
            case 3:
                offers.revise_offer(offer=offer, today=today, now=now, by=None)
            case 4:
                accept_demo_offer(offer, token, today, now)


def accept_demo_offer(offer: Offer, token: str, today: date, now: datetime) -> None:
    for week in bookable_weeks(offer, today=today)[:1]:
        try:
            offer_answers.accept_offer(token_hash=token, week=week, name=offer.client.name, now=now)
        except NoRoomError:
            return
