"""Does the assumed curve of life fit? The log-normal law held against Weibull's on the same
lives."""

from dataclasses import dataclass

import numpy as np

from reminders.forecast.fitting import MISCLASSIFICATION
from reminders.forecast.intervals import CensoredLives
from reminders.forecast.likelihood import LOGNORMAL, LifeDistribution
from reminders.forecast.posterior import Posterior
from reminders.forecast.posterior_mode import find_posterior_mode, prepare_log_posterior
from reminders.forecast.priors import PUBLISHED_PRIOR
from reminders.forecast.weibull import WEIBULL, weibull_prior

# its deck integrals are less even than the log-normal ones: 9 nodes leave errors of 1e-4 there
WEIBULL_NODES = 15


@dataclass(frozen=True)
class DistributionComparison:
    """How well either law explains the lives at its best point;
    both have the same number of coefficients.

    Parameters
    ----------
    coats : int
        Lives that were looked at.
    lognormal, weibull : float
        Log-likelihoods.
    """

    coats: int
    lognormal: float
    weibull: float

    @property
    def lognormal_advantage(self) -> float:
        """By how much the log-normal law is ahead, in points of log-likelihood."""
        return self.lognormal - self.weibull


def _maximum_log_likelihood(
    lives: CensoredLives, prior: Posterior, distribution: LifeDistribution, nodes: int
) -> float:
    precision = np.asarray(np.linalg.inv(prior.covariance), dtype=np.float64)
    problem = prepare_log_posterior(
        lives,
        prior.mean,
        precision,
        misclassification=MISCLASSIFICATION,
        nodes=nodes,
        distribution=distribution,
    )
    return problem.likelihood(find_posterior_mode(problem, prior.mean).theta)[0]


def compare_distributions(
    lives: CensoredLives, prior: Posterior = PUBLISHED_PRIOR
) -> DistributionComparison:
    """Fit both laws under the same belief and say how well each explains the lives.

    Parameters
    ----------
    lives : Lives
        What visits say about coats.
    prior : Posterior
        What is believed without them.

    Returns
    -------
    ShapeOfLife
        The two log-likelihoods; nought without lives.
    """
    if not len(lives):
        return DistributionComparison(0, 0.0, 0.0)
    normal = _maximum_log_likelihood(lives, prior, LOGNORMAL, WEIBULL_NODES)
    return DistributionComparison(
        len(lives),
        normal,
        _maximum_log_likelihood(lives, weibull_prior(prior), WEIBULL, WEIBULL_NODES),
    )
