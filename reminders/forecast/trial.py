"""A fit on trial: against what it would replace, over visits that it has not seen."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from reminders.forecast.arrays import Floats
from reminders.forecast.inspection_data import (
    InspectionData,
    scored_visits,
    worn_chances_at_visits,
)
from reminders.forecast.posterior import Posterior
from reminders.forecast.scoring import ForecastScores, log_scores, score_forecast, window_scores

# A window is scored in three steps only, so that a fit like another often differs by luck: as many
# standard errors are forgiven (judgement).
FORGIVEN_ERRORS = 2.0
ROUNDING = 1e-9


@dataclass(frozen=True)
class RivalScores:
    """How a rival did over the visits of a trial.

    Parameters
    ----------
    scores : ForecastScores
        Of the rival.
    has_better_chances : bool
        Whether its chances scored better than those of the fit on trial.
    has_better_windows : bool
        Whether its windows scored better than luck explains.
    """

    scores: ForecastScores
    has_better_chances: bool
    has_better_windows: bool


@dataclass(frozen=True)
class FitTrial:
    """A fit judged.

    Parameters
    ----------
    scores : ForecastScores
        Of the fit.
    rivals : dict of str to RivalScores
        By the names that were given.
    """

    scores: ForecastScores
    rivals: dict[str, RivalScores]

    @property
    def is_passed(self) -> bool:
        """Whether no rival did better."""
        return not any(
            rival.has_better_chances or rival.has_better_windows for rival in self.rivals.values()
        )


def try_fit(
    book: InspectionData,
    tried: Posterior,
    rivals: Mapping[str, Posterior],
    start: float,
    end: float,
) -> FitTrial:
    """Let a fit and its rivals forecast the same visits.

    Parameters
    ----------
    book : InspectionData
        All coats and visits.
    tried : Posterior
        The very fit that would go into use; it has seen no visit of the period.
    rivals : mapping of str to Posterior
        What it must not do worse than.
    start, end : float
        The period, in days since 1970-01-01.

    Returns
    -------
    FitTrial
        Scores and verdict.
    """
    visits = scored_visits(book, start, end)
    own = worn_chances_at_visits(book, visits, tried)
    found = {}
    for name, rival in rivals.items():
        theirs = worn_chances_at_visits(book, visits, rival)
        chances = log_scores(own, visits.worn) - log_scores(theirs, visits.worn)
        windows = window_scores(own, visits.worn) - window_scores(theirs, visits.worn)
        found[name] = RivalScores(
            score_forecast(theirs, visits.worn),
            bool(chances.sum() > ROUNDING * len(chances)),
            _is_above_luck(windows),
        )
    return FitTrial(score_forecast(own, visits.worn), found)


def _is_above_luck(differences: Floats) -> bool:
    error = np.sqrt((differences**2).sum())  # of the sum, if the two were equally good
    return bool(differences.sum() > FORGIVEN_ERRORS * error)
