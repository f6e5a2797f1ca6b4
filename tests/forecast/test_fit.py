"""The likelihood and the fit against published examples and general libraries."""

import warnings
from dataclasses import replace

import numpy as np
import pytest
from lifelines import LogNormalAFTFitter
from lifelines.datasets import load_c_botulinum_lag_phase, load_diabetes
from scipy import stats

from reminders.forecast.intervals import CensoredLives
from reminders.forecast.lognormal import log_ndtr_interval
from reminders.forecast.posterior_mode import (
    NormalPrior,
    PosteriorMode,
    find_posterior_mode,
    prepare_log_posterior,
)
from reminders.forecast.reml import apply_reml_correction
from tests.forecast.oracles import INF, MOTORETTE, PUBLISHED, RAIL, WHEELS, Published, rows


def flat(lives: CensoredLives, start: list[float], **options: object) -> PosteriorMode:
    """The maximum of the likelihood alone; coefficients, log sigma, log omega."""
    size = len(start)
    return find_posterior_mode(
        prepare_log_posterior(
            lives, NormalPrior(np.zeros(size), np.zeros((size, size))), **options
        ),
        np.array(start, dtype=float),
    )


def start_of(lives: CensoredLives) -> list[float]:
    middle = np.log(
        np.where(np.isfinite(lives.upper), (lives.lower + lives.upper) / 2, 1.5 * lives.lower)
    )
    x = np.column_stack([np.ones(len(lives)), lives.x])
    return [*np.linalg.lstsq(x, middle, rcond=None)[0], 0.0, 0.0]


@pytest.mark.parametrize("known", PUBLISHED, ids=lambda known: known.name)
def test_the_maximum_agrees_with_published_examples(known: Published) -> None:
    best = flat(known.lives, start_of(known.lives), deck_effect=False)
    scale = max(
        1.0, abs(known.beta[0]) / 10
    )  # the flat microprocessor set is printed to fewer useful digits
    assert best.theta[:-2] == pytest.approx(known.beta, abs=1e-4 * scale)
    assert np.exp(best.theta[-2]) == pytest.approx(known.sigma, rel=1e-4)
    assert best.value == pytest.approx(known.log_likelihood, abs=1e-5)
    if known.errors:
        assert np.sqrt(np.diag(best.covariance))[:-1] == pytest.approx(known.errors, rel=1e-4)


def test_quantiles_of_the_motorette_agree_with_r() -> None:
    best = flat(MOTORETTE, start_of(MOTORETTE), deck_effect=False)
    for celsius, known in (
        (130, [12033.185, 26095.677, 56592.20]),
        (150, [4536.877, 9838.864, 21336.98]),
    ):
        mean = best.theta[0] + best.theta[1] * 1000 / (273.2 + celsius)
        found = np.exp(mean + np.exp(best.theta[2]) * stats.norm.ppf([0.1, 0.5, 0.9]))
        assert found == pytest.approx(
            known, rel=1e-5
        )  # R survreg, printed to two or three decimals


# 60-digit mpmath; the naive difference is -inf or wrong from the ninth digit in most of these.
TAILS = [
    (-1, 1, -0.381715146302126),
    (5, 6, -15.0684460965295),
    (30, 31, -454.321243956343),
    (-40, -39, -765.083156564378),
    (10, 10.000001, -64.7344540919133),
    (0, 1e-9, -21.6422043701511),
    (37, 38.5, -689.030585576891),
    (100, 101, -5005.52420869421),
    (8, 8.000001, -46.7344530919148),
    (200, 200.001, -20007.9250278591),
    (-3, INF, -0.00135080996474819),
    (-INF, -25, -316.63940800802),
]


@pytest.mark.parametrize(("low", "high", "known"), TAILS)
def test_interval_probabilities_keep_their_digits_in_the_tails(
    low: float, high: float, known: float
) -> None:
    assert log_ndtr_interval(np.array([low]), np.array([high]))[0] == pytest.approx(
        known, rel=1e-10
    )


def test_value_gradient_and_hessian_of_the_wheels_at_a_fixed_point() -> None:
    problem = prepare_log_posterior(
        WHEELS, NormalPrior(np.zeros(3), np.zeros((3, 3))), deck_effect=False
    )
    value, gradient, hessian = problem.likelihood(np.array([3.6, -0.5, 0.0]))
    assert value == pytest.approx(-192.254538833, abs=1e-8)  # scipy.stats.norm, summed by hand
    assert gradient[:2] == pytest.approx([20.394273, 8.290349], abs=1e-5)
    assert hessian[:2, :2] == pytest.approx(
        np.array([[-491.49553, 110.63711], [110.63711, -127.07968]]), abs=1e-4
    )


def test_the_most_probable_wheels_under_a_prior_agree_with_nelder_mead() -> None:
    mean = np.array([3.5, np.log(0.5), 0.0])
    precision = np.diag([100.0, 25.0, 1.0])
    best = find_posterior_mode(
        prepare_log_posterior(WHEELS, NormalPrior(mean, precision), deck_effect=False), mean
    )
    assert best.theta[:2] == pytest.approx([3.62711954, -0.45608799], abs=1e-6)
    assert best.value == pytest.approx(-193.00891030, abs=1e-7)
    assert np.sqrt(np.diag(best.covariance))[:2] == pytest.approx(
        [0.04696726, 0.09032305], abs=1e-6
    )


def test_rails_agree_with_the_closed_form_and_with_statsmodels() -> None:
    # Pinheiro & Bates (2000) p. 4-10; y = 20 · log T.
    from statsmodels.regression.mixed_linear_model import MixedLM

    y = np.array(RAIL, dtype=float)
    rail = np.repeat(np.arange(6), 3)
    life = np.exp(y / 20)
    best = flat(replace(rows(life, life), deck=rail), [3.0, -1.0, -0.5])
    assert 20 * best.theta[0] == pytest.approx(66.5, abs=1e-5)
    assert 20 * np.exp(best.theta[1:]) == pytest.approx([4.020779, 22.624348], abs=1e-4)
    log_likelihood = best.value + np.log(life).sum() - 18 * np.log(20)
    assert log_likelihood == pytest.approx(-64.280018, abs=1e-5)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        other = MixedLM(y, np.ones((18, 1)), groups=rail).fit(reml=False)
    assert log_likelihood == pytest.approx(other.llf, abs=1e-4)


def test_spreads_of_rails_freed_of_their_bias_agree_with_restricted_maximum_likelihood() -> None:
    # Pinheiro & Bates (2000) p. 9 by restricted maximum likelihood, here from statsmodels; least
    # squares by hand: the mean squares between and within rails, 9310.5/5 and 194/12, give ((1862.1
    # − 16.1667)/3)^½ = 24.805 and 4.0208.
    from statsmodels.regression.mixed_linear_model import MixedLM

    y = np.array(RAIL, dtype=float)
    rail = np.repeat(np.arange(6), 3)
    life = np.exp(y / 20)
    problem = prepare_log_posterior(
        replace(rows(life, life), deck=rail), NormalPrior(np.zeros(3), np.zeros((3, 3)))
    )
    best = find_posterior_mode(problem, np.array([3.0, -1.0, -0.5]))
    freed = apply_reml_correction(problem, best, 6)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        other = MixedLM(y, np.ones((18, 1)), groups=rail).fit(reml=True)
    between = float(np.sqrt(other.cov_re[0, 0]))
    assert between == pytest.approx(24.805, abs=0.01)
    assert 20 * np.exp(freed.theta[-1]) == pytest.approx(between, rel=0.005)
    assert 20 * np.exp(freed.theta[-2]) == pytest.approx(4.0208, rel=0.005)


def test_single_visits_agree_with_the_probit_of_statsmodels() -> None:
    import statsmodels.api as sm

    rng = np.random.default_rng(11)
    x = rng.normal(size=(3000, 2))
    age = rng.uniform(5, 30, 3000)
    worn = np.log(age) > 2.7 + x @ [0.2, -0.1] + 0.35 * rng.normal(size=3000)
    lives = rows(np.where(worn, 0, age), np.where(worn, age, INF), x=x)
    best = flat(lives, [2.5, 0, 0, -1, 0], deck_effect=False)
    probit = sm.Probit(worn.astype(float), np.column_stack([np.ones(3000), x, np.log(age)])).fit(
        disp=0
    )
    sigma = 1 / probit.params[-1]
    assert np.exp(best.theta[-2]) == pytest.approx(sigma, rel=1e-5)
    assert best.theta[:3] == pytest.approx(-probit.params[:3] * sigma, abs=1e-5)
    assert best.value == pytest.approx(probit.llf, abs=1e-6)


def test_diabetes_agrees_with_lifelines() -> None:
    data = load_diabetes()
    lower = np.maximum(data["left"].to_numpy(float), 1e-8)
    upper = data["right"].to_numpy(float)
    male = (data["gender"] == "male").to_numpy(float)
    best = flat(rows(lower, upper, x=male), [2.5, 0, -1, 0], deck_effect=False)
    frame = data.assign(left=lower, male=male)[["left", "right", "male"]]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        other = LogNormalAFTFitter().fit_interval_censoring(frame, "left", "right")
    assert best.value == pytest.approx(-2026.118212, abs=1e-5)
    assert best.value == pytest.approx(other.log_likelihood_, abs=1e-5)
    assert best.theta[:3] == pytest.approx([2.699820, 0.086428, -0.955230], abs=1e-4)


def test_botulinum_where_lifelines_gives_up() -> None:
    data = load_c_botulinum_lag_phase()
    x = data[["NaCl_percent", "pH"]].to_numpy(float)
    lower = data["lower_bound_days"].to_numpy(float)
    upper = data["upper_bound_days"].to_numpy(float)
    best = flat(
        rows(lower, upper, x=x),
        start_of(rows(np.maximum(lower, 1e-3), upper, x=x)),
        deck_effect=False,
    )
    assert best.value == pytest.approx(
        -25.448942, abs=1e-5
    )  # by our own prototype; lifelines does not converge


def test_a_mixed_sample_agrees_with_scipy() -> None:
    data = stats.CensoredData(
        left=[2.0, 3.0, 5.0, 5.0], right=[4.0, 6.0, 8.0], interval=[[2, 4], [3, 7], [4, 5]]
    )
    shape, _, scale = stats.lognorm.fit(data, 0.6, floc=0, scale=4.0)
    best = flat(
        rows([0, 0, 0, 0, 4, 6, 8, 2, 3, 4], [2, 3, 5, 5, INF, INF, INF, 4, 7, 5]),
        [1.4, 0, 0],
        deck_effect=False,
    )
    assert [best.theta[0], np.exp(best.theta[1])] == pytest.approx([np.log(scale), shape], abs=2e-4)


@pytest.mark.parametrize("misclassification", [0.0, 0.02])
def test_derivatives_agree_with_differences(misclassification: float) -> None:
    lives = book(30, 3, seed=4)
    problem = prepare_log_posterior(
        lives, NormalPrior(np.zeros(5), np.eye(5)), misclassification=misclassification, nodes=31
    )
    theta = np.array([2.4, 0.1, 0.2, -1.1, -0.9])
    step = 1e-5
    _, gradient, hessian = problem.log_posterior(theta)
    ways = [
        (problem.log_posterior(theta + step * unit), problem.log_posterior(theta - step * unit))
        for unit in np.eye(5)
    ]
    assert gradient == pytest.approx(
        [(up[0] - down[0]) / (2 * step) for up, down in ways], abs=1e-4
    )
    assert hessian == pytest.approx(
        np.array([(up[1] - down[1]) / (2 * step) for up, down in ways]), abs=2e-3
    )


def book(
    decks: int, coats: int, seed: int, sigma: float = 0.3, omega: float = 0.4
) -> CensoredLives:
    rng = np.random.default_rng(seed)
    n = decks * coats
    deck = np.repeat(np.arange(decks), coats)
    x = rng.normal(size=(n, 2))
    life = np.exp(
        2.5 + x @ [0.1, -0.2] + omega * rng.normal(size=decks)[deck] + sigma * rng.normal(size=n)
    )
    first = rng.uniform(6, 12, n)
    second = rng.uniform(13, 24, n)
    lower = np.where(life > second, second, np.where(life > first, first, 0))
    upper = np.where(life <= first, first, np.where(life <= second, second, INF))
    return CensoredLives(x=x, lower=lower, upper=upper, deck=deck)


def test_nine_nodes_are_as_good_as_brute_force() -> None:
    lives = book(20, 3, seed=8)
    theta = np.array([2.5, 0.1, -0.2, np.log(0.35), np.log(0.4)])
    found = prepare_log_posterior(lives, NormalPrior(np.zeros(5), np.zeros((5, 5)))).likelihood(
        theta
    )[0]
    pace = np.linspace(-4, 4, 4001)
    total = 0.0
    for deck in range(20):
        at = lives.deck == deck
        eta = theta[0] + lives.x[at] @ theta[1:3]
        low, high = (
            (np.log(np.maximum(side[at], 1e-300))[:, None] - eta[:, None] - pace) / 0.35
            for side in (lives.lower, lives.upper)
        )
        each = np.exp(log_ndtr_interval(low, high)).prod(axis=0) * stats.norm.pdf(pace, scale=0.4)
        total += np.log(each.sum() * (pace[1] - pace[0]))
    assert found == pytest.approx(total, abs=1e-3)


def test_the_truth_is_found_again_in_a_large_book() -> None:
    best = flat(book(2000, 3, seed=2), [2.3, 0, 0, -1.0, -1.0])
    assert best.theta[:3] == pytest.approx([2.5, 0.1, -0.2], abs=0.04)
    assert np.exp(best.theta[3:]) == pytest.approx([0.3, 0.4], abs=0.02)
    assert best.converged
