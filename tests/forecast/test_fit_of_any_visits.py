"""Whatever was seen, the fit gives a usable posterior, and what cannot be is refused."""

import json
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reminders.forecast import PUBLISHED_PRIOR, Coats, Fit, Posterior, predict
from reminders.forecast.exposure import DESIGN_COLUMNS
from reminders.forecast.fitting import fit
from reminders.forecast.intervals import CensoredLives
from tests.forecast.oracles import INF

WIDTH = len(DESIGN_COLUMNS)


def few(lower: list[float], upper: list[float], deck: list[int]) -> CensoredLives:
    return CensoredLives(
        x=np.zeros((len(lower), WIDTH)),
        lower=np.array(lower),
        upper=np.array(upper),
        deck=np.array(deck),
    )


@pytest.mark.parametrize(
    "lives",
    [
        pytest.param(few([], [], []), id="no data"),
        pytest.param(few([14.0], [INF], [1]), id="one sound coat"),
        pytest.param(few([0.0], [1e-3], [1]), id="worn at once"),
        pytest.param(few([500.0], [INF], [1]), id="sound for forty years"),
        pytest.param(few([12.0] * 40, [INF] * 40, list(range(40))), id="all sound"),
        pytest.param(few([0.0] * 40, [12.0] * 40, list(range(40))), id="all worn"),
        pytest.param(
            few([10.0] * 30 + [0.0] * 30, [INF] * 30 + [10.01] * 30, list(range(60))),
            id="separated",
        ),
        pytest.param(few([16.0, 16.0], [16.0, 16.0], [1, 1]), id="the same life twice"),
        pytest.param(few([0.0, 400.0], [0.5, INF], [1, 1]), id="a deck that contradicts itself"),
    ],
)
def test_the_fit_never_fails(lives: CensoredLives) -> None:
    found = fit(lives)
    posterior = found.posterior
    assert found.converged
    assert np.isfinite(posterior.mean).all()
    assert (np.linalg.eigvalsh(posterior.covariance) > 0).all()
    assert 0.05 < np.exp(posterior.mean[-2]) < 1.5
    again = Fit.from_dict(json.loads(json.dumps(found.to_dict())))
    assert again.version == found.version
    assert (again.posterior.covariance == posterior.covariance).all()


@pytest.mark.slow  # forty fits
@given(
    st.lists(
        st.tuples(st.floats(0.1, 300), st.floats(0.1, 300), st.integers(0, 3), st.booleans()),
        max_size=8,
    )
)
@settings(max_examples=40)
def test_any_few_visits_give_a_usable_posterior(seen: list[tuple[float, float, int, bool]]) -> None:
    lower = [0.0 if a >= b else a for a, b, _, _ in seen]
    upper = [
        INF if open_ended and low > 0 else b
        for (_, b, _, open_ended), low in zip(seen, lower, strict=True)
    ]
    found = fit(few(lower, upper, [deck for _, _, deck, _ in seen]))
    assert np.isfinite(found.posterior.mean).all()
    assert (
        np.abs(found.posterior.mean[1:-2] - PUBLISHED_PRIOR.mean[1:-2]).max() < 1e-9
    )  # no exposure, nothing learned about it


def test_equal_visits_give_an_equal_version_and_others_another() -> None:
    first = few([12.0], [INF], [1])
    other = few([12.5], [INF], [1])
    assert fit(first).version == fit(first).version != fit(other).version
    assert fit(few([], [], [])).version == PUBLISHED_PRIOR.version


def test_a_deck_that_wore_fast_three_times_is_expected_to_again(
    coats: Callable[..., Coats],
) -> None:
    found = fit(
        few(
            [8.0, 8.0, 8.0, 12.0, 12.0, 14.0],
            [10.0, 10.0, 10.0, INF, INF, 20.0],
            [1, 1, 1, 2, 3, 4],
        )
    )
    fast, unknown = predict(
        coats(coated_on=[18000.0] * 2, deck=[1, 99]), found.posterior, 18001.0
    ).due_months
    assert fast < unknown
    shares = predict(coats(deck=1), found.posterior, 18001.0)
    assert shares.prior_share[0] < 1


def test_a_fit_stored_before_slopes_were_kept_reads_as_one_whose_own_coats_were_alike(
    coats: Callable[..., Coats],
) -> None:
    found = fit(few([8.0, 8.0, 14.0], [10.0, 10.0, 20.0], [1, 1, 2])).posterior
    stored = found.to_dict()
    del stored["deck_slope"]
    old = Posterior.from_dict(json.loads(json.dumps(stored)))
    x = np.zeros((3, WIDTH))  # as those coats were
    assert old.predictor_variance(x, np.array([1, 2, 9])) == pytest.approx(
        found.predictor_variance(x, np.array([1, 2, 9])), rel=1e-6
    )


def test_a_deck_that_contradicts_itself_is_known_no_worse_than_a_strange_one() -> None:
    found = fit(few([0.0, 60.0], [6.0, 70.0], [1, 1])).posterior
    assert found.deck_variance[0] <= found.omega**2 * (1 + 1e-12)
    assert found.is_no_wider_than(PUBLISHED_PRIOR)
    wider = replace(found, covariance=2 * PUBLISHED_PRIOR.covariance)
    assert not wider.is_no_wider_than(PUBLISHED_PRIOR)


def test_a_running_coat_does_not_teach_the_pace_of_its_own_deck() -> None:
    lives = few([8.0, 14.0], [10.0, INF], [1, 2])
    found = fit(replace(lives, running=np.array([False, True])))
    assert found.posterior.deck_keys.tolist() == [1]


def test_misreading_bounds_what_one_odd_visit_can_do() -> None:
    usual = few([12.0] * 20 + [0.0], [20.0] * 20 + [1.0], list(range(21)))
    guarded, credulous = (fit(usual, misclassification=share) for share in (0.02, 0.0))
    assert guarded.posterior.mean[-2] < credulous.posterior.mean[-2]  # log sigma


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"lower": np.array([np.nan])}, "lower is not a possible value; row 0 has nan"),
        ({"lower": np.array([-1.0])}, "lower is not a possible value; row 0 has -1"),
        ({"upper": np.array([5.0])}, "upper is not a possible value; row 0 has 5"),
        ({"weight": np.array([0.0])}, "weight is not a possible value; row 0 has 0"),
        ({"x": np.full((1, WIDTH), np.nan)}, "x is not a possible value; row 0 has"),
    ],
)
def test_impossible_lives_are_refused(change: dict[str, np.ndarray], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        replace(few([12.0], [INF], [1]), **change)


def test_a_misclassify_of_one_half_is_refused() -> None:
    with pytest.raises(
        ValueError, match=r"misclassification must lie between 0 and 0\.5; got 0\.5"
    ):
        fit(few([12.0], [INF], [1]), misclassification=0.5)


FLAT = np.full(len(PUBLISHED_PRIOR.mean), np.inf)


def renamed(**names: str) -> Posterior:
    """The priors with other names for some coefficients."""
    return replace(PUBLISHED_PRIOR, names=tuple(names.get(n, n) for n in PUBLISHED_PRIOR.names))


@pytest.mark.parametrize(
    ("call", "message"),
    [
        pytest.param(
            lambda: fit(replace(few([12.0], [INF], [1]), x=np.zeros((1, 2)))),
            r"lives\.x must have a column for each of the 35 coefficients of prior"
            r" \(finish_clear_repellent, .*\); got 2",
            id="foreign columns",
        ),
        pytest.param(
            lambda: fit(few([12.0], [INF], [1]), renamed(log_sigma="log_shape")),
            "end with log_sigma, log_omega, for lives are log-normal and no other law is fitted;"
            " got reference, .*, log_shape, log_omega",
            id="Weibull",
        ),
        pytest.param(
            lambda: fit(
                few([12.0], [INF], [1]),
                replace(PUBLISHED_PRIOR, covariance=np.zeros_like(PUBLISHED_PRIOR.covariance)),
            ),
            "covariance of prior must be positive definite; for a flat prior give wide variances",
            id="no covariance",
        ),
        pytest.param(
            lambda: replace(PUBLISHED_PRIOR, covariance=np.diag(FLAT)),
            "must be finite; got NaN or infinity; a flat prior has wide variances",
            id="flat",
        ),
        pytest.param(
            lambda: fit(few([12.0], [INF], [1]), start=renamed(roof="awning")),
            "start must have the names of prior; got .*awning",
            id="start of another prior",
        ),
        pytest.param(
            lambda: replace(few([12.0], [INF], [1]), x=np.zeros(3)),
            r"x must have 1 rows, one a life, and a column a factor; got shape \(3,\)",
            id="a column too flat",
        ),
    ],
)
def test_what_does_not_belong_together_is_named(call: Callable[[], object], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        call()


def test_a_wide_prior_leaves_the_word_to_the_lives() -> None:
    wide = replace(
        PUBLISHED_PRIOR, covariance=np.diag([1e4, *np.diagonal(PUBLISHED_PRIOR.covariance)[1:]])
    )
    lives = few([8.0] * 30, [8.5] * 30, list(range(30)))
    assert fit(lives, wide).posterior.reference_months == pytest.approx(8.25, abs=0.1)


def test_a_posterior_of_the_wrong_size_is_refused() -> None:
    with pytest.raises(ValueError, match=r"mean and covariance must have 2 rows; got \(1,\)"):
        Posterior(("a", "b"), np.zeros(1), np.eye(2), "bad")
