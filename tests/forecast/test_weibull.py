"""The second curve of life against published Weibull fits, general libraries and differences."""

import warnings
from dataclasses import replace

import numpy as np
import pytest
from lifelines import WeibullAFTFitter
from lifelines.datasets import load_diabetes
from scipy import stats

from reminders.forecast import DESIGN_COLUMNS, PUBLISHED_PRIOR, CensoredLives, compare_distributions
from reminders.forecast.posterior_mode import (
    PosteriorMode,
    find_posterior_mode,
    prepare_log_posterior,
)
from reminders.forecast.weibull import LOG_LOG_2, WEIBULL, weibull_log_probability, weibull_prior
from tests.forecast.oracles import (
    BEARINGS,
    EXPONENTIAL,
    GROUPED,
    INF,
    MICROPROCESSORS,
    OVARIAN,
    PHOTODETECTOR,
    TUBES,
    WHEELS,
    Published,
    rows,
)

PUBLISHED = [
    # R survival tests/testreg.Rout.save: 12.3886 (1.6027) -.0986 (.0254) .0971 (.3776), -.4773
    # (.2583), -56.2
    Published(
        "R interval regression",
        OVARIAN,
        (12.388593, -0.098567, 0.097061),
        0.620478,
        -56.227817,
        (1.602682, 0.025369, 0.377592, 0.258315),
    ),
    # Meeker & Escobar (1998) example 8.16: shape 2.035, and R survreg 2.035319, 11792.178,
    # -76.436896
    Published("bearing cages", BEARINGS, (np.log(11792.1782),), 1 / 2.035319, -76.436896),
    # lifelines' own tests, after ReliaSoft: shape 1.215, scale 8270.88
    Published("grouped", GROUPED, (np.log(8270.889),), 1 / 1.21566, -265.204470),
    # Nelson (1982) p. 407; maximum by the complementary log-log regression of statsmodels
    Published("turbine wheels", WHEELS, (3.845397,), 0.459605, -189.287193, (0.06394, 0.12447)),
    # data of Meeker & Escobar ch. 1 and 7, Nelson (1990), SMRD; maxima by surpyval and scipy
    Published("heat exchanger tubes", TUBES, (3.162091,), 0.743210, -54.414705),
    Published("exponential intervals", EXPONENTIAL, (6.31573149,), 1.08794086, -378.391638),
    Published("microprocessors", MICROPROCESSORS, (20.419620,), 3.345808, -103.918610),
    Published("photodetector", PHOTODETECTOR, (1.541701,), 0.165398, -28.535408),
]


def flat(lives: CensoredLives, start: list[float], **options: object) -> PosteriorMode:
    """The maximum of the likelihood alone; coefficients, log spread, log omega."""
    size = len(start)
    problem = prepare_log_posterior(
        lives, np.zeros(size), np.zeros((size, size)), distribution=WEIBULL, **options
    )
    return find_posterior_mode(problem, np.array(start, dtype=float))


def start_of(lives: CensoredLives) -> list[float]:
    middle = np.log(
        np.where(np.isfinite(lives.upper), (lives.lower + lives.upper) / 2, 1.5 * lives.lower)
    )
    x = np.column_stack([np.ones(len(lives)), lives.x])
    return [*np.linalg.lstsq(x, middle, rcond=None)[0], 0.0, 0.0]


@pytest.mark.parametrize("known", PUBLISHED, ids=lambda known: known.name)
def test_the_weibull_maximum_agrees_with_published_examples(known: Published) -> None:
    best = flat(known.lives, start_of(known.lives), deck_effect=False)
    scale = max(1.0, abs(known.beta[0]) / 10)
    assert best.theta[:-2] == pytest.approx(known.beta, abs=1e-4 * scale)
    assert np.exp(best.theta[-2]) == pytest.approx(known.sigma, rel=1e-4)
    assert best.value == pytest.approx(known.log_likelihood, abs=1e-5)
    if known.errors:
        assert np.sqrt(np.diag(best.covariance))[:-1] == pytest.approx(known.errors, rel=2e-4)


def test_value_gradient_and_hessian_of_the_wheels_at_a_fixed_point() -> None:
    problem = prepare_log_posterior(
        WHEELS, np.zeros(3), np.zeros((3, 3)), deck_effect=False, distribution=WEIBULL
    )
    value, gradient, hessian = problem.likelihood(np.array([3.6, -0.5, 0.0]))
    assert value == pytest.approx(
        -215.226260992, abs=1e-8
    )  # scipy.stats.weibull_min, summed by hand
    assert gradient[:2] == pytest.approx([141.347829, -42.033755], abs=1e-5)
    assert hessian[:2, :2] == pytest.approx(
        np.array([[-496.69012, -38.53473], [-38.53473, -68.01791]]), abs=1e-4
    )


def test_diabetes_agrees_with_lifelines_and_with_two_packages_of_r() -> None:
    data = load_diabetes()
    male = (data["gender"] == "male").to_numpy(float)
    lives = rows(data["left"].to_numpy(float), data["right"].to_numpy(float), x=male)
    best = flat(lives, [2.8, 0, -1, 0], deck_effect=False)
    # flexsurv and icenReg, as quoted in the tests of lifelines: exp(int) 18.31971, shape 2.82628,
    # .04576, -2027.196
    assert np.exp(best.theta[0]) == pytest.approx(18.31971, abs=2e-4)
    assert np.exp(-best.theta[2]) == pytest.approx(2.82628, abs=2e-5)
    assert best.theta[1] == pytest.approx(0.04576, abs=1e-5)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        frame = data.assign(male=male)[["left", "right", "male"]]
        other = WeibullAFTFitter().fit_interval_censoring(frame, "left", "right")
    assert best.value == pytest.approx(other.log_likelihood_, abs=1e-5)


def test_single_visits_agree_with_the_complementary_log_log_of_statsmodels() -> None:
    import statsmodels.api as sm

    rng = np.random.default_rng(12)
    x = rng.normal(size=2000)
    age = rng.uniform(5, 30, 2000)
    worn = np.log(age) > 2.9 + 0.2 * x + 0.3 * np.log(rng.exponential(size=2000))
    best = flat(
        rows(np.where(worn, 0, age), np.where(worn, age, INF), x=x),
        [2.5, 0, -1, 0],
        deck_effect=False,
    )
    family = sm.families.Binomial(link=sm.families.links.CLogLog())
    other = sm.GLM(
        worn.astype(float), np.column_stack([np.ones(2000), x, np.log(age)]), family=family
    ).fit()
    spread = 1 / other.params[-1]
    assert np.exp(best.theta[-2]) == pytest.approx(spread, rel=1e-5)
    assert best.theta[:2] == pytest.approx(-other.params[:2] * spread, abs=1e-5)
    assert best.value == pytest.approx(other.llf, abs=1e-6)


def test_interval_probabilities_agree_with_scipy_and_keep_their_digits() -> None:
    low = np.array([-2.0, -INF, -0.5, 1.0])
    high = np.array([-1.0, 0.3, INF, 1.5])
    distribution = stats.gumbel_l
    assert weibull_log_probability(low, high) == pytest.approx(
        np.log(distribution.cdf(high) - distribution.cdf(low)), rel=1e-12
    )
    # e^-40 (1 − e^-…) by hand: two ends far in the lower tail, and a hair's breadth apart
    near = weibull_log_probability(np.array([-40.0, 0.0]), np.array([-39.0, 1e-9]))
    assert near == pytest.approx([-40 + np.log(np.e - 1), -1 + np.log(1e-9)], rel=1e-9)


def book(decks: int, coats: int, seed: int, *, is_weibull: bool) -> CensoredLives:
    """Coats seen twice, of decks with a pace of their own."""
    rng = np.random.default_rng(seed)
    n = decks * coats
    deck = np.repeat(np.arange(decks), coats)
    z = np.log(rng.exponential(size=n)) if is_weibull else rng.normal(size=n) * np.pi / 6**0.5
    life = np.exp(2.75 + 0.15 * rng.normal(size=decks)[deck] + 0.25 * z)
    first = rng.uniform(6, 14, n)
    second = rng.uniform(14, 24, n)
    lower = np.where(life > second, second, np.where(life > first, first, 0))
    upper = np.where(life <= first, first, np.where(life <= second, second, INF))
    return CensoredLives(x=np.zeros((n, 0)), lower=lower, upper=upper, deck=deck)


@pytest.mark.parametrize("misclassification", [0.0, 0.02])
def test_derivatives_with_a_deck_effect_agree_with_differences(misclassification: float) -> None:
    lives = book(30, 3, seed=4, is_weibull=True)
    problem = prepare_log_posterior(
        lives,
        np.zeros(3),
        np.eye(3),
        misclassification=misclassification,
        nodes=31,
        distribution=WEIBULL,
    )
    theta = np.array([2.7, -1.2, -1.3])
    step = 1e-5
    _, gradient, hessian = problem.log_posterior(theta)
    ways = [
        (problem.log_posterior(theta + step * unit), problem.log_posterior(theta - step * unit))
        for unit in np.eye(3)
    ]
    assert gradient == pytest.approx(
        [(up[0] - down[0]) / (2 * step) for up, down in ways], abs=1e-4
    )
    assert hessian == pytest.approx(
        np.array([(up[1] - down[1]) / (2 * step) for up, down in ways]), abs=2e-3
    )


def wide(lives: CensoredLives) -> CensoredLives:
    return replace(lives, x=np.zeros((len(lives), len(DESIGN_COLUMNS))))


def test_the_law_that_made_the_book_explains_it_better() -> None:
    normal = compare_distributions(wide(book(300, 3, seed=5, is_weibull=False)))
    other = compare_distributions(wide(book(300, 3, seed=5, is_weibull=True)))
    assert normal.lognormal_advantage > 2
    assert other.lognormal_advantage < -2
    assert normal.coats == other.coats == 900


def test_without_lives_neither_law_is_ahead() -> None:
    none = book(1, 1, seed=1, is_weibull=True).take(np.zeros(0, dtype=int))
    assert compare_distributions(wide(none)).lognormal_advantage == 0


def test_a_belief_keeps_its_median_and_its_spread_under_the_other_law() -> None:
    other = weibull_prior(PUBLISHED_PRIOR)
    spread = np.exp(other.mean[-2])
    assert other.mean[0] + spread * LOG_LOG_2 == pytest.approx(PUBLISHED_PRIOR.mean[0])
    assert spread * stats.gumbel_l.std() == pytest.approx(np.exp(PUBLISHED_PRIOR.mean[-2]))
