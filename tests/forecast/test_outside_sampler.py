"""Windows of graded decks against the exact posterior of a small book, drawn by a general sampler.

emcee (affine-invariant ensembles, Goodman & Weare 2010) knows nothing of the core: the law below
is written down once more, straight from docs/forecast.md, lives integrated on a fine grid. The
coefficients are the reference life alone, for all coats are alike, and the path is the published
one; spreads and paces are sampled with it.
"""

from dataclasses import replace

import emcee
import numpy as np
import pytest
from scipy.special import logsumexp
from scipy.stats import norm

from reminders.forecast import (
    PUBLISHED_PRIOR,
    Coats,
    InspectionData,
    Posterior,
    Visits,
    predict,
)
from reminders.forecast.fitting import fit
from reminders.forecast.graded_lives import graded_lives, log_grades
from reminders.forecast.priors import PUBLISHED_PATH

DECKS, COATS = 6, 3  # the last coat of each is on still
DAYS_A_MONTH = 365.2425 / 12
TODAY = 20_000.0
LIVES = np.linspace(1.2, 5.2, 121)  # logs of months
PRIOR = {name: place for place, name in enumerate(PUBLISHED_PRIOR.names)}
WALKERS, BURNED, STEPS = 48, 300, 900


def small_book(seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Ages in months at three visits to each coat, and the grades: shape (DECKS, COATS, 3)."""
    rng = np.random.default_rng(seed)
    pace = 0.25 * rng.normal(size=(DECKS, 1))
    life = np.exp(np.log(18) + pace + 0.25 * rng.normal(size=(DECKS, COATS)))
    age = life[:, :, None] * np.sort(rng.uniform(0.25, 1.15, (DECKS, COATS, 3)), axis=2)
    age[:, -1] = life[:, -1:] * np.sort(rng.uniform(0.2, 0.8, (DECKS, 3)), axis=1)
    wear = 3 * (age / life[:, :, None]) ** 1.35
    grade = np.clip(np.floor(wear + 0.5 * rng.normal(size=wear.shape)), 0, 5)
    grade[:, -1] = np.minimum(grade[:, -1], 2)  # none of those on still was found worn
    return age, grade.astype(int)


def log_chances(age: np.ndarray, grade: np.ndarray) -> np.ndarray:
    """Of the grades of each coat at each of `LIVES`: 3·exp(1.35·x), steps 1 to 5, noise 0.5, two
    grades in a hundred out of the air."""
    wear = 3 * np.exp(np.exp(0.3) * (np.log(age)[..., None] - LIVES))
    ends = [-np.inf, 1, 2, 3, 4, 5, np.inf]
    low, high = np.array(ends[:-1])[grade][..., None], np.array(ends[1:])[grade][..., None]
    inside = norm.cdf((wear - low) / 0.5) - norm.cdf((wear - high) / 0.5)
    return np.log(0.98 * inside + 0.02 / 6).sum(axis=2)


def draw_exact(age: np.ndarray, grade: np.ndarray) -> np.ndarray:
    """Draws of log reference life, log sigma, log omega and the paces in omegas."""
    seen = log_chances(age, grade)
    places = [PRIOR[name] for name in ("reference", "log_sigma", "log_omega")]
    mean = PUBLISHED_PRIOR.mean[places]
    sd = np.sqrt(np.diag(PUBLISHED_PRIOR.covariance)[places])

    def log_posterior(at: np.ndarray) -> np.ndarray:
        paces = at[:, 3:]
        prior = (((at[:, :3] - mean) / sd) ** 2).sum(axis=1) + (paces**2).sum(axis=1)
        middle = at[:, :1] + np.exp(at[:, 2:3]) * paces
        sigma = np.exp(at[:, 1])[:, None, None]
        z = (LIVES - middle[:, :, None]) / sigma
        law = -(z**2) / 2
        law -= logsumexp(law, axis=2, keepdims=True)
        lives = np.log(np.einsum("wdl,dcl->wdc", np.exp(law), np.exp(seen)))
        return lives.sum(axis=(1, 2)) - prior / 2

    rng = np.random.default_rng(1)
    start = rng.normal(size=(WALKERS, 3 + DECKS)) * 0.3
    start[:, :3] = mean + sd * start[:, :3]
    sampler = emcee.EnsembleSampler(WALKERS, 3 + DECKS, log_posterior, vectorize=True)
    sampler.random_state = np.random.RandomState(2).get_state()
    sampler.run_mcmc(start, BURNED + STEPS)
    return sampler.get_chain(discard=BURNED, thin=5, flat=True)


def exact_quantiles(drawn: np.ndarray, age: np.ndarray, grade: np.ndarray) -> np.ndarray:
    """Of the log life of the coats that are on: 20, 50 and 80 %, shape (3, DECKS)."""
    middle = drawn[:, :1] + np.exp(drawn[:, 2:3]) * drawn[:, 3:]
    law = -(((LIVES - middle[:, :, None]) / np.exp(drawn[:, 1])[:, None, None]) ** 2) / 2
    law += log_chances(age, grade)[:, -1]
    chance = np.exp(law - logsumexp(law, axis=2, keepdims=True)).mean(axis=0)
    below = np.cumsum(chance, axis=1) - chance / 2
    return np.array([[np.interp(q, row, LIVES) for row in below] for q in (0.2, 0.5, 0.8)])


def book_in_days(age: np.ndarray, grade: np.ndarray) -> InspectionData:
    """One coat after another ends with its last visit; those on still were seen a while ago."""
    days = age * DAYS_A_MONTH
    length = days[:, :, -1].copy()
    length[:, -1] += 30
    ended = TODAY - np.cumsum(length[:, ::-1], axis=1)[:, ::-1] + length
    coated = ended - length
    coat, deck = np.arange(DECKS * COATS), np.repeat(np.arange(DECKS), COATS)
    coats = Coats(
        coated_on=coated.ravel(),
        deck=deck,
        latitude=45.0,
        sun=np.full(12, 14.3),  # as on the reference deck, and every month alike
        wet_days=np.full(12, 10.0),
    )
    visits = Visits(
        coat=np.repeat(coat, 3),
        visited_on=(coated[:, :, None] + days).ravel(),
        grade=grade.ravel().astype(float),
        reason=np.full(grade.size, "routine"),
        by_client=np.zeros(grade.size, dtype=bool),
        grader=np.full(grade.size, -1),
    )
    ended[:, -1] = np.nan
    return InspectionData(coats, visits, ended.ravel())


def forecast_quantiles(book: InspectionData, belief: Posterior) -> np.ndarray:
    """What the program says of the same: logs of months, shape (3, DECKS)."""
    rows = np.arange(COATS - 1, DECKS * COATS, COATS)
    graded = book.visits.take(np.flatnonzero(np.isin(book.visits.coat, rows)))
    coats = replace(
        book.coats.take(rows),
        graded_on=graded.visited_on.reshape(DECKS, 3),
        grades=graded.grade.reshape(DECKS, 3),
        graded_by_client=0,
        graders=-1,
    )
    found = predict(coats, belief, TODAY)
    dates = np.array([found.window_opens, found.due_by, found.late])
    return np.log((dates - coats.coated_on) / DAYS_A_MONTH)


@pytest.mark.parametrize("seed", [1, 2])
def test_windows_of_graded_decks_are_those_of_the_exact_posterior(seed: int) -> None:
    age, grade = small_book(seed)
    exact = exact_quantiles(draw_exact(age, grade), age, grade)

    book = book_in_days(age, grade)
    graded = log_grades(book.coats, book.visits)
    lives = graded_lives(book.coats, graded, PUBLISHED_PATH, book.running(TODAY))
    belief = replace(fit(lives).posterior, path=PUBLISHED_PATH)
    error = forecast_quantiles(book, belief) - exact
    print(error.round(3))  # noqa: T201
    assert np.sqrt(np.mean(error**2)) < 0.02
