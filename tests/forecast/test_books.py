"""Simulated books with a known truth: do windows hold, does learning help, does it save money?"""

import numpy as np
import pytest

from reminders.forecast import (
    PUBLISHED_PRIOR,
    InspectionData,
    Posterior,
    backtest,
    optimal_recoat_age,
    predict,
)
from reminders.forecast.prediction import predict_log_life
from tests.forecast.simulated import START, Simulated, shifted_truth, simulate, truth_from_prior

YEAR = 365.25
CUT = START + 5 * YEAR


def share_inside(made: Simulated, posterior: Posterior, rows: np.ndarray) -> float:
    """Share of true lives inside the central 80 % of the forecast made when the coat went on."""
    mean, spread = predict_log_life(made.book.coats.take(rows), posterior)[:2]
    return float(np.mean(np.abs(np.log(made.life_months[rows]) - mean) <= 1.2815516 * spread))


def interval_score(made: Simulated, posterior: Posterior, rows: np.ndarray) -> float:
    """Mean interval score of the same windows against the true log lives; less is better.

    Gneiting & Raftery (2007), J. Am. Stat. Assoc. 102:359, eq. 43: width, and 2/alpha for each
    unit by which the window is missed. Where a share inside would count an endless window as a hit,
    this counts its width.
    """
    mean, spread = predict_log_life(made.book.coats.take(rows), posterior)[:2]
    half = 1.2815516 * spread
    missed = np.maximum(np.abs(np.log(made.life_months[rows]) - mean) - half, 0)
    return float(np.mean(2 * half + 2 / 0.2 * missed))


def first_coats_after(made: Simulated, day: float) -> np.ndarray:
    """One coat a deck: to count every later coat would count decks that wear fast more often."""
    coats = made.book.coats
    later = np.flatnonzero(coats.coated_on >= day)
    later = later[np.argsort(coats.coated_on[later])]
    return later[np.unique(coats.deck[later], return_index=True)[1]]


def windows_over_worlds(decks: int, worlds: int, *, learned: bool) -> np.ndarray:
    """Share inside, interval score and that of the priors, of each world."""
    found = []
    for seed in range(worlds):
        made = simulate(seed, decks, 12.0, truth_from_prior(np.random.default_rng(1000 + seed)))
        later = first_coats_after(made, CUT)
        posterior = made.book.fit_before(CUT).posterior if learned else PUBLISHED_PRIOR
        found.append(
            (
                share_inside(made, posterior, later),
                interval_score(made, posterior, later),
                interval_score(made, PUBLISHED_PRIOR, later),
            )
        )
    return np.array(found)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("decks", "worlds", "learned"),
    [(60, 60, False), (25, 60, True), (60, 40, True), (300, 16, True)],
)
def test_windows_of_80_percent_hold_80_percent(decks: int, worlds: int, learned: bool) -> None:
    found = windows_over_worlds(decks, worlds, learned=learned)
    share, score, of_priors = found.mean(axis=0)
    error = found[:, 0].std() / np.sqrt(worlds)
    # what is printed here makes the tables of docs/forecast.md
    print(f"{decks} decks, learned {learned}: {share:.3f} ± {error:.3f}")  # noqa: T201
    print(f"interval score {score:.3f}, of the priors {of_priors:.3f}")  # noqa: T201 (as above)
    assert 0.76 <= share <= 0.84
    assert score < of_priors or not learned


@pytest.mark.slow
@pytest.mark.parametrize("decks", [60, 300])
def test_learning_beats_the_flat_rule_and_the_prior_where_the_trade_is_wrong(decks: int) -> None:
    made = simulate(7, decks, 8.0, shifted_truth())
    found = backtest(made.book, START + 3 * YEAR, START + 8 * YEAR)
    for name, s in found.scores.items():
        print(f"{decks} {name}: {s.log_score:.3f} {s.brier:.3f}")  # noqa: T201 (as above)
        print(f"observed over expected: {s.observed_over_expected:.2f}")  # noqa: T201 (as above)
    print(found.coverage)  # noqa: T201 (as above)
    scores = {name: s.log_score for name, s in found.scores.items()}
    assert scores["learned"] < min(scores["prior"], scores["flat_rule"], scores["finish_average"])
    assert found.scores["learned"].observed_over_expected == pytest.approx(1, abs=0.12)
    assert found.origins == 5
    assert sum(b.visits for b in found.reliability) == found.scores["learned"].visits


def yearly_cost(
    made: Simulated, rows: np.ndarray, months: np.ndarray, recoat: float, strip: float
) -> float:
    """Long-run cost a year of recoating at an age, given the true lives;
    past 1.5 lives it takes a strip."""
    limit = 1.5 * made.life_months[rows]
    ended = np.minimum(months, limit)
    return float(12 * np.where(months < limit, recoat, strip).sum() / ended.sum())


@pytest.mark.slow
def test_recoating_at_the_best_age_costs_less_than_every_twelve_months() -> None:
    made = simulate(11, 300, 7.0, shifted_truth())
    rows = np.flatnonzero(made.book.coats.coated_on >= CUT)
    mean, spread = predict_log_life(
        made.book.coats.take(rows), made.book.fit_before(CUT).posterior
    )[:2]
    ages = np.array(
        [optimal_recoat_age(m, s, 900.0, 2700.0).months for m, s in zip(mean, spread, strict=True)]
    )
    ours = yearly_cost(made, rows, ages, 900.0, 2700.0)
    flat = yearly_cost(made, rows, np.full(len(rows), 12.0), 900.0, 2700.0)
    print(f"cost a year: {ours:.0f} against {flat:.0f}")  # noqa: T201 (as above)
    assert ours < 0.95 * flat


def test_a_small_back_test_scores_the_same_visits_for_all() -> None:
    made = simulate(5, 25, 4.0, truth_from_prior(np.random.default_rng(1)))
    found = backtest(made.book, START + 2 * YEAR, START + 4 * YEAR)
    assert len({s.visits for s in found.scores.values()}) == 1
    assert found.scores["learned"].log_score < np.log(2)
    assert not found.coverage.is_enough


def test_the_future_does_not_leak_into_a_fit() -> None:
    made = simulate(5, 25, 4.0, truth_from_prior(np.random.default_rng(1)))
    cut = START + 2 * YEAR
    past = InspectionData(made.book.coats, made.book.visits_before(cut), made.book.ended_on)
    assert past.fit_before(cut).version == made.book.fit_before(cut).version
    running = made.book.coats.take(
        np.flatnonzero(made.book.running(cut) & (made.book.coats.coated_on < cut))
    )
    assert np.isfinite(predict(running, made.book.fit_before(cut).posterior, cut).due_by).all()


def test_a_step_of_no_days_is_refused() -> None:
    made = simulate(5, 5, 3.0, PUBLISHED_PRIOR)
    with pytest.raises(ValueError, match="step_days must be above 0; got 0"):
        backtest(made.book, START, START + YEAR, step_days=0)
