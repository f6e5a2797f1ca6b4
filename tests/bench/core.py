"""The numerical core: fits against lifelines at the same log-likelihood, the deck effect, and a
million decks.

lifelines is a package of the `dev` group; without it that comparison is left out.
"""

import warnings
from dataclasses import replace
from importlib.util import find_spec

import numpy as np

from reminders.forecast import PUBLISHED_PRIOR, Coats, predict
from reminders.forecast.exposure import DESIGN_COLUMNS
from reminders.forecast.fitting import fit
from reminders.forecast.intervals import CensoredLives
from reminders.forecast.posterior_mode import (
    NormalPrior,
    PosteriorMode,
    find_posterior_mode,
    prepare_log_posterior,
)
from tests.bench.timing import elapsed_seconds, time_in_turn
from tests.forecast.graded_books import GradedWorld, simulate_grades
from tests.forecast.simulated import START

TODAY = 20_500.0


def simulated_lives(rows: int, columns: int, decks: int) -> CensoredLives:
    """Coats each looked at twice: worn before the first look, between the two, or later."""
    rng = np.random.default_rng(5)
    x = rng.normal(size=(rows, columns)) * 0.3
    deck = np.arange(rows) % decks
    pace = 0.2 * rng.normal(size=decks)[deck]
    life = np.exp(2.7 + x[:, :2] @ [0.3, -0.2] + pace + 0.3 * rng.normal(size=rows))
    first = rng.uniform(6, 12, rows)
    second = rng.uniform(13, 24, rows)
    lower = np.where(life > second, second, np.where(life > first, first, 0))
    upper = np.where(life <= first, first, np.where(life <= second, second, np.inf))
    return CensoredLives(x=x, lower=lower, upper=upper, deck=deck)


def own_fit(lives: CensoredLives) -> PosteriorMode:
    """The maximum of the likelihood alone, without deck effect, as lifelines has it."""
    size = lives.x.shape[1] + 3
    problem = prepare_log_posterior(
        lives, NormalPrior(np.zeros(size), np.zeros((size, size))), deck_effect=False
    )
    return find_posterior_mode(problem, np.array([2.5, *np.zeros(size - 3), -1.0, 0.0]))


def lifelines_fit(lives: CensoredLives) -> float:
    """lifelines on the same rows; its log-likelihood."""
    import pandas as pd
    from lifelines import LogNormalAFTFitter

    frame = pd.DataFrame(lives.x, columns=[f"x{place}" for place in range(lives.x.shape[1])])
    frame["lower"] = np.maximum(lives.lower, 1e-8)
    frame["upper"] = lives.upper
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return float(
            LogNormalAFTFitter().fit_interval_censoring(frame, "lower", "upper").log_likelihood_
        )


def against_lifelines(rows: int) -> dict[str, float]:
    lives = simulated_lives(rows, 2, rows)
    pair = time_in_turn(lambda: own_fit(lives), lambda: lifelines_fit(lives), times=2)
    gained = own_fit(lives).value - lifelines_fit(lives)
    return {
        f"times_lifelines_{rows // 1000}k": 1 / pair.ratio,
        f"log_likelihood_gained_{rows // 1000}k": gained,
    }


def measure_core_fits() -> dict[str, float]:
    results: dict[str, float] = {}
    if find_spec("lifelines"):
        results |= against_lifelines(10_000) | against_lifelines(100_000)
    lives = simulated_lives(30_000, len(DESIGN_COLUMNS), 10_000)
    results["deck_effect_30k_s"] = elapsed_seconds(lambda: fit(lives))
    made = simulate_grades(1, 900, 10.0, PUBLISHED_PRIOR, GradedWorld(apart=0.5)).book
    results["path_of_wear_coats"] = float(len(made.coats))
    results["path_of_wear_s"] = elapsed_seconds(lambda: made.fit_before(np.inf, along_path=True))
    decks = million_decks()
    results["million_decks_s"] = elapsed_seconds(lambda: predict(decks, today=TODAY))
    along = made.fit_before(START + 1500, along_path=True).posterior
    graded = with_four_grades(decks)
    results["million_graded_decks_s"] = elapsed_seconds(lambda: predict(graded, along, TODAY))
    return results


def with_four_grades(decks: Coats) -> Coats:
    """Visits on four days of each coat, two in ten by clients and the others by four of the crew
    and somebody who is not named."""
    rng = np.random.default_rng(7)
    shape = (len(decks), 4)
    age = TODAY - decks.coated_on[:, None]
    share = rng.uniform(0, 1, shape)
    columns = {
        "graded_on": np.floor(decks.coated_on[:, None] + share * age),
        "grades": np.clip(np.floor(share * age / 200 + 0.5 * rng.normal(size=shape)), 0, 5),
        "graded_by_client": rng.random(shape) < 0.2,
        "graders": rng.integers(-1, 4, shape),
    }
    return replace(decks, **columns)


def million_decks() -> Coats:
    rng = np.random.default_rng(6)
    count = 1_000_000
    sun = 12 + 8 * np.sin(np.linspace(0, 2 * np.pi, 12, endpoint=False) - 1.5)
    return Coats(
        coated_on=20_000 + rng.integers(0, 400, count),
        latitude=np.full(count, 44.0),
        sun=sun,
        wet_days=np.full(12, 12.0),
        roof_cover=rng.choice([0, 0.4], count),
        salt=rng.choice(["none", "near"], count),
    )
