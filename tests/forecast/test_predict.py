"""The forecast of a deck: window, chance, reasons and shares."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from reminders.forecast import (
    FACTORS,
    PUBLISHED_PRIOR,
    Coats,
    SeasonalClock,
    predict,
    seasonal_rate,
    sun_on_deck,
)
from reminders.forecast.coats import CATEGORY_LEVELS
from reminders.forecast.exposure import DESIGN_COLUMNS, design_matrix
from reminders.forecast.priors import COEFFICIENT_PRIORS
from tests.forecast.conftest import MID_LATITUDE_SUN

TODAY = 18365.0
PLACE = {"latitude": 45.0, "sun": MID_LATITUDE_SUN, "wet_days": np.full(12, 10.0)}
words = st.fixed_dictionaries(
    {name: st.sampled_from(known) for name, known in CATEGORY_LEVELS.items()}
)
share = st.floats(0, 1)
decks = st.builds(
    lambda given, roof, summer, winter, facing, coats: Coats(
        coated_on=[18000.0],
        roof_cover=roof,
        summer_shade=summer,
        winter_shade=winter,
        orientation=facing,
        coats=coats,
        **PLACE,
        **given,
    ),
    words,
    share,
    share,
    share,
    st.one_of(st.just(np.nan), st.floats(0, 360)),
    st.integers(1, 6),
)


def known_deck(pace: float, variance: float = 0.01) -> Any:
    return replace(
        PUBLISHED_PRIOR,
        deck_keys=np.array([7]),
        deck_mean=np.array([pace]),
        deck_variance=np.array([variance]),
        version="test",
    )


def test_the_reference_deck_is_due_between_12_and_16_months(coats: Callable[..., Coats]) -> None:
    # Common practice, no source: clean and recoat every 12 to 16 months.
    found = predict(coats(sun=np.full(12, 14.3)), PUBLISHED_PRIOR, TODAY)
    assert design_matrix(coats(sun=np.full(12, 14.3))) == pytest.approx(0, abs=1e-12)
    assert found.due_months == pytest.approx([16.0])
    assert found.log_sd == pytest.approx([0.342], abs=0.0005)
    opens_months = 16 * np.exp(-0.8416212 * found.log_sd)
    assert opens_months == pytest.approx([12.0])
    assert found.window_opens == pytest.approx(
        [18366.0], abs=1
    )  # an even clock: 12 calendar months from 2019-04-14


@given(decks)
@settings(max_examples=60)
def test_reasons_sum_to_the_difference_from_the_reference_deck(deck: Coats) -> None:
    found = predict(deck, PUBLISHED_PRIOR, TODAY)
    assert found.contributions.sum(axis=1) == pytest.approx(
        found.due_months - found.reference_months, abs=1e-9
    )
    assert found.window_opens < found.due_by < found.late


@given(decks)
@settings(max_examples=60)
def test_each_harder_life_is_a_shorter_life(deck: Coats) -> None:
    due = predict(deck, PUBLISHED_PRIOR, TODAY).due_months[0]
    harder = {
        "traffic": "heavy",
        "salt": "spray",
        "litter": "heavy",
        "airflow": "poor",
        "preparation": "none",
    }
    easier = {"roof_cover": 1.0, "summer_shade": 1.0, "winter_shade": 1.0, "coats": 6}
    for name, word in harder.items():
        assert predict(_with(deck, name, word), PUBLISHED_PRIOR, TODAY).due_months[0] <= due * (
            1 + 1e-12
        )
    for name, most in easier.items():
        assert predict(_with(deck, name, most), PUBLISHED_PRIOR, TODAY).due_months[0] >= due * (
            1 - 1e-12
        )
    assert (
        predict(_with(deck, "sun", MID_LATITUDE_SUN * 1.2), PUBLISHED_PRIOR, TODAY).due_months[0]
        < due
    )
    assert (
        predict(_with(deck, "wet_days", np.full(12, 14.0)), PUBLISHED_PRIOR, TODAY).due_months[0]
        < due
    )


def test_boards_close_to_the_ground_wear_sooner_but_not_twice_for_one_damp_ground(
    coats: Callable[..., Coats],
) -> None:
    where = {
        "height": [0.2, 0.6, np.nan, 0.2, 0.6],
        "airflow": ["open", "open", "open", "poor", "poor"],
    }
    low, high, unknown, low_boxed, high_boxed = predict(
        coats(coated_on=[18000.0] * 5, **where), PUBLISHED_PRIOR, TODAY
    ).due_months
    assert low < high
    assert high == unknown
    assert low_boxed == high_boxed < low


def _with(deck: Coats, name: str, value: Any) -> Coats:
    return Coats(
        **({key: getattr(deck, key) for key in Coats.__dataclass_fields__} | {name: value})
    )


def test_the_order_of_finishes_is_that_of_williams_and_feist_2007(
    coats: Callable[..., Coats],
) -> None:
    # 35 finishes over 14 years (USDA FPL): clear repellent < tinted repellent < semitransparent
    # stain.
    classes = ["clear_repellent", "tinted", "semitransparent"]
    found = predict(
        coats(coated_on=[18000.0] * 3, finish_class=classes), PUBLISHED_PRIOR, TODAY
    ).due_months
    assert (np.diff(found) > 0).all()


@given(st.floats(1, 900), st.floats(0, 900), st.floats(-0.5, 0.5))
def test_conditional_dates_agree_with_a_truncated_normal(
    sound: float, later: float, pace: float
) -> None:
    deck = Coats(coated_on=[18000.0], deck=7, sound_on=18000.0 + sound, **PLACE)
    found = predict(deck, known_deck(pace), 18000.0 + sound + later)
    mean = np.log(found.median_months[0])
    spread = found.log_sd[0]
    clock = SeasonalClock(seasonal_rate(sun_on_deck(deck), deck.wet_days))
    ages = clock.reading([18000.0 + sound, 18000.0 + sound + later]) - clock.reading([18000.0])
    low, age = (np.log(ages) - [mean, 0]) / [spread, 1]
    law = stats.truncnorm(low, np.inf, loc=mean, scale=spread)
    assert np.log(found.due_months[0]) == pytest.approx(law.median(), abs=1e-6)
    assert found.chance_worn_today[0] == pytest.approx(law.cdf(age), abs=1e-6)
    assert found.due_by[0] >= 18000.0 + sound


def test_a_sound_inspection_moves_the_date_out_and_a_worn_one_in(
    coats: Callable[..., Coats],
) -> None:
    plain = predict(coats(), PUBLISHED_PRIOR, 18700.0)
    sound = predict(coats(sound_on=18600.0), PUBLISHED_PRIOR, 18700.0)
    worn = predict(coats(sound_on=18100.0, worn_on=18300.0), PUBLISHED_PRIOR, 18700.0)
    assert sound.due_by > plain.due_by
    assert sound.chance_worn_today < plain.chance_worn_today
    assert worn.chance_worn_today == 1
    assert 18100 < worn.window_opens < worn.late < 18300


def test_far_beyond_its_time_a_sound_coat_still_gets_dates(coats: Callable[..., Coats]) -> None:
    found = predict(coats(coated_on=[3000.0], sound_on=18000.0), PUBLISHED_PRIOR, 18001.0)
    assert np.isfinite([found.window_opens, found.due_by, found.late]).all()
    assert 18000 < found.window_opens < found.due_by < found.late
    assert 0 <= found.chance_worn_today < 0.2


def test_a_deck_that_wears_fast_says_so(coats: Callable[..., Coats]) -> None:
    found = predict(coats(coated_on=[18000.0] * 2, deck=[7, 8]), known_deck(-0.2), TODAY)
    own_history = found.contributions[:, FACTORS.index("own_history")]
    assert found.due_months[0] < found.due_months[1]
    assert own_history[0] < 0 == own_history[1]
    assert found.prior_share[0] < found.prior_share[1] == 1


def test_without_history_all_rests_on_the_prior(coats: Callable[..., Coats]) -> None:
    found = predict(coats(finish_class="tinted", salt="near"), PUBLISHED_PRIOR, TODAY)
    assert found.prior_share == pytest.approx([1.0])


def test_many_decks_agree_with_each_alone() -> None:
    rng = np.random.default_rng(5)
    given = {name: rng.integers(len(known), size=9000) for name, known in CATEGORY_LEVELS.items()}
    many = Coats(
        coated_on=rng.uniform(17000, 18000, 9000), roof_cover=rng.random(9000), **PLACE, **given
    )
    found = predict(many, PUBLISHED_PRIOR, TODAY)
    for row in (0, 8191, 8192, 8999):
        alone = predict(many.take(slice(row, row + 1)), PUBLISHED_PRIOR, TODAY)
        assert alone.due_by == pytest.approx(found.due_by[row : row + 1])
        assert alone.contributions[0] == pytest.approx(found.contributions[row], abs=1e-9)


def test_south_of_the_equator_summer_shade_counts_in_january() -> None:
    place = {"sun": np.roll(MID_LATITUDE_SUN, 6), "wet_days": np.full(12, 10.0), "latitude": -45.0}
    summer = predict(Coats(coated_on=[18000.0], summer_shade=0.8, **place), PUBLISHED_PRIOR, TODAY)
    winter = predict(Coats(coated_on=[18000.0], winter_shade=0.8, **place), PUBLISHED_PRIOR, TODAY)
    shade = FACTORS.index("shade")
    assert summer.contributions[0, shade] > winter.contributions[0, shade] > 0


def test_every_prior_has_a_source_and_a_mark() -> None:
    assert [prior.name for prior in COEFFICIENT_PRIORS[1:-2]] == list(DESIGN_COLUMNS)
    assert all(
        prior.source and prior.sd > 0 and prior.mark in {"READ", "MEMORY", "JUDGEMENT"}
        for prior in COEFFICIENT_PRIORS
    )
    assert len(FACTORS) == len(set(FACTORS))


@pytest.mark.parametrize(
    ("given", "message"),
    [
        (
            {"finish_class": "lacquer"},
            "finish_class must be one of penetrating_oil, .*; row 0 has lacquer",
        ),
        ({"coated_on": [18000.0, np.nan]}, "coated_on must lie between .*; row 1 has nan"),
        ({"roof_cover": 1.2}, r"roof_cover must lie between 0 and 1; row 0 has 1\.2"),
        ({"coats": 0}, r"coats must lie between 1 and 50; row 0 has 0\.0"),
        ({"orientation": -5}, r"orientation must lie between 0 and 360; row 0 has -5\.0"),
        ({"sun": np.zeros(12)}, "sun must not be zero all year"),
        ({"sun": np.ones(11)}, r"sun must have twelve months a row; got shape \(1, 11\)"),
        ({"wet_days": np.full(12, 32.0)}, r"wet_days must lie between 0 and 31; row 0 has 32\.0"),
        ({"coats": [1, 2, 3]}, r"coats must have one value or 1 rows; got shape \(3,\)"),
        ({"traffic": 9}, "traffic must be one of household, light, heavy; row 0 has 9"),
        ({"sound_on": 17000.0}, r"sound_on must not lie before coated_on; row 0 has 17000\.0"),
        ({"sound_on": 18100.0, "worn_on": 18050.0}, "worn_on must lie after sound_on"),
    ],
)
def test_bad_coats_are_refused_by_name_and_value(
    coats: Callable[..., Coats], given: dict[str, Any], message: str
) -> None:
    with pytest.raises(ValueError, match=message):
        coats(**given)


def test_an_inspection_after_today_is_refused(coats: Callable[..., Coats]) -> None:
    with pytest.raises(
        ValueError, match="sound_on must not lie after today; row 0 has 18400 and today is 18365"
    ):
        predict(coats(sound_on=18400.0), PUBLISHED_PRIOR, TODAY)
