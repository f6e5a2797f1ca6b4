"""The best age and month to recoat, and the plan of the years."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, optimize, special, stats

from reminders.forecast import (
    SeasonalClock,
    UpkeepRule,
    best_workable_month,
    optimal_recoat_age,
    plan_coating_jobs,
    workable_months,
)
from reminders.forecast.replacement import optimal_replacement_age

EVEN = SeasonalClock(np.ones(12))
SUMMER = np.array([False] * 4 + [True] * 6 + [False] * 2)


def test_a_weibull_part_is_replaced_at_493_hours() -> None:
    # Documentation of the `reliability` package, "Optimal replacement time": Weibull scale 1000,
    # shape 2.5, planned 1, failed 5 give 493.19 and 0.0035 (read; taken off a grid, so the last
    # digits are the grid's).
    def lived(age: np.ndarray) -> np.ndarray:
        return 1000 / 2.5 * special.gamma(0.4) * special.gammainc(0.4, (age / 1000) ** 2.5)

    found = optimal_replacement_age(
        lambda age: np.exp(-((age / 1000) ** 2.5)), lived, 1.0, 5.0, horizon=5000
    )
    assert found.months == pytest.approx(493.19, abs=0.5)
    assert found.upkeep_a_year / 12 == pytest.approx(0.0035, abs=5e-5)


def test_a_part_that_does_not_age_is_never_replaced() -> None:
    # Barlow & Hunter (1960): with a constant hazard planned replacement cannot pay.
    found = optimal_replacement_age(
        lambda age: np.exp(-age / 20), lambda age: 20 * (1 - np.exp(-age / 20)), 1.0, 5.0
    )
    assert found.months == np.inf
    assert found.upkeep_a_year == found.neglect_a_year == pytest.approx(12 * 5 / 20)


@given(st.floats(2, 4), st.floats(0.15, 0.45), st.floats(2.5, 8))
@settings(max_examples=15, deadline=None)
def test_the_best_age_agrees_with_scipy(mean: float, spread: float, ratio: float) -> None:
    found = optimal_recoat_age(mean, spread, 100.0, 100.0 * ratio)
    law = stats.lognorm(spread, scale=1.5 * np.exp(mean))

    def rate(age: float) -> float:
        return (100 * law.sf(age) + 100 * ratio * law.cdf(age)) / integrate.quad(law.sf, 0, age)[0]

    best = optimize.minimize_scalar(
        rate, bounds=(0.1 * law.median(), 1.2 * law.median()), method="bounded"
    )
    assert found.upkeep_a_year == pytest.approx(
        12 * min(best.fun, 100 * ratio / law.mean()), rel=1e-5
    )
    assert found.upkeep_a_year <= found.neglect_a_year


def test_the_reference_deck_is_recoated_when_the_trade_does() -> None:
    # Common practice, no source: 12 to 16 months, when a strip costs about three times a clean and
    # recoat.
    found = optimal_recoat_age(np.log(16), 0.342, 900.0, 2700.0)
    assert 12 < found.months < 16
    assert found.neglect_a_year > found.upkeep_a_year


def test_a_dearer_strip_means_an_earlier_recoat() -> None:
    ages = [
        optimal_recoat_age(np.log(16), 0.342, 900.0, cost).months
        for cost in (2000, 3000, 5000, 9000)
    ]
    assert (np.diff(ages) < 0).all()


def test_a_strip_cheaper_than_a_recoat_is_waited_for() -> None:
    assert optimal_recoat_age(np.log(16), 0.342, 900.0, 800.0).months == np.inf


def test_only_warm_dry_months_of_the_season_are_worked() -> None:
    warm = np.array([-5, -4, 0, 5, 11, 16, 19, 19, 15, 10, 5, -1.0])
    wet = np.array([12, 11, 12, 11, 10, 10, 9, 17, 9, 10, 12, 13.0])
    assert np.flatnonzero(workable_months(warm, wet)).tolist() == [4, 5, 6, 8, 9]
    season = np.arange(12) < 6
    assert np.flatnonzero(workable_months(warm, wet, season=season)).tolist() == [4, 5]
    assert np.flatnonzero(workable_months(warm - 30, wet)).tolist() == [6]


def test_the_best_month_is_the_nearest_workable_one() -> None:
    coated = 20209.0  # 1 May 2025
    month = best_workable_month(EVEN, coated, 14.5, SUMMER, not_before=coated)
    assert (month.year, month.month_of_year) == (2026, 7)
    autumn = best_workable_month(EVEN, coated, 20.0, SUMMER, not_before=coated)
    assert (autumn.year, autumn.month_of_year) in {(2026, 10), (2027, 5)}
    overdue = best_workable_month(EVEN, coated, 14.0, SUMMER, not_before=coated + 1000)
    assert overdue.middle >= coated + 985


def test_more_than_six_coats_are_stripped_with_two_applications() -> None:
    jobs = plan_coating_jobs(
        EVEN,
        UpkeepRule(14.0, SUMMER, coats_a_job=2, recoat_cost=900.0, strip_cost=2700.0),
        first_on=20635.0,  # 1 July 2026
        until=20300.0 + 8 * 365.25,
        build=4,
    )
    assert [job.work for job in jobs[:4]] == ["recoat", "recoat", "strip", "recoat"]
    assert [(job.build_before, job.build_after) for job in jobs[:4]] == [
        (4, 6),
        (6, 8),
        (8, 2),
        (2, 4),
    ]
    assert [job.stripper_applications for job in jobs[:4]] == [0, 0, 2, 0]
    assert all(SUMMER[job.month.month_of_year - 1] for job in jobs)
    assert (np.diff([job.month.number for job in jobs]) >= 6).all()


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: optimal_recoat_age(2.7, 0.3, 0.0, 10.0), r"recoat_cost must be above 0; got 0\.0"),
        (lambda: optimal_recoat_age(2.7, 0.3, 10.0, np.nan), "strip_cost must be above 0; got nan"),
        (
            lambda: best_workable_month(EVEN, 0.0, 14.0, [False] * 12, not_before=0.0),
            "workable must have twelve months",
        ),
        (
            lambda: workable_months(np.ones(12), np.ones(12), season=[True] * 3),
            "season must have twelve months",
        ),
    ],
)
def test_bad_plans_are_refused(call: object, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        call()
