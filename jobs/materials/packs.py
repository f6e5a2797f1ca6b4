"""The cheapest packs that hold at least so many litres:
exact, in whole millilitres and whole cents.

A table of the least cost for every volume that packs can add up to (dynamic programming). Of
purchases that cost the same the one with less left over is taken, then the one with fewer packs.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from math import gcd
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from jobs.materials.litres import MaterialError

ML_PER_LITRE = Decimal(1000)
CENTS_PER_UNIT = Decimal(100)
MAX_PURCHASE_LITRES = Decimal(
    5_000
)  # more than any deck takes; beyond it somebody mistyped an area
MIN_PACK_LITRES = Decimal("0.01")
COST_SCALE = (
    2**20
)  # the cost of a way is kept as cents · 2²⁰ + packs: cheapest first, then fewest packs
UNREACHABLE = np.int64(2**62)


@dataclass(frozen=True)
class PackPrice:
    """A size that is sold, and its price."""

    litres: Decimal
    price: Decimal


class PackQuantity(NamedTuple):
    """So many packs of one size, each at this price."""

    litres: Decimal
    number: int
    price: Decimal


@dataclass(frozen=True)
class Purchase:
    """What to buy; `leftover` [L] stays in the tins."""

    counts: tuple[PackQuantity, ...]
    cost: Decimal
    leftover: Decimal


def cheapest_purchase(litres: Decimal, packs: Sequence[PackPrice]) -> Purchase | None:
    """Packs that hold at least `litres` for the least money;
    None where nothing is sold, an empty purchase for none."""
    require_plausible_litres(litres)
    if any(pack.litres < MIN_PACK_LITRES or pack.price < 0 for pack in packs):
        raise MaterialError(
            "A pack holds 0.01 L or more, and no price is negative. Change it on the shelf page."
        )
    if litres <= 0:
        return Purchase((), Decimal(0), Decimal(0))
    return optimal_purchase(litres, packs) if packs else None


def require_plausible_litres(litres: Decimal) -> None:
    """Raises where no deck takes so much."""
    if not litres.is_finite() or litres > MAX_PURCHASE_LITRES:
        raise MaterialError(f"{litres:,.0f} L is more than any deck takes. Check its area.")


def optimal_purchase(litres: Decimal, packs: Sequence[PackPrice]) -> Purchase:
    """A pack holds what is printed: its size is rounded down to the millilitre, what is wanted
    up."""
    sizes = [max(1, rounded_integer(pack.litres * ML_PER_LITRE, ROUND_FLOOR)) for pack in packs]
    prices = [rounded_integer(pack.price * CENTS_PER_UNIT, ROUND_CEILING) for pack in packs]
    numbers = optimal_pack_numbers(
        sizes, prices, rounded_integer(litres * ML_PER_LITRE, ROUND_CEILING)
    )
    counts = [
        PackQuantity(p.litres, number, p.price)
        for p, number in zip(packs, numbers, strict=True)
        if number
    ]
    held = sum((each.litres * each.number for each in counts), Decimal(0))
    cost = sum((each.price * each.number for each in counts), Decimal(0))
    return Purchase(tuple(sorted(counts, key=lambda each: -each.litres)), cost, held - litres)


def rounded_integer(value: Decimal, rounding: str) -> int:
    return int(value.to_integral_value(rounding=rounding))


def optimal_pack_numbers(sizes: Sequence[int], prices: Sequence[int], wanted: int) -> list[int]:
    """How many of each size, all in millilitres and cents."""
    unit = gcd(*sizes)
    steps = [size // unit for size in sizes]
    costs = [price * COST_SCALE + 1 for price in prices]
    least = least_costs(steps, costs, -(-wanted // unit) + max(steps))
    return trace_pack_numbers(least, steps, costs, cheapest_volume(least, -(-wanted // unit)))


def least_costs(steps: Sequence[int], costs: Sequence[int], most: int) -> NDArray[np.int64]:
    """For each volume below `most` the least cost at which packs add up to it exactly;
    a size at a time."""
    least = np.full(most, UNREACHABLE, dtype=np.int64)
    least[0] = 0
    for step, cost in zip(steps, costs, strict=True):
        for start in range(step, most, step):
            here = least[start : start + step]
            np.minimum(here, least[start - step : start - step + len(here)] + cost, out=here)
    return least


def cheapest_volume(least: NDArray[np.int64], wanted: int) -> int:
    """The volume to stop at: cheapest, then smallest."""
    return wanted + int(np.argmin(least[wanted:] // COST_SCALE))


def trace_pack_numbers(
    least: NDArray[np.int64], steps: Sequence[int], costs: Sequence[int], volume: int
) -> list[int]:
    numbers = [0] * len(steps)
    while volume:
        index = next(
            i
            for i, step in enumerate(steps)
            if step <= volume and least[volume - step] + costs[i] == least[volume]
        )
        numbers[index] += 1
        volume -= steps[index]
    return numbers
