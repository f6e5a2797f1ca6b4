"""Offers for many decks in one step: what the forecast says of each, the scope, one draft a property."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from itertools import groupby

from django.db import transaction

from clients.models import Deck, User
from jobs.actions import offers as deeds
from jobs.actions.offers import OfferProblem
from jobs.models import Booking, Offer, OfferScope
from jobs.offers import Order
from jobs.offers.outlook import WAITS, DeckOutlook, Outlook
from jobs.scope import propose
from reminders import forecast
from reminders.forecasting import active_fit, bridge
from reminders.forecasting.coats import newest_coats
from reminders.models import Forecast

DAYS_A_MONTH = 365.25 / 12


@dataclass
class Drafted:
    """The drafts that were made, and the decks left out with the reason in words."""

    offers: list[Offer] = field(default_factory=list)
    left_out: list[tuple[Deck, str]] = field(default_factory=list)


@transaction.atomic
def draft_offers(*, deck_ids: Collection[int], today: date, now: datetime, by: User | None) -> Drafted:
    """Draft offers for these decks, those of one property in one, in a fixed number of queries.

    A deck that has a living offer or a booking, or is archived, is left out: a second click drafts nothing. Raises
    `PricingProblem` where there is no price list.
    """
    bridge.lock(sorted(deck_ids))
    drafted = Drafted()
    decks = wanted(deck_ids, drafted, today=today)
    if decks:
        orders = list(orders_for(decks, today=today))
        drafted.offers, problems = deeds.draft_orders(orders=orders, today=today, now=now, by=by)
        drafted.left_out += [(scope.deck, str(problem)) for order, problem in problems for scope in order.scopes]
    return drafted


def redraft_offer(*, offer: Offer, today: date, now: datetime, by: User | None) -> Offer:
    """Reckon a draft anew for the same decks. Raises `OfferProblem` and `PricingProblem`."""
    decks = list(Deck.objects.with_owner().filter(offer_scopes__offer=offer).order_by("pk"))
    if not decks:
        raise OfferProblem("No deck stands in this offer, so there is nothing to reckon from.")
    order = next(iter(orders_for(decks, today=today)))
    return deeds.redraft_offer(offer=offer, order=order, today=today, now=now, by=by)


def wanted(deck_ids: Collection[int], drafted: Drafted, *, today: date) -> list[Deck]:
    """The decks for which nothing is under way, property by property."""
    rows = Deck.objects.with_owner().filter(pk__in=deck_ids).order_by("property_id", "pk")
    taken, found = under_way(deck_ids, today=today), []
    for deck in rows:
        is_archived = deck.archived_at or deck.property.client.archived_at
        why = "The deck or its client is archived." if is_archived else taken.get(deck.pk, "")
        if why:
            drafted.left_out.append((deck, why))
        else:
            found.append(deck)
    return found


def under_way(deck_ids: Collection[int], *, today: date) -> dict[int, str]:
    """Why a deck needs no new offer: it has one that lives, or a booking."""
    living = Offer.objects.living(today=today).values("pk")
    scopes = OfferScope.objects.filter(deck__in=deck_ids, offer__in=living).select_related("offer")
    why = {
        scope.deck_id: f"Offer {scope.offer.reference} is {scope.offer.get_state_display().lower()}."
        for scope in scopes
    }
    booked = Booking.objects.filter(decks__in=deck_ids, state__in=[Booking.State.BOOKED, Booking.State.HELD])
    return why | dict.fromkeys(booked.values_list("decks", flat=True), "It is booked.")


def orders_for(decks: Sequence[Deck], *, today: date) -> Iterable[Order]:
    """One order a property, the deck that is due first leading."""
    scopes, known = propose(decks, today=today), outlooks(decks, today=today)
    version = active_fit.posterior().version
    for place, members in groupby(decks, key=lambda deck: deck.property):
        listed = sorted(members, key=lambda deck: (due_on(known.get(deck.pk)), deck.pk))
        outlook = Outlook({deck.pk: known[deck.pk] for deck in listed if deck.pk in known}, today, version)
        yield Order(place, [scopes[deck.pk] for deck in listed], outlook)


def due_on(known: DeckOutlook | None) -> date:
    return (known and known.due_on) or date.max


def outlooks(decks: Iterable[Deck], *, today: date) -> dict[int, DeckOutlook]:
    """The stored window of each deck, and what waiting risks; a deck without a coat has none."""
    ids = sorted(deck.pk for deck in decks)
    coats = newest_coats(ids, today=today)
    if coats is None:
        return {}
    now, later = forecast.strip_chances(
        bridge.core_coats(coats, today=today), active_fit.posterior(), bridge.days(today),
        [months * DAYS_A_MONTH for months in WAITS],
    )  # fmt: skip
    risks = {
        deck: (chance, dict(zip(WAITS, row, strict=True)))
        for deck, chance, row in zip(coats.deck_id, now.tolist(), later.tolist(), strict=True)
    }
    return {
        row.deck_id: DeckOutlook(row.window_opens_on, row.due_on, row.late_on, *risks.get(row.deck_id, ()))
        for row in Forecast.objects.filter(deck__in=ids)
    }
