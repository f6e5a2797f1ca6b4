"""What other books learned as a start: weighed by its doubt, never wider than published figures,
and better than these in a first year."""

import json

import numpy as np
import pytest
from scipy.stats import norm

from reminders.forecast import PUBLISHED_PRIOR, LearnedBook, Posterior, pool_learned
from reminders.forecast.pooling import OWN_SHARE
from reminders.forecast.prediction import predict_log_life
from tests.forecast.simulated import START, Simulated, simulate
from tests.forecast.test_books import first_coats_after, interval_score

SIZE = len(PUBLISHED_PRIOR.names)
YEAR = 365.25


def belief(mean: np.ndarray, covariance: np.ndarray) -> Posterior:
    return Posterior(PUBLISHED_PRIOR.names, mean, covariance, "test")


def book(mean: np.ndarray, covariance: np.ndarray) -> LearnedBook:
    return LearnedBook(belief(mean, covariance), 100, 60, 30)


def learned_from_readings(
    rng: np.random.Generator, readings: int
) -> tuple[LearnedBook, np.ndarray, np.ndarray, np.ndarray]:
    """A book as if some combinations of its coefficients had been measured: the rows, what was
    read, and the variance of each reading."""
    rows = rng.normal(size=(readings, SIZE))
    noise = rng.uniform(0.05, 0.5, readings)
    read = rows @ PUBLISHED_PRIOR.mean + rng.normal(size=readings)
    precision = np.linalg.inv(PUBLISHED_PRIOR.covariance) + (rows.T / noise) @ rows
    covariance = np.linalg.inv(precision)
    pull = np.linalg.solve(PUBLISHED_PRIOR.covariance, PUBLISHED_PRIOR.mean)
    mean = covariance @ (pull + (rows.T / noise) @ read)
    return book(mean, (covariance + covariance.T) / 2), rows, read, noise


def test_without_books_the_published_figures_come_back() -> None:
    found = pool_learned([], "none")
    assert found.mean == pytest.approx(PUBLISHED_PRIOR.mean)
    assert found.covariance == pytest.approx(PUBLISHED_PRIOR.covariance)


@pytest.mark.parametrize("books", [1, 2, 4])
def test_the_pool_is_the_posterior_of_the_hierarchical_model(books: int) -> None:
    """Worked out otherwise: the joint normal law of what is common, what each book has of its own
    and what was read of it, conditioned on the readings (no source but that law)."""
    rng = np.random.default_rng(20261130 + books)
    made = [learned_from_readings(rng, 5 + k) for k in range(books)]
    common = (1 - OWN_SHARE) * PUBLISHED_PRIOR.covariance
    own = OWN_SHARE * PUBLISHED_PRIOR.covariance
    all_rows = np.vstack([rows for _, rows, _, _ in made])
    which = np.repeat(np.arange(books), [len(rows) for _, rows, _, _ in made])
    same = which[:, None] == which[None, :]
    read = np.concatenate([each for _, _, each, _ in made])
    noise = np.concatenate([each for _, _, _, each in made])
    of_readings = all_rows @ common @ all_rows.T + same * (all_rows @ own @ all_rows.T)
    of_readings += np.diag(noise)
    with_readings = common @ all_rows.T  # a new business shares what is common, nothing else
    gain = with_readings @ np.linalg.inv(of_readings)
    mean = PUBLISHED_PRIOR.mean + gain @ (read - all_rows @ PUBLISHED_PRIOR.mean)
    covariance = PUBLISHED_PRIOR.covariance - gain @ with_readings.T

    found = pool_learned([each for each, *_ in made], "pool")

    assert found.mean == pytest.approx(mean, abs=1e-6)
    assert found.covariance == pytest.approx(covariance, abs=1e-8)
    assert found.is_no_wider_than(PUBLISHED_PRIOR)


def of_reference(read: float, share: float) -> LearnedBook:
    """A book that read one value of the reference life and is left with a share of the doubt."""
    at = PUBLISHED_PRIOR.names.index("reference")
    mean = PUBLISHED_PRIOR.mean.copy()
    covariance = PUBLISHED_PRIOR.covariance.copy()
    mean[at] += (1 - share) * read
    covariance[at, at] *= share
    return book(mean, covariance)


def test_of_two_books_that_contradict_each_other_the_surer_one_counts_for_more() -> None:
    at = PUBLISHED_PRIOR.names.index("reference")
    for sure, other in ((0.3, -0.3), (-0.3, 0.3)):
        found = pool_learned([of_reference(sure, 0.1), of_reference(other, 0.8)], "two")
        assert (found.mean[at] - PUBLISHED_PRIOR.mean[at]) * sure > 0


def test_a_quarter_of_what_another_book_found_and_of_the_doubt_stays_its_own() -> None:
    # By hand for a book without doubt: 0.75 of what it found, and a quarter of the variance.
    at = PUBLISHED_PRIOR.names.index("reference")
    found = pool_learned([of_reference(0.3, 1e-9)], "one")
    assert found.mean[at] - PUBLISHED_PRIOR.mean[at] == pytest.approx(0.3 * (1 - OWN_SHARE))
    variance = PUBLISHED_PRIOR.covariance[at, at]
    assert found.covariance[at, at] == pytest.approx(variance * (1 - (1 - OWN_SHARE) ** 2))


def test_a_book_that_seems_to_know_less_than_the_published_figures_changes_nothing() -> None:
    found = pool_learned([book(PUBLISHED_PRIOR.mean + 1, 1.5 * PUBLISHED_PRIOR.covariance)], "wide")
    assert found.mean == pytest.approx(PUBLISHED_PRIOR.mean)


def stored() -> dict[str, object]:
    return book(PUBLISHED_PRIOR.mean, 0.5 * PUBLISHED_PRIOR.covariance).to_dict()


def test_a_file_holds_numbers_of_the_model_and_nothing_else() -> None:
    written = json.loads(json.dumps(stored()))
    assert set(written) == {
        *("format", "version", "prior", "visits", "coats", "decks"),
        *("names", "mean", "covariance"),
    }
    again = LearnedBook.from_dict(written)
    assert again.posterior.mean == pytest.approx(PUBLISHED_PRIOR.mean, abs=1e-6)
    assert (again.visits, again.coats, again.decks) == (100, 60, 30)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"format": "else"}, "no file of what a book learned"),
        ({"version": 2}, "its version is 2; this program reads 1"),
        ({"prior": "prior-1"}, "same version of the program"),
        ({"names": ["reference"]}, "names are not the coefficients"),
        ({"names": 5}, "names are not the coefficients"),
        ({"visits": 0}, "visits must be a whole number"),
        ({"decks": True}, "decks must be a whole number"),
        ({"coats": "9"}, "coats must be a whole number"),
        ({"mean": [1.0]}, "mean must hold"),
        ({"mean": "x"}, "mean must hold"),
        ({"mean": [float("nan")] * SIZE}, "mean must hold"),
        ({"covariance": [[1.0] * SIZE] * SIZE}, "positive definite"),
        ({"covariance": None}, "covariance must hold"),
    ],
)
def test_a_file_that_is_wrong_says_what(changes: dict[str, object], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        LearnedBook.from_dict(stored() | changes)


@pytest.mark.parametrize("other", [None, [], 3, "text", {}])
def test_another_file_is_refused(other: object) -> None:
    with pytest.raises(ValueError, match="no file of what a book learned"):
        LearnedBook.from_dict(other)


def log_score(made: Simulated, posterior: Posterior, rows: np.ndarray) -> float:
    """Mean of −log of the density of the true log lives; less is better."""
    mean, spread = predict_log_life(made.book.coats.take(rows), posterior)[:2]
    return float(-norm.logpdf(np.log(made.life_months[rows]), mean, spread).mean())


def truth(mean: np.ndarray, rng: np.random.Generator, share: float) -> Posterior:
    drawn = rng.multivariate_normal(mean, share * PUBLISHED_PRIOR.covariance)
    return belief(drawn, np.zeros((SIZE, SIZE)))


@pytest.mark.slow  # fits a dozen books
def test_in_its_first_year_a_book_that_starts_from_others_forecasts_better() -> None:
    """Worlds in which businesses differ as much as is assumed; before the first visit, and from
    what the first year taught."""
    scores = []
    for world in range(4):
        rng = np.random.default_rng(700 + world)
        common = rng.multivariate_normal(
            PUBLISHED_PRIOR.mean, (1 - OWN_SHARE) * PUBLISHED_PRIOR.covariance
        )
        others = []
        for k in range(3):
            made = simulate(9100 + 10 * world + k, 80, 4.0, truth(common, rng, OWN_SHARE))
            found = made.book.fit_before(START + 4 * YEAR)
            others.append(LearnedBook(found.posterior, 400, found.coats, found.decks))
        new = simulate(9105 + 10 * world, 80, 3.0, truth(common, rng, OWN_SHARE))
        first = np.flatnonzero(new.book.coats.coated_on < START + YEAR)
        later = first_coats_after(new, START + YEAR)
        pooled = pool_learned(others, "pool")
        taught = [
            new.book.fit_before(START + YEAR, prior).posterior
            for prior in (PUBLISHED_PRIOR, pooled)
        ]
        scores.append(
            [
                [interval_score(new, each, first) for each in (PUBLISHED_PRIOR, pooled)],
                [log_score(new, each, first) for each in (PUBLISHED_PRIOR, pooled)],
                [log_score(new, each, later) for each in taught],
            ]
        )
    alone, from_others = np.mean(scores, axis=0).T
    assert (from_others < alone - 0.02).all()
