"""Now against waiting: what the same deck is expected to cost in half a year and in a year, at
today's prices.

The expected cost is the price of the offer times the chance that a recoat still does, plus its
price with a strip times the chance that it no longer does: with the same reductions, travel and
minimum charge, so that what is to be paid now is one sum everywhere on the paper.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Any

from jobs.offers.outlook import WAITING_MONTHS, OfferBrief, Outlook
from jobs.offers.pricing import DeckWork, Journey, Reductions, cents, price_work
from jobs.offers.pricing_inputs import DraftingContext, deck_work_from_scope, journey_to
from jobs.scope import Override, Scope, propose_scopes


@dataclass(frozen=True)
class RecoatStripPrices:
    """One deck's price to pay as a recoat and as a strip, without travel, reductions and minimum
    charge."""

    recoat: Decimal
    strip: Decimal


StripScopes = Mapping[int, Scope]  # by deck: the same deck stripped and sealed instead


def strip_scopes(scopes: Iterable[Scope], *, today: date) -> StripScopes:
    """What a strip would take on each deck that is offered a recoat, in a fixed number of
    queries."""
    wanted = [scope for scope in scopes if scope.work == "recoat"]
    return (
        propose_scopes(
            [scope.deck for scope in wanted],
            today=today,
            overrides={
                scope.deck.pk: Override(work="strip", surfaces=scope.surfaces) for scope in wanted
            },
        )
        if wanted
        else {}
    )


def cost_of_waiting(
    context: DraftingContext,
    brief: OfferBrief,
    strips: StripScopes,
    reductions: Reductions,
    payable: Decimal,
) -> dict[str, Any]:
    """For `Offer.waiting`, beside what is to be paid now; empty where nothing is known or a strip
    is due already. Raises `PricingError`."""
    outlook = brief.outlook
    if outlook is None:
        return {}
    compared = [
        scope
        for scope in brief.scopes
        if scope.deck.pk in strips
        and not scope.looks_first
        and "boards" in scope.surfaces
        and outlook.for_deck(scope.deck.pk).strip_chance
    ]
    if not compared:
        return {}
    stripped = {
        scope.deck.pk: total_if_stripped(context, brief, strips[scope.deck.pk], reductions)
        for scope in compared
    }
    return {
        "computed_on": outlook.computed_on.isoformat(),
        "model_version": outlook.model_version,
        "now": str(payable),
        "if_stripped": {str(deck): str(total) for deck, total in stripped.items()},
        "after": [
            joint_waiting_cost(months, payable, stripped, outlook) for months in WAITING_MONTHS
        ],
    }


def total_if_stripped(
    context: DraftingContext, brief: OfferBrief, strip: Scope, reductions: Reductions
) -> Decimal:
    """What the whole offer would come to if this one of its decks were stripped."""
    scopes = [strip if each.deck.pk == strip.deck.pk else each for each in brief.scopes]
    works = [deck_work_from_scope(scope, place) for place, scope in enumerate(scopes)]
    way = journey_to(context, brief.site, scopes)
    units = context.business.units
    return price_work(context.prices, works, way, reductions, units=units).totals.total


def recoat_strip_prices(context: DraftingContext, recoat: Scope, strip: Scope) -> RecoatStripPrices:
    return RecoatStripPrices(
        single_deck_total(context, deck_work_from_scope(recoat, 0)),
        single_deck_total(context, deck_work_from_scope(strip, 0)),
    )


def single_deck_total(context: DraftingContext, work: DeckWork) -> Decimal:
    """What one deck costs without travel and minimum charge, taxes with it."""
    prices = replace(context.prices, minimum_charge=Decimal(0))
    return price_work(prices, [work], Journey(""), Reductions()).totals.total


def joint_waiting_cost(
    months: int, payable: Decimal, stripped: Mapping[int, Decimal], outlook: Outlook
) -> dict[str, Any]:
    """Of all decks: the chance that at least one needs a strip, and what is to be paid now with
    what each strip adds times its chance."""
    spared = 1.0
    cost = payable
    for deck, total in stripped.items():
        chance = outlook.for_deck(deck).strip_chance.get(months, 0.0)
        spared *= 1 - chance
        cost += (total - payable) * Decimal(str(round(chance, 4)))
    return {
        "months": months,
        "strip_chance": round(1 - spared, 3),
        "expected_cost": str(cents(cost)),
    }
