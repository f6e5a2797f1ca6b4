"""The best age and month to recoat, and the plan of the years."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, optimize, special, stats

from reminders.forecast import (
    FILM_WEAR,
    OIL_WEAR,
    SeasonalClock,
    UpkeepLaw,
    UpkeepRule,
    WearLimits,
    best_workable_month,
    optimal_recoat_age,
    plan_coating_jobs,
    recoats_between_strips,
    seasonal_rate,
    upkeep_table,
    workable_months,
)
from reminders.forecast.replacement import cheapest_age

EVEN = SeasonalClock(np.ones(12))
SUMMER = np.array([False] * 4 + [True] * 6 + [False] * 2)


def test_a_weibull_part_is_replaced_at_493_hours() -> None:
    # Documentation of the `reliability` package, "Optimal replacement time": Weibull scale 1000,
    # shape 2.5, planned 1, failed 5 give 493.19 and 0.0035 (read; taken off a grid, so the last
    # digits are the grid's).
    def lived(age: np.ndarray) -> np.ndarray:
        return 1000 / 2.5 * special.gamma(0.4) * special.gammainc(0.4, (age / 1000) ** 2.5)

    found = cheapest_age(
        lambda age: 1 + 4 * -np.expm1(-((age / 1000) ** 2.5)), lived, 5.0, horizon=5000
    )
    assert found.months == pytest.approx(493.19, abs=0.5)
    assert found.upkeep_a_year / 12 == pytest.approx(0.0035, abs=5e-5)


def test_a_part_that_does_not_age_is_never_replaced() -> None:
    # Barlow & Hunter (1960): with a constant hazard planned replacement cannot pay.
    found = cheapest_age(
        lambda age: 1 - 4 * np.expm1(-age / 20), lambda age: -20 * np.expm1(-age / 20), 5.0
    )
    assert found.months == np.inf
    assert found.upkeep_a_year == found.neglect_a_year == pytest.approx(12 * 5 / 20)


@given(st.floats(2, 4), st.floats(0.15, 0.45), st.floats(2.5, 8))
@settings(max_examples=15)
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


@pytest.mark.parametrize("limits", [OIL_WEAR, FILM_WEAR])
def test_the_reference_deck_is_recoated_when_the_trade_does(limits: WearLimits) -> None:
    # Common practice, no source: 12 to 16 months, when a strip costs about three times a clean and
    # recoat and the coats never grow too thick.
    found = optimal_recoat_age(np.log(16), 0.342, 900.0, 2700.0, limits)
    assert 12 < found.months < 16
    assert found.neglect_a_year > found.upkeep_a_year


def test_the_strip_that_its_own_plan_forces_is_counted() -> None:
    # Worked out apart by a check of the program: with two coats a job three recoats fit between
    # strips, and the best age of a film is then 20.5 months and 1,019 a year, not 15.8 and 849.
    assert recoats_between_strips(2) == 3
    found = optimal_recoat_age(np.log(16), 0.342, 900.0, 2700.0, FILM_WEAR, 3)
    alone = optimal_recoat_age(np.log(16), 0.342, 900.0, 2700.0, FILM_WEAR)
    assert (round(found.months, 1), round(found.upkeep_a_year)) == (20.5, 1019)
    assert (round(alone.months, 1), round(alone.upkeep_a_year)) == (15.8, 849)


def cost_over_ten_years(
    age: float, limits: WearLimits, coats: int, workable: np.ndarray, *, decks: int = 3000
) -> float:
    """By brute force: decks lived month by month for ten years on a seasonal clock, each coat
    renewed in the workable month nearest to the age; what was paid against the months in which a
    coat protected, in prices of a recoat."""
    rng = np.random.default_rng(20261130)
    sun = 12 - 8 * np.cos(2 * np.pi * (np.arange(12) - 0.5) / 12)
    clock = SeasonalClock(seasonal_rate(sun, np.full(12, 10.0)))
    days = np.arange("2027-01", "2037-01", dtype="datetime64[M]").astype("datetime64[D]")
    reading = clock.reading(days.astype(float) + 15)
    # coats of all ages at the start, so that no month of the calendar leads
    life = np.exp(rng.normal(np.log(16), 0.342, decks))
    start = reading[0] - rng.uniform(0, 1, decks) * np.minimum(age, limits.strip_ratio * life)
    build = coats * rng.integers(1, recoats_between_strips(coats) + 2, decks)
    paid = np.zeros(decks)
    kept = -np.minimum(reading[0] - start, limits.protected_ratio * life)  # before the ten years
    for at in range(len(days)):
        if not workable[at % 12]:
            continue
        lived = reading[at] - start
        later = next(k for k in range(at + 1, at + 13) if workable[k % 12])
        next_reading = (
            reading[at]
            + clock.reading([days[at].astype(float) + 30.44 * (later - at)])[0]
            - clock.reading([days[at].astype(float)])[0]
        )
        gone = lived >= limits.strip_ratio * life
        is_due = np.abs(lived - age) <= np.abs(next_reading - start - age)
        works = gone | (is_due & (lived > 3))
        strips = works & (gone | (build > 6))
        worn = works & ~strips & (lived >= life)
        paid += works + strips * 1.2 + worn * min(limits.worn_extra, 1.2)
        kept += np.where(works, np.minimum(lived, limits.protected_ratio * life), 0)
        build = np.where(strips, coats, np.where(works, build + coats, build))
        start = np.where(works, reading[at], start)
        life = np.where(works, np.exp(rng.normal(np.log(16), 0.342, decks)), life)
    kept += np.minimum(reading[-1] - start, limits.protected_ratio * life)
    return float(paid.sum() / kept.sum())


@pytest.mark.parametrize(("limits", "coats"), [(OIL_WEAR, 1), (OIL_WEAR, 2), (FILM_WEAR, 2)])
@pytest.mark.parametrize(("workable", "more"), [(np.ones(12, dtype=bool), 1.02), (SUMMER, 1.08)])
def test_no_age_is_cheaper_over_ten_years_by_brute_force(
    workable: np.ndarray, more: float, limits: WearLimits, coats: int
) -> None:
    """Where work can be done all year; in a season of six months the rhythm of the years moves the
    cheapest age a little, and what the rule loses by not knowing it is small."""
    best = optimal_recoat_age(
        np.log(16), 0.342, 1.0, 2.2, limits, recoats_between_strips(coats)
    ).months

    ours = cost_over_ten_years(best, limits, coats, workable)

    tried = [cost_over_ten_years(age, limits, coats, workable) for age in np.arange(8.0, 40.0)]
    assert ours <= more * min(tried)


def test_the_table_of_best_ages_says_what_the_search_says() -> None:
    spread = np.array([0.3, 0.34, 0.36])
    found = upkeep_table(spread, np.array([0.0, 1.0, 1.0]), np.array([2.0, np.nan, 1.0]), 2.2)
    for at, (limits, recoats) in enumerate([(OIL_WEAR, 3), (FILM_WEAR, 3), (FILM_WEAR, 6)]):
        law = UpkeepLaw(0.0, spread[at], 2.2, limits, recoats)
        best = optimal_recoat_age(0.0, spread[at], 1.0, 2.2, limits, recoats).months
        assert found.best[at] == pytest.approx(best, rel=1e-3)
        ages = np.array([0.7, 1.9])
        for age in ages:
            logs = found.log_cost(np.full(3, age))
            assert logs[at] == pytest.approx(np.log(law.monthly(np.array([age])))[0], abs=2e-3)


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
