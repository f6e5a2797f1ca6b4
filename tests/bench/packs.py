"""The cheapest packs for many decks, against a general solver of integer programmes on the same purchases."""

from decimal import Decimal
from random import Random

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

from jobs.materials import Pack, cheapest
from tests.bench.timing import seconds

SIZES = ["0.75 2.5 5 10", "0.946 3.785 18.927", "1 4 10 20"]
Purchases = list[tuple[Decimal, list[Pack]]]


def purchases(count: int) -> Purchases:
    """From one litre to ninety, in sizes of litres and of gallons."""
    random = Random(11)
    shops = [
        [Pack(Decimal(size), Decimal(size) * 35 + random.randint(-3, 3)) for size in sizes.split()] for sizes in SIZES
    ]
    return [(Decimal(random.randint(100, 9_000)) / 100, shops[each % len(shops)]) for each in range(count)]


def ours(wanted: Purchases) -> list[float]:
    found = [cheapest(litres, packs) for litres, packs in wanted]
    return [float(purchase.cost) for purchase in found if purchase]


def solver(wanted: Purchases) -> list[float]:
    """`scipy.optimize.milp` (HiGHS), told to find the very best."""
    costs = []
    for litres, packs in wanted:
        enough = LinearConstraint([[float(pack.litres) for pack in packs]], lb=float(litres))
        prices, whole = [float(pack.price) for pack in packs], np.ones(len(packs))
        best = milp(prices, constraints=enough, integrality=whole, bounds=Bounds(0), options={"mip_rel_gap": 0})
        costs.append(float(best.fun))
    return costs


def measure(count: int) -> dict[str, float]:
    wanted = purchases(count)
    took, theirs = seconds(lambda: ours(wanted)), seconds(lambda: solver(wanted))
    dearer = sum(own > other + 0.005 for own, other in zip(ours(wanted), solver(wanted), strict=True))
    return {
        "purchases": float(count), "dearer_than_solver": float(dearer), "table_s": took, "solver_s": theirs,
        "ratio": took / theirs,
    }  # fmt: skip
