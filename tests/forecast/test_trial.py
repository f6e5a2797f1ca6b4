"""A fit on trial: what passes, and what broken windows cost it."""

from dataclasses import replace

import numpy as np
import pytest

from reminders.forecast import PUBLISHED_PRIOR, Posterior, try_fit
from tests.forecast.simulated import START, Simulated, shifted_truth, simulate

CUT = START + 5 * 365.25
END = START + 6 * 365.25


@pytest.fixture(scope="module")
def made() -> Simulated:
    """A book of a world in which the trade is wrong."""
    return simulate(7, 60, 6.0, shifted_truth())


def widened(posterior: Posterior, doubt: float) -> Posterior:
    """The same belief with more doubt about the reference deck."""
    covariance = posterior.covariance.copy()
    covariance[0, 0] += doubt
    return replace(posterior, covariance=covariance)


def test_a_fit_to_the_book_passes_against_the_priors(made: Simulated) -> None:
    learned = made.book.fit_before(CUT).posterior
    found = try_fit(made.book, learned, {"priors": PUBLISHED_PRIOR}, CUT, END)
    assert found.is_passed
    assert found.scores.visits == found.rivals["priors"].scores.visits > 50
    assert found.scores.log_score < found.rivals["priors"].scores.log_score


@pytest.mark.parametrize("doubt", [1.0, 1e8])
def test_windows_that_are_far_too_wide_do_not_pass(made: Simulated, doubt: float) -> None:
    """1e8 is what the coefficients of a broken fit had as their variance."""
    learned = made.book.fit_before(CUT).posterior
    found = try_fit(
        made.book,
        widened(learned, doubt),
        {"in use": learned, "priors": PUBLISHED_PRIOR},
        CUT,
        END,
    )
    assert not found.is_passed
    assert found.rivals["in use"].has_better_chances
    assert found.rivals["in use"].has_better_windows


def test_an_equal_fit_passes(made: Simulated) -> None:
    learned = made.book.fit_before(CUT).posterior
    found = try_fit(made.book, learned, {"in use": learned}, CUT, END)
    assert found.is_passed
    assert found.rivals["in use"].scores == found.scores


def test_without_visits_nothing_speaks_against_a_fit(made: Simulated) -> None:
    found = try_fit(made.book, PUBLISHED_PRIOR, {"in use": PUBLISHED_PRIOR}, END, END + 1)
    assert found.scores.visits == 0
    assert np.isnan(found.scores.log_score)
