"""The dew point and the arithmetic of spread against figures from outside."""

from decimal import Decimal

import psychrolib
import pytest

from clients.models import Deck
from jobs.models import CoatApplied, Product
from jobs.work.spread_rate import measured_spreads
from jobs.work.weather import dew_point_c, dew_point_depression_c, equilibrium_moisture_percent


@pytest.mark.parametrize(
    ("air_c", "humidity", "expected"),
    [
        (20, 50, 9.27),
        (20, 85, 17.40),
        (25, 60, 16.70),
        (10, 80, 6.71),
        (30, 70, 23.93),
        (5, 90, 3.50),
    ],
)
def test_the_dew_point_agrees_with_the_ashrae_formulas(
    air_c: float, humidity: float, expected: float
) -> None:
    """`expected` and the call: psychrolib 2.5 (ASHRAE Handbook, Fundamentals 2017, ch. 1);
    Magnus is within 0.02 K."""
    psychrolib.SetUnitSystem(psychrolib.SI)

    assert dew_point_c(air_c, humidity) == pytest.approx(expected, abs=0.02)
    assert dew_point_c(air_c, humidity) == pytest.approx(
        psychrolib.GetTDewPointFromRelHum(air_c, humidity / 100), abs=0.02
    )


@pytest.mark.parametrize(
    ("air_c", "humidity"), [(4.4, 30), (10, 80), (21.1, 65), (32.2, 90), (20, 50)]
)
def test_wood_rests_where_the_formula_in_fahrenheit_has_it(air_c: float, humidity: float) -> None:
    """W. Simpson, FPL-RN-0268 (1998): the same equation with its own coefficients for degrees
    Fahrenheit."""
    t = air_c * 9 / 5 + 32
    h = humidity / 100
    w = 330 + 0.452 * t + 0.00415 * t**2
    k = 0.791 + 0.000463 * t - 0.000000844 * t**2
    k1 = 6.34 + 0.000775 * t - 0.0000935 * t**2
    k2 = 1.09 + 0.0284 * t - 0.0000904 * t**2
    bound = (k1 * k * h + 2 * k1 * k2 * k**2 * h**2) / (1 + k1 * k * h + k1 * k2 * k**2 * h**2)

    assert equilibrium_moisture_percent(air_c, humidity) == pytest.approx(
        1800 / w * (k * h / (1 - k * h) + bound), abs=0.1
    )


@pytest.mark.parametrize(
    ("air_c", "humidity", "percent"),
    [
        (20, 50, 9.27),
        (21.1, 65, 12.0),
        (21.1, 50, 9.2),
        (21.1, 30, 6.2),
        (4.4, 80, 16.5),
        (32.2, 90, 19.9),
    ],
)
def test_wood_rests_where_the_tables_have_it(air_c: float, humidity: float, percent: float) -> None:
    """9.27: example output of ConSciR (R package, same equation); the others:
    Wood Handbook, table 4-2, from memory."""
    assert equilibrium_moisture_percent(air_c, humidity) == pytest.approx(percent, abs=0.1)
    with pytest.raises(ValueError, match="humidity"):
        equilibrium_moisture_percent(air_c, 101)


def test_saturated_air_is_at_its_dew_point_and_dry_air_has_none() -> None:
    assert dew_point_c(14.2, 100) == pytest.approx(14.2)
    assert dew_point_depression_c(Decimal("14.2"), 0) is None
    with pytest.raises(ValueError, match="humidity"):
        dew_point_c(14.2, 0)


def deck(**values: object) -> Deck:
    return Deck(
        **{
            "area_m2": Decimal(18),
            "rail_m": Decimal(0),
            "stair_treads": 0,
            "texture": "smooth",
            **values,
        }
    )


def oil(spread: str | None = "9", pk: int = 1) -> Product:
    return Product(pk=pk, name="Tidewood", spread_m2_per_l=Decimal(spread) if spread else None)


def coat(
    product: Product, litres: str | None, coats: int = 2, surfaces: tuple[str, ...] = ("boards",)
) -> CoatApplied:
    return CoatApplied(
        product=product,
        litres=Decimal(litres) if litres else None,
        coats=coats,
        surfaces=[*surfaces],
    )


def test_eighteen_square_metres_in_two_coats_take_four_litres() -> None:
    """9 m² a litre a coat (common practice, no source)."""
    [found] = measured_spreads(deck(), [coat(oil(), "4")])

    assert found.spread_m2_per_l == 9
    assert not found.is_far_off


@pytest.mark.parametrize(
    ("texture", "litres", "is_far_off"),
    [
        # Wood Handbook FPL-GTR-190 ch. 16, semitransparent stain: 4.9 to 9.8 m²/L on smooth wood,
        # 2.4 to 4.9 on sawn or weathered wood. A data sheet that says 8 is silent over that whole
        # span (18 m² × 2 = 36 m²).
        ("smooth", "7.3", False),  # 4.9 m²/L
        ("smooth", "3.7", False),  # 9.7 m²/L
        ("weathered", "14.9", False),  # 2.4 m²/L
        ("sawn", "7.4", False),  # 4.9 m²/L
        ("smooth", "14.9", True),  # 2.4 m²/L on smooth wood: far too much
        ("smooth", "2", True),  # 18 m²/L: far too thin
        ("weathered", "40", True),
    ],
)
def test_far_off_is_wider_than_the_spread_that_the_wood_handbook_gives(
    texture: str, litres: str, is_far_off: bool
) -> None:
    [found] = measured_spreads(deck(texture=texture), [coat(oil("8"), litres)])

    assert found.is_far_off is is_far_off


def test_two_tins_of_one_product_are_judged_together_and_rails_not_at_all() -> None:
    first = oil()
    second = oil(pk=2)

    assert [
        m.spread_m2_per_l
        for m in measured_spreads(deck(), [coat(first, "2", 1), coat(first, "2", 1)])
    ] == [9]
    assert [
        m.spread_m2_per_l
        for m in measured_spreads(deck(), [coat(first, "2", 2), coat(first, "2", 2)])
    ] == [9]
    assert (
        measured_spreads(deck(rail_m=Decimal(6)), [coat(second, "4", surfaces=("boards", "rails"))])
        == []
    )
    assert measured_spreads(deck(), [coat(second, None)]) == []
    assert measured_spreads(deck(), [coat(second, "4", surfaces=("rails",))]) == []
