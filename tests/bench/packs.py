"""The cheapest packs for many decks, against a general solver of integer programmes on the same
purchases."""

from decimal import Decimal
from random import Random

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

from jobs.materials import PackPrice, cheapest_purchase
from tests.bench.timing import elapsed_seconds

SIZES = ["0.75 2.5 5 10", "0.946 3.785 18.927", "1 4 10 20"]
Purchases = list[tuple[Decimal, list[PackPrice]]]


def random_purchases(count: int) -> Purchases:
    """From one litre to ninety, in sizes of litres and of gallons."""
    random = Random(11)
    shops = [
        [
            PackPrice(Decimal(size), Decimal(size) * 35 + random.randint(-3, 3))
            for size in sizes.split()
        ]
        for sizes in SIZES
    ]
    return [
        (Decimal(random.randint(100, 9_000)) / 100, shops[each % len(shops)])
        for each in range(count)
    ]


def own_costs(wanted: Purchases) -> list[float]:
    found = [cheapest_purchase(litres, packs) for litres, packs in wanted]
    return [float(purchase.cost) for purchase in found if purchase]


def milp_costs(wanted: Purchases) -> list[float]:
    """`scipy.optimize.milp` (HiGHS), told to find the very best."""
    costs = []
    for litres, packs in wanted:
        enough = LinearConstraint([[float(pack.litres) for pack in packs]], lb=float(litres))
        prices = [float(pack.price) for pack in packs]
        whole = np.ones(len(packs))
        best = milp(
            prices,
            constraints=enough,
            integrality=whole,
            bounds=Bounds(0),
            options={"mip_rel_gap": 0},
        )
        costs.append(float(best.fun))
    return costs


def measure_pack_choice(count: int) -> dict[str, float]:
    wanted = random_purchases(count)
    took = elapsed_seconds(lambda: own_costs(wanted))
    theirs = elapsed_seconds(lambda: milp_costs(wanted))
    dearer = sum(
        own > other + 0.005
        for own, other in zip(own_costs(wanted), milp_costs(wanted), strict=True)
    )
    return {
        "purchases": float(count),
        "dearer_than_solver": float(dearer),
        "table_s": took,
        "solver_s": theirs,
        "ratio": took / theirs,
    }
