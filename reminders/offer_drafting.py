"""Offers for many decks in one step: what the forecast says of each, the scope, one draft a
property."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from itertools import groupby

from django.db import transaction

from clients.models import Deck, Surface, User
from jobs.actions import offers as offer_actions
from jobs.actions.offers import OfferError
from jobs.models import Booking, Offer, OfferScope
from jobs.offers import WAITING_MONTHS, DeckOutlook, OfferBrief, Outlook
from jobs.scope import Override, propose_scopes
from reminders import forecast
from reminders.forecasting import bridge, read_newest_coats
from reminders.models import Forecast

DAYS_PER_MONTH = 365.25 / 12


@dataclass
class DraftingResult:
    """The drafts that were made, and the decks left out with the reason in words."""

    offers: list[Offer] = field(default_factory=list)
    left_out: list[tuple[Deck, str]] = field(default_factory=list)


@dataclass(frozen=True)
class RedraftWishes:
    """What is wanted otherwise of a draft that is worked out again."""

    without_sanding: bool = False
    every_surface: bool = False  # also what is not due yet

    def override(self, deck: Deck) -> Override:
        surfaces = deck.surfaces if self.every_surface else ()
        return Override(without_sanding=self.without_sanding, surfaces=surfaces)


@transaction.atomic
def draft_offers(
    *, deck_ids: Collection[int], today: date, now: datetime, by: User | None
) -> DraftingResult:
    """Draft offers for these decks, those of one property in one, in a fixed number of queries.

    A deck that has a living offer or a booking, or is archived, is left out: a second click drafts
    nothing. Raises `PricingError` where there is no price list.
    """
    bridge.lock_decks(sorted(deck_ids))
    drafted = DraftingResult()
    decks = decks_to_draft(deck_ids, drafted, today=today)
    if decks:
        briefs = list(orders_by_property(decks, today=today))
        drafted.offers, problems = offer_actions.draft_offer_batch(
            briefs=briefs, today=today, now=now, by=by
        )
        drafted.left_out += [
            (scope.deck, str(problem)) for brief, problem in problems for scope in brief.scopes
        ]
    return drafted


def recalculate_from_forecast(
    *,
    offer: Offer,
    today: date,
    now: datetime,
    by: User | None,
    wishes: RedraftWishes,
) -> Offer:
    """Calculate a draft again for the same decks. Raises `OfferError` and `PricingError`."""
    decks = list(Deck.objects.with_owner().filter(offer_scopes__offer=offer).order_by("pk"))
    if not decks:
        raise OfferError("No deck stands in this offer, so there is nothing to calculate from.")
    overrides = {deck.pk: wishes.override(deck) for deck in decks}
    brief = next(iter(orders_by_property(decks, today=today, overrides=overrides)))
    return offer_actions.recalculate_draft(offer=offer, brief=brief, today=today, now=now, by=by)


def decks_to_draft(
    deck_ids: Collection[int], drafted: DraftingResult, *, today: date
) -> list[Deck]:
    """The decks for which nothing is under way, property by property."""
    rows = Deck.objects.with_owner().filter(pk__in=deck_ids).order_by("site_id", "pk")
    taken = reasons_not_to_draft(deck_ids, today=today)
    found = []
    for deck in rows:
        is_archived = deck.archived_at or deck.site.client.archived_at
        why = "The deck or its client is archived." if is_archived else taken.get(deck.pk, "")
        if why:
            drafted.left_out.append((deck, why))
        else:
            found.append(deck)
    return found


def reasons_not_to_draft(deck_ids: Collection[int], *, today: date) -> dict[int, str]:
    """Why a deck needs no new offer: it has one that lives, or a booking."""
    living = Offer.objects.active(today=today).values("pk")
    scopes = OfferScope.objects.filter(deck__in=deck_ids, offer__in=living).select_related("offer")
    why = {
        scope.deck_id: (
            f"Offer {scope.offer.reference} is {scope.offer.get_state_display().lower()}."
        )
        for scope in scopes
    }
    booked = Booking.objects.filter(
        decks__in=deck_ids, state__in=[Booking.State.BOOKED, Booking.State.HELD]
    )
    return why | dict.fromkeys(booked.values_list("decks", flat=True), "It is booked.")


def orders_by_property(
    decks: Sequence[Deck], *, today: date, overrides: Mapping[int, Override] | None = None
) -> Iterable[OfferBrief]:
    """One order a property, the deck that is due first leading."""
    scopes = propose_scopes(decks, today=today, overrides=overrides)
    known = deck_outlooks(decks, today=today)
    version = bridge.active_posterior().version
    for place, members in groupby(decks, key=lambda deck: deck.site):
        listed = sorted(members, key=lambda deck: (due_date_or_max(known.get(deck.pk)), deck.pk))
        outlook = Outlook(
            {deck.pk: known[deck.pk] for deck in listed if deck.pk in known}, today, version
        )
        yield OfferBrief(place, [scopes[deck.pk] for deck in listed], outlook)


def due_date_or_max(known: DeckOutlook | None) -> date:
    return (known and known.due_on) or date.max


def deck_outlooks(decks: Iterable[Deck], *, today: date) -> dict[int, DeckOutlook]:
    """The stored window of each deck, and what waiting risks; a deck without a coat has none."""
    rows = list(Forecast.objects.filter(deck__in=sorted(deck.pk for deck in decks)))
    led_by_boards = [row.deck_id for row in rows if row.surface == Surface.BOARDS]
    risks = strip_risks(led_by_boards, today=today)
    return {
        row.deck_id: DeckOutlook(
            row.window_opens_on, row.due_on, row.late_on, *risks.get(row.deck_id, ())
        )
        for row in rows
    }


def strip_risks(
    deck_ids: Sequence[int], *, today: date
) -> dict[int, tuple[float, dict[int, float]]]:
    """By deck the chance that only a strip will do on the boards, now and after each wait."""
    coats = read_newest_coats(sorted(deck_ids), today=today) if deck_ids else None
    if coats is None:
        return {}
    now, later = forecast.strip_chances_after_waits(
        bridge.core_coats(coats, today=today),
        bridge.active_posterior(),
        bridge.epoch_days(today),
        [months * DAYS_PER_MONTH for months in WAITING_MONTHS],
    )
    return {
        deck: (chance, dict(zip(WAITING_MONTHS, row, strict=True)))
        for deck, chance, row in zip(coats.deck_id, now.tolist(), later.tolist(), strict=True)
    }
