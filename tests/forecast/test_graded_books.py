"""Simulated books with grades: does a path of wear forecast better than worn or not, also where its
form is wrong, and do windows still hold?

Three worlds of three books, or all seventeen with as many books each as `GRADED_BOOKS` says: what
is printed then makes the table of docs/forecast.md (60 books each, some ten minutes of one core).
"""

import os
from dataclasses import dataclass

import numpy as np
import pytest

from reminders.forecast import Posterior, scored_visits, try_fit, worn_chances_at_visits
from reminders.forecast.graded_belief import moments_after_grades
from reminders.forecast.graded_lives import log_grades
from reminders.forecast.intervals import ages_at_visits
from reminders.forecast.lognormal import truncated_normal_quantile
from reminders.forecast.prediction import predict_log_life
from reminders.forecast.scoring import log_scores, window_scores
from tests.forecast.graded_books import WORLDS, simulate_grades
from tests.forecast.simulated import START, Simulated, truth_from_prior

YEAR = 365.25
CUT = START + 5 * YEAR
SINCE = CUT - YEAR / 2
END = CUT + YEAR
DECKS = 60
FIRST_SEED = 200
BOOKS = int(os.environ.get("GRADED_BOOKS", "0"))
USUALLY = ("usual path, p 1.3", "graders half a grade apart", "only grades 1 and 3")
TRIED = tuple(WORLDS) if BOOKS else USUALLY


@dataclass(frozen=True)
class LifeScores:
    """Of the 80 % windows: the share of true lives inside, the interval score of log lives, and the
    mean error of the middle in months."""

    inside: float
    interval: float
    error: float


def score_lives(made: Simulated, posterior: Posterior, rows: np.ndarray) -> LifeScores:
    """Of coats as they are known on the day of the cut."""
    coats = made.book.coats.take(rows)
    belief = predict_log_life(coats, posterior)
    mean, spread = belief.mean, belief.spread
    visits = made.book.visits_before(CUT)
    sound = np.zeros(len(made.book.coats))
    ours = ~visits.by_client & (visits.grade < 3)
    age = ages_at_visits(made.book.coats, visits)
    np.maximum.at(sound, visits.coat[ours], age[ours])
    low = sound[rows]
    if posterior.path is not None:
        theirs = visits.take(np.flatnonzero(np.isin(visits.coat, rows)))
        log, graded = log_grades(made.book.coats, theirs)
        place = np.searchsorted(rows, graded)
        slope = posterior.path_slope(belief.x[place], coats.deck[place])
        mean[place], spread[place] = moments_after_grades(
            posterior.path, log, mean[place], spread[place], slope
        )
        low[place] = 0.0
    with np.errstate(divide="ignore"):
        z = (np.log(low) - mean) / spread
    first, middle, last = (
        mean + spread * truncated_normal_quantile(z, np.full(len(z), np.inf), share)
        for share in (0.1, 0.5, 0.9)
    )
    life = np.log(made.life_months[rows])
    missed = np.maximum(first - life, 0) + np.maximum(life - last, 0)
    return LifeScores(
        float(np.mean((life >= first) & (life <= last))),
        float(np.mean(last - first + 10 * missed)),
        float(np.mean(np.abs(np.exp(middle) - np.exp(life)))),
    )


def scores_of(made: Simulated, posterior: Posterior) -> list[float]:
    """Log and window score over the visits of the year after the cut; inside, interval score and
    error of running coats, and the share inside of coats put on in that year."""
    book = made.book
    tried = scored_visits(book, CUT, END)
    chance = worn_chances_at_visits(book, tried, posterior)
    coated = book.coats.coated_on
    running = score_lives(made, posterior, np.flatnonzero((coated < CUT) & book.running(CUT)))
    later = score_lives(made, posterior, np.flatnonzero((coated >= CUT) & (coated < END)))
    return [
        float(log_scores(chance, tried.worn).mean()),
        float(window_scores(chance, tried.worn).mean()),
        running.inside,
        running.interval,
        running.error,
        later.inside,
        later.interval,
    ]


def three_ways(name: str, books: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Scores with worn or not alone, along the path, and of what would be in use: the path if it
    did no worse over the visits of the half year before the cut. Each of shape (books, 7)."""
    found = []
    for seed in range(FIRST_SEED, FIRST_SEED + books):
        truth = truth_from_prior(np.random.default_rng(1000 + seed))
        made = simulate_grades(seed, DECKS, 8.0, truth, WORLDS[name])
        plain = made.book.fit_before(SINCE).posterior
        along = made.book.fit_before(SINCE, along_path=True, start=plain).posterior
        trial = try_fit(made.book, along, {"plain": plain}, SINCE, CUT)
        scores = [scores_of(made, each) for each in (plain, along)]
        found.append([*scores, scores[int(trial.is_passed)]])
    return tuple(np.array(found).swapaxes(0, 1))


@pytest.mark.slow
@pytest.mark.parametrize("name", TRIED)
def test_a_path_of_wear_forecasts_no_worse_whatever_the_world_is_like(name: str) -> None:
    books = BOOKS or 3
    plain, along, used = three_ways(name, books)
    means = zip(*(each.mean(axis=0) for each in (plain, along, used)), strict=True)
    print(f"| {name} | " + " | ".join(f"{a:.3f} → {b:.3f} ({c:.3f})" for a, b, c in means))  # noqa: T201
    luck = np.sqrt(3 / books)
    assert used[:, 0].mean() < plain[:, 0].mean() + 0.02 * luck
    assert used[:, 3].mean() < plain[:, 3].mean() + 0.04 * luck
    assert along[:, 2].mean() == pytest.approx(0.8, abs=0.02 + 0.08 * luck)
