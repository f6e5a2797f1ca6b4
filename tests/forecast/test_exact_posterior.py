"""Windows against the exact posterior of a small book, drawn by Gibbs sampling.

The sampler knows nothing of the core: it draws each life between its two ages and then coefficients
and paces together from their normal law (data augmentation, Albert & Chib 1993, J. Am. Stat. Assoc.
88:669). The spreads are given, for only the doubt about coefficients and paces is compared.
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtr, ndtri

from reminders.forecast import PUBLISHED_PRIOR, Coats, Posterior
from reminders.forecast.exposure import design_matrix
from reminders.forecast.fitting import fit
from reminders.forecast.intervals import CensoredLives
from reminders.forecast.prediction import predict_log_life

SIGMA = 0.2
OMEGA = 0.4
DECKS = 12
PAST = 4  # coats of each deck
DRAWS = 4_000
BURNED = 200
Z_80 = 1.2815516  # of the standard normal law, 10 and 90 %


def given_spreads() -> Posterior:
    """The priors, but for spreads that are as good as known."""
    mean = PUBLISHED_PRIOR.mean.copy()
    mean[-2:] = np.log([SIGMA, OMEGA])
    covariance = PUBLISHED_PRIOR.covariance.copy()
    covariance[-2:, -2:] = 1e-8 * np.eye(2)
    return Posterior(PUBLISHED_PRIOR.names, mean, covariance, "given-spreads")


def coats_of(finish: str) -> Coats:
    """One coat a deck."""
    return Coats(
        coated_on=np.full(DECKS, 18000.0),
        deck=np.arange(DECKS),
        latitude=45.0,
        sun=np.full(12, 14.3),
        wet_days=np.full(12, 10.0),
        finish_class=finish,
    )


def lives_of_tinted_coats(seed: int) -> CensoredLives:
    """Visits at two ages bound each of the past coats, all of one finish."""
    rng = np.random.default_rng(seed)
    x = np.repeat(design_matrix(coats_of("tinted")), PAST, axis=0)
    deck = np.repeat(np.arange(DECKS), PAST)
    pace = OMEGA * rng.normal(size=DECKS)
    prior = given_spreads()
    mean = prior.mean[0] + x @ prior.mean[1:-2] + pace[deck]
    life = np.exp(mean + SIGMA * rng.normal(size=len(x)))
    ages = life[:, None] * np.exp(rng.uniform([-0.4, 0.0], [0.0, 0.4], (len(x), 2)))
    return CensoredLives(x=x, lower=ages[:, 0], upper=ages[:, 1], deck=deck)


def draw_exact_means(lives: CensoredLives, x_new: np.ndarray, seed: int) -> np.ndarray:
    """Draws of the mean log life of the next coat of each deck, shape (DRAWS, DECKS)."""
    rng = np.random.default_rng(seed)
    prior = given_spreads()
    size = len(prior.mean) - 2
    rows = np.column_stack([np.ones(len(lives)), lives.x, np.eye(DECKS)[lives.deck]])
    precision = np.zeros((size + DECKS, size + DECKS))
    precision[:size, :size] = np.linalg.inv(prior.covariance[:-2, :-2])
    precision[size:, size:] = np.eye(DECKS) / OMEGA**2
    start = np.concatenate([prior.mean[:-2], np.zeros(DECKS)])
    pull = precision @ start
    root = np.linalg.cholesky(np.linalg.inv(precision + rows.T @ rows / SIGMA**2))
    low, high = np.log(lives.lower), np.log(lives.upper)
    wanted = np.column_stack([np.ones(DECKS), x_new, np.eye(DECKS)])
    state = start
    kept = []
    for _ in range(BURNED + DRAWS):
        mean = rows @ state
        ends = [ndtr((end - mean) / SIGMA) for end in (low, high)]
        log_life = mean + SIGMA * ndtri(rng.uniform(*ends))
        middle = root @ (root.T @ (pull + rows.T @ log_life / SIGMA**2))
        state = middle + root @ rng.normal(size=len(middle))
        kept.append(wanted @ state)
    return np.array(kept[BURNED:])


def mass_of_window(exact: np.ndarray, mean: np.ndarray, spread: np.ndarray) -> np.ndarray:
    """Exact chance of each deck that the life of its next coat falls into the stated window."""
    ends = [(mean + way * Z_80 * spread - exact) / SIGMA for way in (1, -1)]
    return (ndtr(ends[0]) - ndtr(ends[1])).mean(axis=0)


@pytest.mark.parametrize("finish", ["tinted", "solid_film"])
def test_windows_of_decks_with_coats_of_their_own_agree_with_the_exact_posterior(
    finish: str,
) -> None:
    """Also where the finish changes: the pace makes good errors of the old finish only."""
    lives = lives_of_tinted_coats(seed=3)
    learned = fit(lives, given_spreads(), misclassification=0.0).posterior
    coats = coats_of(finish)
    mean, spread = predict_log_life(coats, learned)[:2]
    exact = draw_exact_means(lives, design_matrix(coats), seed=4)
    assert mean == pytest.approx(exact.mean(axis=0), abs=0.02)
    assert spread**2 == pytest.approx(exact.var(axis=0) + SIGMA**2, rel=0.05)
    mass = mass_of_window(exact, mean, spread)
    assert mass == pytest.approx(0.80, abs=0.015)
    as_before = predict_log_life(coats, replace(learned, deck_slope=np.zeros(0)))[1]
    print(f"{finish}: {mass.mean():.3f}; k²: {mass_of_window(exact, mean, as_before).mean():.3f}")  # noqa: T201
