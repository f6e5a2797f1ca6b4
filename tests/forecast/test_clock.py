"""The seasonal clock, its months and its exact inverse."""

from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reminders.forecast import SeasonalClock, seasonal_rate
from reminders.forecast.clock import ClockWeights
from tests.forecast.conftest import MID_LATITUDE_SUN

RATE = seasonal_rate(MID_LATITUDE_SUN, np.full(12, 10.0))
days = st.floats(-20000, 60000)


def day(year: int, month: int, of_month: int) -> float:
    return float((date(year, month, of_month) - date(1970, 1, 1)).days)


def test_an_even_clock_counts_calendar_months() -> None:
    clock = SeasonalClock(np.ones(12))
    assert clock.months_between([day(2024, 1, 31)], [day(2024, 2, 29)]) == pytest.approx(
        [28 / 29 + 1 / 31]
    )
    assert clock.months_between([day(2023, 2, 1)], [day(2024, 2, 1)]) == pytest.approx(
        [12.0], abs=1e-12
    )


@given(st.integers(-6_000, 12_000))
def test_an_even_clock_counts_each_month_of_any_century_as_one(month: int) -> None:
    """From 1470 to 2970; the calendar begins again after 400 years."""
    ends = (
        np.array([month, month + 1]).astype("datetime64[M]").astype("datetime64[D]").astype(float)
    )
    clock = SeasonalClock(np.ones(12))
    assert clock.reading(ends) == pytest.approx([month, month + 1], abs=1e-9)
    assert clock.day_of([month + 0.5]) == pytest.approx([ends.mean()], abs=1e-6)


@given(days)
def test_twelve_months_pass_in_every_year_from_month_to_month(start: float) -> None:
    first = np.datetime64(int(start), "D").astype("datetime64[M]")
    ends = (first, first + np.timedelta64(12, "M"))
    year = [float(month.astype("datetime64[D]").astype(int)) for month in ends]
    assert SeasonalClock(RATE).months_between(year[:1], year[1:]) == pytest.approx([12.0], abs=1e-9)


@given(
    days,
    st.lists(st.floats(0, 30), min_size=12, max_size=12),
    st.lists(st.floats(0, 31), min_size=12, max_size=12),
)
def test_the_inverse_gives_the_day_back(start: float, sun: list[float], wet: list[float]) -> None:
    clock = SeasonalClock(seasonal_rate(np.array(sun) + 0.01, wet))
    assert clock.day_of(clock.reading([start])) == pytest.approx([start], abs=1e-6)


@given(days, st.floats(0, 100), st.floats(0, 100))
def test_later_days_show_more_and_ages_add_up(start: float, first: float, second: float) -> None:
    clock = SeasonalClock(RATE)
    there = clock.day_after(clock.day_after([start], first), second)
    assert clock.months_between([start], there) == pytest.approx([first + second], abs=1e-6)
    assert there[0] >= start - 1e-6


def test_a_coat_put_on_before_summer_wears_sooner() -> None:
    north = SeasonalClock(RATE)
    south = SeasonalClock(np.roll(RATE, 6, axis=1))
    spring = day(2025, 4, 1)
    autumn = day(2025, 10, 1)
    assert north.day_after([spring], 4.0)[0] - spring < north.day_after([autumn], 4.0)[0] - autumn
    assert south.day_after([spring], 4.0)[0] - spring > south.day_after([autumn], 4.0)[0] - autumn


def test_many_clocks_agree_with_each_alone() -> None:
    rng = np.random.default_rng(3)
    rates = seasonal_rate(rng.uniform(1, 25, (50, 12)), rng.uniform(0, 20, (50, 12)))
    starts = rng.uniform(10000, 30000, 50)
    alone = [
        SeasonalClock(rate).day_after([start], 17.0)[0]
        for rate, start in zip(rates, starts, strict=True)
    ]
    assert SeasonalClock(rates).day_after(starts, 17.0) == pytest.approx(alone)


def test_a_desert_without_wet_days_has_a_clock() -> None:
    assert seasonal_rate(MID_LATITUDE_SUN, np.zeros(12)).mean() == pytest.approx(1.0)


def test_the_only_wet_day_of_a_year_does_not_make_its_month_count_for_three() -> None:
    desert = np.zeros(12)
    desert[0] = 0.6
    rate = seasonal_rate(np.full(12, 20.0), desert)[0]
    assert rate.mean() == pytest.approx(1.0)
    assert 1.0 < rate[0] < 1.1
    assert np.ptp(rate[1:]) == pytest.approx(0)


def test_where_it_rains_on_three_days_a_month_or_more_rain_has_its_whole_say() -> None:
    wet = np.array([6.0, 0.0] * 6)  # three a month in the mean
    rate = seasonal_rate(np.full(12, 20.0), wet)[0]
    assert rate[:2] == pytest.approx([0.5 + 0.3 + 0.2 * 2, 0.5 + 0.3])


def test_unknown_dates_stay_unknown() -> None:
    assert np.isnan(SeasonalClock(RATE).day_of(SeasonalClock(RATE).reading([np.nan]))).all()


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: ClockWeights(0.9, 0.2), r"sun and wet .* got 0\.9, 0\.2"),
        (
            lambda: SeasonalClock(np.ones(11)),
            r"rate must hold twelve positive numbers a row; got shape \(1, 11\)",
        ),
        (lambda: SeasonalClock(np.zeros(12)), "rate must hold twelve positive numbers"),
    ],
)
def test_a_clock_that_could_stop_is_refused(call: object, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        call()
