"""Now against waiting: what the same deck is expected to cost in half a year and in a year, at today's prices.

The expected cost is the price of a recoat times the chance that a recoat still does, plus the price of a strip times
the chance that it no longer does. Both are priced as if each deck stood alone: without travel, reductions and minimum
charge.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Any

from jobs.offers.inputs import Desk, deck_work
from jobs.offers.outlook import WAITS, Outlook
from jobs.offers.pricing import DeckWork, Journey, Reductions, cents, reckon
from jobs.scope import Scope, Wish, propose


@dataclass(frozen=True)
class Alternatives:
    """One deck's price to pay as a recoat and as a strip, without travel, reductions and minimum charge."""

    recoat: Decimal
    strip: Decimal

    def expected(self, strip_chance: float) -> Decimal:
        chance = Decimal(str(round(strip_chance, 4)))
        return self.recoat * (1 - chance) + self.strip * chance


Strips = Mapping[int, Scope]  # by deck: the same deck stripped and sealed instead


def strips_of(scopes: Iterable[Scope], *, today: date) -> Strips:
    """What a strip would take on each deck that is offered a recoat, in a fixed number of queries."""
    decks = [scope.deck for scope in scopes if scope.work == "recoat"]
    return propose(decks, today=today, wishes={deck.pk: Wish(work="strip") for deck in decks}) if decks else {}


def waiting(at: Desk, scopes: Sequence[Scope], outlook: Outlook | None, strips: Strips) -> dict[str, Any]:
    """For `Offer.waiting`; empty where nothing is known or a strip is due already. Raises `PricingProblem`."""
    if outlook is None:
        return {}
    compared = [scope for scope in scopes if scope.deck.pk in strips and outlook.of(scope.deck.pk).strip_chance]
    prices = {scope.deck.pk: alternatives(at, scope, strips[scope.deck.pk]) for scope in compared}
    if not compared:
        return {}
    return {
        "computed_on": outlook.computed_on.isoformat(),
        "model_version": outlook.model_version,
        "decks": [deck_waits(scope, prices[scope.deck.pk], outlook) for scope in compared],
        "recoat": str(sum((each.recoat for each in prices.values()), Decimal(0))),
        "after": [after(months, compared, prices, outlook) for months in WAITS],
    }


def alternatives(at: Desk, recoat: Scope, strip: Scope) -> Alternatives:
    return Alternatives(price_alone(at, deck_work(recoat, 0)), price_alone(at, deck_work(strip, 0)))


def price_alone(at: Desk, work: DeckWork) -> Decimal:
    """What one deck costs without travel and minimum charge, taxes with it."""
    prices = replace(at.prices, minimum_charge=Decimal(0))
    return reckon(prices, [work], Journey(""), Reductions()).totals.total


def deck_waits(scope: Scope, prices: Alternatives, outlook: Outlook) -> dict[str, Any]:
    chances = outlook.of(scope.deck.pk).strip_chance
    return {
        "deck_id": scope.deck.pk,
        "deck": scope.deck.label,
        "recoat": str(prices.recoat),
        "strip": str(prices.strip),
        "after": [
            wait(months, chances.get(months, 0.0), prices.expected(chances.get(months, 0.0))) for months in WAITS
        ],
    }


def after(months: int, scopes: Sequence[Scope], prices: dict[int, Alternatives], outlook: Outlook) -> dict[str, Any]:
    """All decks together: the chance that at least one needs a strip, the sum of the expected costs."""
    spared, cost = 1.0, Decimal(0)
    for scope in scopes:
        chance = outlook.of(scope.deck.pk).strip_chance.get(months, 0.0)
        spared *= 1 - chance
        cost += prices[scope.deck.pk].expected(chance)
    return wait(months, 1 - spared, cost)


def wait(months: int, chance: float, cost: Decimal) -> dict[str, Any]:
    return {"months": months, "strip_chance": round(chance, 3), "expected_cost": str(cents(cost))}
