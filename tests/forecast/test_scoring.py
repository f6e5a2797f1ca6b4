"""The curve without assumptions, and scores of forecasts."""

import warnings

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from lifelines import KaplanMeierFitter
from lifelines.datasets import load_diabetes
from scipy import stats

from reminders.forecast import (
    PUBLISHED_PRIOR,
    Coats,
    InspectionData,
    SeasonalClock,
    Visits,
    life_bounds,
    scored_visits,
    seasonal_rate,
    sun_on_deck,
    worn_chances_at_visits,
)
from reminders.forecast.intervals import CensoredLives
from reminders.forecast.prediction import predict_log_life
from reminders.forecast.scoring import (
    calibration_bins,
    estimate_window_coverage,
    score_forecast,
    window_scores,
)
from reminders.forecast.turnbull import TurnbullEstimate, turnbull_estimate
from tests.forecast.oracles import MICROPROCESSORS, TUBES, WHEELS


def below(curve: TurnbullEstimate, age: float) -> float:
    return float(curve.mass[curve.right <= age].sum())


def log_likelihood(curve: TurnbullEstimate, lives: CensoredLives) -> float:
    """Of these lives: the mass of the curve within each (lower, upper]."""
    is_within = (curve.left >= lives.lower[:, None]) & (curve.right <= lives.upper[:, None])
    return float((lives.weight * np.log(is_within @ curve.mass)).sum())


def test_a_curve_worked_by_hand() -> None:
    # Fay & Shaw (2010), J. Stat. Softw. 36(2): 2/7 on (2, 3] and (5, 6], 3/14 on (9, 10] and (10,
    # 12].
    lower = np.array([2, 5, 1, 1, 9, 8, 10.0])
    upper = np.array([3, 6, 7, 7, 12, 10, 13.0])
    curve = turnbull_estimate(lower, upper)
    held = curve.mass > 1e-6
    assert curve.mass[held] == pytest.approx([2 / 7, 2 / 7, 3 / 14, 3 / 14], abs=1e-4)
    assert curve.left[held].tolist() == [2, 5, 9, 10]
    assert curve.right[held].tolist() == [3, 6, 10, 12]


def test_the_curve_of_the_tubes_has_a_closed_form() -> None:
    # Meeker & Escobar (1998) ch. 3 by plant; pooled 4/300, then the surviving shares of 197 and 97
    # tubes.
    curve = turnbull_estimate(TUBES.lower, TUBES.upper, TUBES.weight)
    first = 1 - 4 / 300
    second = (1 - 4 / 300) * (1 - 5 / 197)
    known = [1 - first, 1 - second, 1 - second * (1 - 2 / 97)]
    assert [below(curve, age) for age in (1, 2, 3)] == pytest.approx(known, abs=1e-5)
    assert log_likelihood(curve, TUBES) == pytest.approx(-54.290366, abs=1e-5)


def test_the_curve_of_the_wheels_is_isotonic_regression() -> None:
    curve = turnbull_estimate(WHEELS.lower, WHEELS.upper, WHEELS.weight, tolerance=1e-12)
    known = [
        0,
        0.06977,
        0.06977,
        0.09589,
        0.16667,
        0.22222,
        0.22222,
        0.46154,
        0.58108,
        0.58108,
        0.58333,
    ]
    found = [below(curve, age) for age in (4, 10, 14, 18, 22, 26, 30, 34, 38, 42, 46)]
    assert found == pytest.approx(known, abs=2e-4)
    assert log_likelihood(curve, WHEELS) == pytest.approx(-184.988153, abs=1e-3)


def test_the_flat_curve_of_the_microprocessors() -> None:
    curve = turnbull_estimate(MICROPROCESSORS.lower, MICROPROCESSORS.upper, MICROPROCESSORS.weight)
    assert log_likelihood(curve, MICROPROCESSORS) == pytest.approx(-101.065325, abs=1e-3)
    assert curve.mass[-1] == pytest.approx(0.9736379, abs=1e-4)


def test_right_censored_lives_agree_with_kaplan_and_meier() -> None:
    rng = np.random.default_rng(1)
    life = np.ceil(rng.exponential(12, 200))
    end = np.ceil(rng.uniform(1, 30, 200))
    worn = life <= end
    curve = turnbull_estimate(np.where(worn, life - 1, end), np.where(worn, life, np.inf))
    other = KaplanMeierFitter().fit(np.minimum(life, end), worn)
    for age in (3, 9, 15):
        assert 1 - below(curve, age) == pytest.approx(other.predict(age), abs=1e-4)


def test_lives_known_exactly_agree_with_kaplan_and_meier() -> None:
    # Whole months, so that lives end on the days on which others were last seen sound.
    rng = np.random.default_rng(2)
    life = np.ceil(rng.exponential(12, 200))
    end = np.ceil(rng.uniform(1, 30, 200))
    worn = life <= end
    seen = np.minimum(life, end)
    curve = turnbull_estimate(seen, np.where(worn, seen, np.inf))
    other = KaplanMeierFitter().fit(seen, worn)
    for age in (1, 3, 9, 15, 29):
        assert 1 - below(curve, age) == pytest.approx(other.predict(age), abs=1e-5)
        assert curve.mass_between(0, age) == pytest.approx(below(curve, age), abs=1e-9)
    held = curve.mass > 1e-9
    assert (curve.left == curve.right)[held & np.isfinite(curve.right)].all()


def test_exact_and_bounded_lives_together_agree_with_lifelines() -> None:
    # 595 onsets of kidney damage known to the year, 136 between two years (Borch-Johnsen et al.
    # 1985, as lifelines carries them). lifelines takes intervals as closed: a hair above l opens
    # them there.
    data = load_diabetes()
    lower, upper = (data[name].to_numpy(float) for name in ("left", "right"))
    curve = turnbull_estimate(lower, upper)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        other = KaplanMeierFitter().fit_interval_censoring(
            np.where(lower < upper, lower + 1e-9, lower), upper, tol=1e-9
        )
    known = other.survival_function_
    for age in (8.5, 12.5, 16.5, 20.5, 25.5):
        row = known.iloc[known.index.searchsorted(age, side="right") - 1]
        assert 1 - below(curve, age) == pytest.approx(row.mean(), abs=1e-4)


@given(st.lists(st.tuples(st.integers(0, 20), st.integers(0, 10)), min_size=1, max_size=30))
def test_masses_are_a_distribution(pairs: list[tuple[int, int]]) -> None:
    lower = np.array([float(low) for low, _ in pairs])
    curve = turnbull_estimate(lower, lower + [float(width) for _, width in pairs])
    assert curve.mass.sum() == pytest.approx(1)
    assert (curve.mass >= 0).all()


def test_scores_of_a_coin() -> None:
    found = score_forecast([0.5, 0.5], [True, False])
    assert (found.log_score, found.brier) == pytest.approx((np.log(2), 0.25))
    assert found.observed_over_expected == 1
    assert np.isnan(score_forecast([], []).log_score)


def interval_score(low: float, high: float, life: float) -> float:
    """Gneiting & Raftery (2007), J. Am. Stat. Assoc. 102:359, eq. 43, with alpha = 0.4."""
    missed = max(low - life, 0) + max(life - high, 0)
    return (high - low) + 2 / 0.4 * missed


@pytest.mark.parametrize("life", [3.0, 11.0, 14.0, 31.0])
@pytest.mark.parametrize(("low", "high"), [(10.0, 18.0), (0.0, 40.0), (20.0, 21.0)])
def test_window_scores_of_visits_at_all_ages_add_up_to_the_interval_score(
    low: float, high: float, life: float
) -> None:
    step = 0.01
    ages = np.arange(step / 2, 40, step)
    chance = np.select([ages < low, ages < high], [0.1, 0.5], 0.9)
    found = window_scores(chance, ages >= life).sum() * step
    assert found == pytest.approx(interval_score(low, high, life), abs=0.05)


def test_an_endless_window_costs_one_at_every_visit_and_a_right_one_less() -> None:
    rng = np.random.default_rng(3)
    life = np.exp(rng.normal(2.8, 0.3, 4000))
    age = rng.uniform(1, 40, 4000)
    right, narrow, wide, endless = (
        window_scores(stats.norm.cdf((np.log(age) - 2.8) / spread), age >= life).mean()
        for spread in (0.3, 0.05, 1.2, 1e9)
    )
    assert endless == 1
    assert right < min(narrow, wide) < max(narrow, wide) <= 1.0 + 0.1
    assert score_forecast(np.full(3, 0.5), [True, False, True]).window_score == 1


def test_reliability_counts_each_step() -> None:
    bins = calibration_bins([0.05, 0.95, 0.92, 1.0], [False, True, True, False])
    assert [(b.low, b.visits, b.found) for b in bins] == [
        (0.0, 1, 0.0),
        (0.9, 3, pytest.approx(2 / 3)),
    ]


@pytest.mark.parametrize(
    ("factor", "true"),
    [(1.0, 0.6), (0.6, float(1 - 2 * stats.norm.cdf(0.6 * stats.norm.ppf(0.2)))), (1.6, 0.822)],
)
def test_coverage_tells_a_right_spread_from_a_wrong_one(factor: float, true: float) -> None:
    rng = np.random.default_rng(5)
    z = rng.normal(size=3000)
    visits = np.sort(rng.uniform(-2.5, 2.5, (3000, 5)), axis=1)
    low = np.where(visits < z[:, None], visits, -np.inf).max(axis=1)
    high = np.where(visits >= z[:, None], visits, np.inf).min(axis=1)
    true = float(1 - 2 * stats.norm.cdf(factor * stats.norm.ppf(0.2)))
    found = estimate_window_coverage(stats.norm.cdf(low / factor), stats.norm.cdf(high / factor))
    assert found.share == pytest.approx(true, abs=0.05)
    assert found.at_least <= true <= found.at_most
    assert found.is_enough


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: score_forecast([1.2], [True]), r"chance must lie between 0 and 1; row 0 has 1\.2"),
        (
            lambda: score_forecast([0.2, 0.3], [True]),
            r"worn must have as many rows as chance; got \(1,\) and \(2,\)",
        ),
        (
            lambda: turnbull_estimate(np.array([3.0]), np.array([2.0])),
            "upper must not lie below lower; row 0 has 3 and 2",
        ),
    ],
)
def test_bad_scores_are_refused(call: object, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        call()


def book_of_callers(seed: int, coats: int) -> tuple[InspectionData, np.ndarray, np.ndarray]:
    """Coats that wear as the published figures say, looked at about every ten months; seven clients
    in ten call within the two months after a coat is worn. With the true log lives."""
    rng = np.random.default_rng(seed)
    rows = Coats(coated_on=np.full(coats, 15000.0), deck=np.arange(coats), **PLACE)
    mean, spread = predict_log_life(rows, PUBLISHED_PRIOR)[:2]
    lives = np.exp(rng.normal(mean, spread))
    clock = SeasonalClock(seasonal_rate(sun_on_deck(rows), rows.wet_days))
    worn_on = clock.day_after(rows.coated_on, lives)
    calls = np.where(rng.random(coats) < 0.7, worn_on + rng.uniform(5, 60, coats), np.inf)
    seen: list[tuple[int, float, float, str]] = []
    for coat in range(coats):
        day = 15000.0
        while day < 18000:
            day += rng.uniform(200, 400)
            if calls[coat] < day:
                seen.append((coat, calls[coat], 4.0, "called"))
                break
            is_worn = worn_on[coat] < day
            seen.append((coat, day, 4.0 if is_worn else 1.0, "routine"))
            if is_worn:
                break
    found = [np.array(column) for column in zip(*seen, strict=True)]
    visits = Visits(coat=found[0], visited_on=found[1], grade=found[2], reason=found[3])
    return InspectionData(rows, visits, np.full(coats, np.nan)), mean, spread


PLACE = {
    "latitude": 44.6,
    "sun": [5, 8, 12, 15, 19, 21, 21, 18, 14, 9, 5, 4],
    "wet_days": [12, 10, 11, 11, 11, 10, 9, 9, 9, 11, 13, 13],
}


def test_checks_after_calls_overstate_how_many_are_worn_and_the_dates_do_not() -> None:
    book, mean, spread = book_of_callers(20261130, 600)
    tried = scored_visits(book, 0, 30000)
    chances = worn_chances_at_visits(book, tried, PUBLISHED_PRIOR)
    at_visits = score_forecast(chances, tried.worn)
    bounds = life_bounds(book.coats, book.visits)
    with np.errstate(divide="ignore"):
        low, high = (
            stats.norm.cdf((np.log(age) - mean) / spread) for age in (bounds.lower, bounds.upper)
        )
    by_dates = estimate_window_coverage(low, high)

    # The forecast is right by construction; the checks say that a third more were worn.
    assert tried.called.sum() > 200
    assert at_visits.observed_over_expected > 1.25
    assert by_dates.worn_by == pytest.approx((0.2, 0.5, 0.8), abs=by_dates.worn_by_error)
    assert by_dates.worn_by_error == pytest.approx(0.08, abs=0.001)
