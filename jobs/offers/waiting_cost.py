"""Now against waiting: what the same deck is expected to cost in half a year and in a year, at
today's prices.

The expected cost is the price of a recoat times the chance that a recoat still does, plus the price
of a strip times the chance that it no longer does. Both are priced as if each deck stood alone:
without travel, reductions and minimum charge.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Any

from jobs.offers.outlook import WAITING_MONTHS, Outlook
from jobs.offers.pricing import DeckWork, Journey, Reductions, cents, price_work
from jobs.offers.pricing_inputs import DraftingContext, deck_work_from_scope
from jobs.scope import Override, Scope, propose_scopes


@dataclass(frozen=True)
class RecoatStripPrices:
    """One deck's price to pay as a recoat and as a strip, without travel, reductions and minimum
    charge."""

    recoat: Decimal
    strip: Decimal

    def expected_cost(self, strip_chance: float) -> Decimal:
        chance = Decimal(str(round(strip_chance, 4)))
        return self.recoat * (1 - chance) + self.strip * chance


StripScopes = Mapping[int, Scope]  # by deck: the same deck stripped and sealed instead


def strip_scopes(scopes: Iterable[Scope], *, today: date) -> StripScopes:
    """What a strip would take on each deck that is offered a recoat, in a fixed number of
    queries."""
    decks = [scope.deck for scope in scopes if scope.work == "recoat"]
    return (
        propose_scopes(
            decks, today=today, overrides={deck.pk: Override(work="strip") for deck in decks}
        )
        if decks
        else {}
    )


def cost_of_waiting(
    context: DraftingContext, scopes: Sequence[Scope], outlook: Outlook | None, strips: StripScopes
) -> dict[str, Any]:
    """For `Offer.waiting`; empty where nothing is known or a strip is due already.
    Raises `PricingError`."""
    if outlook is None:
        return {}
    compared = [
        scope
        for scope in scopes
        if scope.deck.pk in strips
        and not scope.looks_first
        and outlook.for_deck(scope.deck.pk).strip_chance
    ]
    prices = {
        scope.deck.pk: recoat_strip_prices(context, scope, strips[scope.deck.pk])
        for scope in compared
    }
    if not compared:
        return {}
    return {
        "computed_on": outlook.computed_on.isoformat(),
        "model_version": outlook.model_version,
        "decks": [deck_waiting_costs(scope, prices[scope.deck.pk], outlook) for scope in compared],
        "recoat": str(sum((each.recoat for each in prices.values()), Decimal(0))),
        "after": [
            joint_waiting_cost(months, compared, prices, outlook) for months in WAITING_MONTHS
        ],
    }


def recoat_strip_prices(context: DraftingContext, recoat: Scope, strip: Scope) -> RecoatStripPrices:
    return RecoatStripPrices(
        single_deck_total(context, deck_work_from_scope(recoat, 0)),
        single_deck_total(context, deck_work_from_scope(strip, 0)),
    )


def single_deck_total(context: DraftingContext, work: DeckWork) -> Decimal:
    """What one deck costs without travel and minimum charge, taxes with it."""
    prices = replace(context.prices, minimum_charge=Decimal(0))
    return price_work(prices, [work], Journey(""), Reductions()).totals.total


def deck_waiting_costs(scope: Scope, prices: RecoatStripPrices, outlook: Outlook) -> dict[str, Any]:
    chances = outlook.for_deck(scope.deck.pk).strip_chance
    return {
        "deck_id": scope.deck.pk,
        "deck": scope.deck.label,
        "recoat": str(prices.recoat),
        "strip": str(prices.strip),
        "after": [
            waiting_cost_json(
                months, chances.get(months, 0.0), prices.expected_cost(chances.get(months, 0.0))
            )
            for months in WAITING_MONTHS
        ],
    }


def joint_waiting_cost(
    months: int, scopes: Sequence[Scope], prices: dict[int, RecoatStripPrices], outlook: Outlook
) -> dict[str, Any]:
    """All decks together: the chance that at least one needs a strip, the sum of the expected
    costs."""
    spared = 1.0
    cost = Decimal(0)
    for scope in scopes:
        chance = outlook.for_deck(scope.deck.pk).strip_chance.get(months, 0.0)
        spared *= 1 - chance
        cost += prices[scope.deck.pk].expected_cost(chance)
    return waiting_cost_json(months, 1 - spared, cost)


def waiting_cost_json(months: int, chance: float, cost: Decimal) -> dict[str, Any]:
    return {"months": months, "strip_chance": round(chance, 3), "expected_cost": str(cents(cost))}
