"""Chances of an answer against SciPy's laws, and what haste saves against the rule of age
replacement."""

import numpy as np
import pytest
from scipy import integrate, stats

from reminders.forecast import FILM_WEAR, optimal_recoat_age
from reminders.pacing.core import (
    Beta,
    LeadTime,
    expected_work_week,
    monthly_upkeep_rates,
    remaining_chance,
    savings_by_age,
    strip_chances_by_age,
)
from tests.pacing.worlds import NEVER


def test_a_belief_is_scipys_beta_law_before_and_after_answers() -> None:
    belief = Beta(7, 13).updated(asked=40, accepted=22)

    law = stats.beta(7 + 22, 13 + 18)  # conjugate: any textbook of Bayesian statistics
    assert (belief.mean, belief.sd) == (pytest.approx(law.mean()), pytest.approx(law.std()))


def test_the_spread_of_many_answers_is_that_of_the_beta_binomial_law() -> None:
    # 30 households of 1 h with one unknown chance: SciPy's betabinom holds own variance and shared
    # doubt together.
    belief = Beta(10, 10)
    p = belief.mean
    n = 30
    shared = n * belief.cv * p

    # Own variance is p(1 − p) here and p(1 − p) less the variance of the chance there.
    exact = stats.betabinom(n, 10, 10).var()
    assert n * p * (1 - p) + shared**2 == pytest.approx(exact + n * belief.sd**2)


def test_silence_lowers_a_chance_as_bayes_says() -> None:
    # One half accept, evenly over 8 weeks; after 6 silent weeks 1/8 of all still will, 5/8 are
    # still silent.
    assert remaining_chance(0.5, 6, 8) == pytest.approx((1 / 8) / (5 / 8))
    assert remaining_chance(0.5, 0, 8) == 0.5
    assert remaining_chance(0.5, 9, 8) == 0.0


def test_haste_gains_nothing_exactly_at_the_best_age() -> None:
    median = 16.0
    log_sd = 0.34
    recoat = 900.0
    strip = 2700.0
    best = optimal_recoat_age(float(np.log(median)), log_sd, recoat, strip).months
    ages = np.array([[best - 2.0, best, best + 2.0, best + 2.001]])

    money = haste(ages, median, log_sd, recoat, strip)

    # Cost of waiting falls before the best age and rises after it (Barlow & Hunter 1960: c·h(T) = g
    # there).
    step = 1e-3
    around = np.array([[best - step, best + step, best + 2 * step]])
    slope = haste(around, median, log_sd, recoat, strip)[0, 0] / (3 * step)
    early = haste(np.array([[best - 4, best - 3.9]]), median, log_sd, recoat, strip)[0, 0] / 0.1
    late = haste(np.array([[best + 4, best + 4.1]]), median, log_sd, recoat, strip)[0, 0] / 0.1
    assert early < 0 < late
    assert abs(slope) < 0.02 * late
    assert money[0, 1] > money[0, 0]


def haste(
    ages: np.ndarray, median: float, log_sd: float, recoat: float, strip: float
) -> np.ndarray:
    one = np.ones(1)
    chances = strip_chances_by_age(ages, median * one, log_sd * one, NEVER * one, NEVER * one)
    rate = monthly_upkeep_rates(median * one, log_sd * one, recoat * one, strip * one)
    return savings_by_age(ages, (strip - recoat) * chances, 1 - chances, rate)


def test_the_strip_chance_is_scipys_lognormal_law_cut_where_the_coat_was_sound() -> None:
    life = stats.lognorm(0.34, scale=16.0)
    age = np.array([[12.0, 24.0, 36.0]])

    plain = strip_chances_by_age(
        age, np.array([16.0]), np.array([0.34]), np.array([NEVER]), np.array([NEVER])
    )
    seen = strip_chances_by_age(
        age, np.array([16.0]), np.array([0.34]), np.array([14.0]), np.array([NEVER])
    )

    limit = age[0] / FILM_WEAR.strip_ratio
    assert plain[0] == pytest.approx(life.cdf(limit))
    cut = np.maximum(life.cdf(limit) - life.cdf(14.0), 0) / life.sf(14.0)
    assert seen[0] == pytest.approx(cut)


def test_the_life_a_coat_still_has_is_the_integral_of_its_survival() -> None:
    ages = np.linspace(10, 20, 201)[None]
    chances = strip_chances_by_age(
        ages, np.array([16.0]), np.array([0.34]), np.array([NEVER]), np.array([NEVER])
    )

    money = savings_by_age(ages, 0 * chances, 1 - chances, np.ones(1))

    area, _ = integrate.quad(
        lambda age: stats.lognorm(0.34, scale=16.0).sf(age / FILM_WEAR.strip_ratio), 10, 20
    )
    assert -money[0, 0] == pytest.approx(area, rel=1e-5)


def test_work_is_expected_where_the_crews_have_hours() -> None:
    hours = np.array([0, 0, 0, 0, 0, 0, 40.0, 40.0, 0, 0, 0, 0])

    found = expected_work_week(hours, 4, LeadTime(2, 8))

    assert found.tolist() == [6.5, 6.5, 6.5, 6.5]
    assert np.isnan(expected_work_week(np.zeros(12), 4, LeadTime(2, 8))).all()
