"""Litres by spread rate and by film, surfaces, and what texture and timber do to a spread rate."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.materials import (
    MaterialError,
    Surfaces,
    expected_spread,
    litres_at_film,
    litres_at_spread,
)

D = Decimal


def test_eighteen_square_metres_in_two_coats_at_nine_take_four_litres() -> None:
    """Common practice, no source: a litre covers about 9 m² a coat, so 18 m² in two coats take 4
    L."""
    assert litres_at_spread(area_m2=D(18), coats=2, spread_m2_per_l=D(9)) == 4


@pytest.mark.parametrize(
    ("area", "film", "times", "litres"),
    [("18", "1", 1, "18"), ("1", "1", 1, "1"), ("20", "0.5", 2, "20")],
)
def test_a_millimetre_is_a_litre_on_a_square_metre(
    area: str, film: str, times: int, litres: str
) -> None:
    """1 mm · 1 m² = 0.001 m³ = 1 L: the definition of the litre (BIPM, SI Brochure, table 8)."""
    assert litres_at_film(area_m2=D(area), film_mm=D(film), applications=times) == D(litres)


@pytest.mark.parametrize(
    ("solids_percent", "dry_um", "spread"),
    [
        # Theoretical spread = 10 · volume solids % / dry film µm, from published coverage tables of
        # coatings.
        (65, 125, "5.2"),
        (100, 25, "40"),
        (60, 50, "12"),
        (40, 100, "4"),
    ],
)
def test_litres_agree_with_published_coverage_tables(
    solids_percent: int, dry_um: int, spread: str
) -> None:
    """The same film by both roads: a wet film of dry/solids on 100 m², and the tabled spread
    rate."""
    wet_mm = D(dry_um) / D(solids_percent) * 100 / 1000

    by_film = litres_at_film(area_m2=D(100), film_mm=wet_mm)
    by_spread = litres_at_spread(area_m2=D(100), coats=1, spread_m2_per_l=D(spread))

    assert abs(by_film - by_spread) <= D("0.01")
    assert 1 / D(spread) == wet_mm  # one litre on one square metre stands one millimetre high


def test_what_is_lost_in_the_tool_is_bought_as_well() -> None:
    """Coating handbooks: brush and roller lose 10 to 15 %;
    litres = area · coats / (spread · (1 − loss))."""
    assert litres_at_spread(area_m2=D(90), coats=1, spread_m2_per_l=D(9), loss_share=D("0.1")) == D(
        "11.12"
    )  # 10 / 0.9
    assert litres_at_film(area_m2=D(9), film_mm=D(1), loss_share=D("0.1")) == 10


@pytest.mark.parametrize(
    ("smooth", "rough"),
    [
        ("4.9", "2.4"),
        ("9.8", "4.9"),
    ],  # Wood Handbook FPL-GTR-190 ch. 16, semitransparent stain, m² a litre
)
def test_sawn_and_weathered_wood_take_what_the_wood_handbook_says(smooth: str, rough: str) -> None:
    for texture in ("sawn", "weathered"):
        held = expected_spread(D(smooth), texture=texture, species_class="soft", is_film=False)

        assert held == pytest.approx(D(rough), rel=D("0.03"))
    assert expected_spread(D(smooth), texture="smooth", species_class="soft", is_film=False) == D(
        smooth
    )


def test_a_film_lies_on_rough_wood_and_loses_a_fifth_at_most() -> None:
    """Coating handbooks take 5 to 20 % more for roughness;
    timber does not matter to what does not soak in."""
    held = {
        expected_spread(D(10), texture="sawn", species_class=c, is_film=True)
        for c in ("soft", "hardwood")
    }

    assert held == {8}


def test_thirsty_cedar_takes_more_and_dense_hardwood_less_than_pine() -> None:
    """Common practice, no source."""
    cedar, pine, ipe = (
        expected_spread(D(9), texture="smooth", species_class=c, is_film=False)
        for c in ("durable_soft", "soft", "hardwood")
    )

    assert cedar < pine < ipe


def test_treads_and_rails_count_by_their_usual_size() -> None:
    """Common practice, no source; here the sizes: 0.9 · (0.28 + 0.18) m;
    rails, balusters and a post every 1.8 m all round."""
    surfaces = Surfaces.from_measures(area_m2=D(18), treads=5, rail_m=D(10), screen_m2=D(3))

    assert surfaces.stairs == pytest.approx(5 * D("0.9") * D("0.46"), rel=D("0.05"))
    balusters = D("0.8") / D("0.14") * 4 * D("0.038")
    rails = 2 * 2 * (D("0.038") + D("0.089"))
    posts = D("0.9") / D("1.8") * 4 * D("0.089")
    assert surfaces.rails == pytest.approx(10 * (balusters + rails + posts), rel=D("0.05"))
    assert surfaces.total == 18 + 2 + 16 + 3
    assert dict(Surfaces(D(18)).nonzero_areas()) == {"boards": 18}


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"area_m2": D(0)}, "The area must be more than 0"),
        ({"area_m2": D(-3)}, "The area must be more than 0"),
        ({"area_m2": D("NaN")}, "The area must be more than 0"),
        ({"spread_m2_per_l": D(0)}, "The spread rate must be more than 0"),
        ({"spread_m2_per_l": D("Infinity")}, "The spread rate must be more than 0"),
        ({"coats": 0}, "The number of coats must be more than 0"),
        ({"loss_share": D(1)}, "less than 100 %"),
        ({"loss_share": D("-0.1")}, "at least 0"),
    ],
)
def test_a_figure_that_is_of_no_use_is_named(wrong: dict[str, object], said: str) -> None:
    right = {"area_m2": D(18), "coats": 2, "spread_m2_per_l": D(9), "loss_share": D(0)}

    with pytest.raises(MaterialError, match=said):
        litres_at_spread(**{**right, **wrong})


@given(
    area=st.decimals("0.1", "5000", places=2),
    coats=st.integers(1, 6),
    spread=st.decimals("0.5", "50", places=2),
    loss=st.decimals("0", "0.9", places=2),
)
def test_litres_always_suffice_and_are_at_most_a_centilitre_too_many(
    area: Decimal, coats: int, spread: Decimal, loss: Decimal
) -> None:
    litres = litres_at_spread(area_m2=area, coats=coats, spread_m2_per_l=spread, loss_share=loss)
    covered = litres * spread * (1 - loss) / coats

    assert covered >= area * (1 - D("1e-20"))
    assert covered - area <= D("0.01") * spread * (1 - loss) / coats
