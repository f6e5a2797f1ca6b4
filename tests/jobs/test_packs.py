"""The cheapest packs against brute force, against SciPy's MILP solver, and on the edges."""

from decimal import Decimal
from itertools import product

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, milp

from jobs.materials import MaterialError, PackPrice, PackQuantity, cheapest_purchase

D = Decimal
SHOP = [
    PackPrice(D(1), D(42)),
    PackPrice(D(4), D(149)),
    PackPrice(D(10), D(389)),
    PackPrice(D(20), D(699)),
]
packs = st.lists(
    st.builds(
        PackPrice,
        st.sampled_from(
            [D(text) for text in "0.5 0.75 0.946 1 2.5 3.785 4 5 10 15 18.927 20".split()]
        ),
        st.decimals("0", "900", places=2),
    ),
    min_size=1,
    max_size=4,
    unique_by=lambda pack: pack.litres,
)


def brute_force(litres: Decimal, shop: list[PackPrice]) -> tuple[Decimal, Decimal, int]:
    """Cost, litres and number of packs of the best of all combinations."""
    most = [range(int(litres // pack.litres) + 2) for pack in shop]
    found = []
    for numbers in product(*most):
        held = sum(number * pack.litres for number, pack in zip(numbers, shop, strict=True))
        if held >= litres:
            cost = sum(number * pack.price for number, pack in zip(numbers, shop, strict=True))
            found.append((D(cost), D(held), sum(numbers)))
    return min(found)


@settings(max_examples=60)
@given(litres=st.decimals("0.01", "12", places=2), shop=packs)
def test_no_combination_is_better_in_cost_leftover_or_number(
    litres: Decimal, shop: list[PackPrice]
) -> None:
    assume(np.prod([int(litres // pack.litres) + 2 for pack in shop]) < 20_000)

    found = cheapest_purchase(litres, shop)

    assert found
    assert (
        found.cost,
        found.leftover + litres,
        sum(each.number for each in found.counts),
    ) == brute_force(litres, shop)


@settings(max_examples=40)
@given(litres=st.decimals("0.01", "150", places=2), shop=packs)
def test_the_cost_is_that_of_a_general_integer_programme(
    litres: Decimal, shop: list[PackPrice]
) -> None:
    """scipy.optimize.milp (HiGHS): minimise price · n, subject to litres · n ≥ wanted, n whole."""
    held = LinearConstraint([[float(pack.litres * 1000) for pack in shop]], lb=float(litres * 1000))
    prices = [float(pack.price * 100) for pack in shop]
    # The default gap of HiGHS is 0.01 %: a solver may stop a few cents too high.
    best = milp(
        prices,
        constraints=held,
        integrality=np.ones(len(shop)),
        bounds=Bounds(0),
        options={"mip_rel_gap": 0},
    )

    found = cheapest_purchase(litres, shop)

    assert best.success
    assert found
    assert float(found.cost * 100) == pytest.approx(best.fun, abs=0.5)
    assert sum(each.litres * each.number for each in found.counts) == litres + found.leftover


def test_four_litres_come_in_one_tin_and_sixteen_in_four_where_the_pail_is_dear() -> None:
    four = cheapest_purchase(D(4), SHOP)
    sixteen = cheapest_purchase(D("15.2"), SHOP)

    assert four
    assert (four.counts, four.cost, four.leftover) == ((PackQuantity(D(4), 1, D(149)),), 149, 0)
    assert sixteen
    assert (sixteen.counts, sixteen.cost, sixteen.leftover) == (
        (PackQuantity(D(4), 4, D(149)),),
        596,
        D("0.8"),
    )


def test_the_larger_pack_is_bought_where_it_costs_less_than_enough_small_ones() -> None:
    found = cheapest_purchase(D(3), [PackPrice(D(1), D(20)), PackPrice(D(4), D(50))])

    assert found
    assert (found.counts, found.leftover) == ((PackQuantity(D(4), 1, D(50)),), 1)


def test_of_equal_costs_less_is_left_over_and_then_fewer_packs_are_carried() -> None:
    found = cheapest_purchase(
        D(4), [PackPrice(D(1), D(30)), PackPrice(D("2.5"), D(60)), PackPrice(D(2), D(60))]
    )

    assert found
    assert (found.counts, found.leftover) == ((PackQuantity(D(2), 2, D(60)),), 0)


def test_nothing_to_buy_nothing_sold_and_free_samples() -> None:
    nothing = cheapest_purchase(D(0), SHOP)
    free = cheapest_purchase(D(3), [PackPrice(D(1), D(0)), PackPrice(D(4), D(10))])

    assert nothing
    assert (nothing.counts, nothing.cost) == ((), 0)
    assert cheapest_purchase(D(3), []) is None
    assert free
    assert (free.counts, free.cost) == ((PackQuantity(D(1), 3, D(0)),), 0)


@pytest.mark.parametrize(
    ("litres", "shop", "said"),
    [
        (D(5001), SHOP, "more than any deck takes"),
        (D("NaN"), SHOP, "more than any deck takes"),
        (D(4), [PackPrice(D(0), D(5))], "0.01 L or more"),
        (D(4), [PackPrice(D(1), D(-5))], "no price is negative"),
    ],
)
def test_what_cannot_be_bought_is_named(litres: Decimal, shop: list[PackPrice], said: str) -> None:
    with pytest.raises(MaterialError, match=said):
        cheapest_purchase(litres, shop)
