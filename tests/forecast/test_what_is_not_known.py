"""A coat of which not everything is known: the core says how much wider that makes the answer, and
learns from coats whose day is an interval."""

from itertools import product
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lifelines import LogNormalFitter
from scipy import integrate, optimize, stats

from reminders.forecast import (
    PUBLISHED_PRIOR,
    UNKNOWN,
    UNKNOWNS,
    Coats,
    UnknownMix,
    Visits,
    predict,
)
from reminders.forecast.coats import CATEGORY_LEVELS
from reminders.forecast.frailty import deck_likelihood
from reminders.forecast.intervals import START_NODES, CensoredLives, life_bounds
from reminders.forecast.likelihood import log_likelihood_terms, prepare_intervals
from reminders.forecast.posterior_mode import (
    NormalPrior,
    find_posterior_mode,
    group_by_coat_count,
    prepare_log_posterior,
)
from reminders.forecast.prediction import DAYS_A_MONTH, predict_log_life

YEAR = 365.2425 / 2  # days either way of a coat of which the year is known

CASES: dict[str, dict[str, Any]] = {
    "finish": {"finish_class": UNKNOWN},
    "species": {"species_class": UNKNOWN},
    "coats": {"coats": np.nan},
    "shade": {"summer_shade": np.nan, "winter_shade": np.nan},
    "start": {"coated_within": YEAR},
}


def window(found):
    return (found.late - found.window_opens)[0]


@pytest.mark.parametrize("name", CASES)
def test_what_is_not_known_widens_the_window_and_is_named(coats, name):
    known = predict(coats(), today=18000.0)
    unknown = predict(coats(**CASES[name]), today=18000.0)
    assert window(unknown) > window(known)
    assert unknown.log_sd > known.log_sd
    named = dict(zip(UNKNOWNS, unknown.unknown_months[0], strict=True))
    assert named[name] > 0
    assert sum(months > 0 for months in named.values()) == 1
    assert not known.unknown_months.any()


def test_everything_unknown_is_wider_than_each_alone(coats):
    everything = {key: value for case in CASES.values() for key, value in case.items()}
    together = predict(coats(**everything), today=18000.0)
    assert all(
        window(together) > window(predict(coats(**case), today=18000.0)) for case in CASES.values()
    )
    # What narrows it most is what the trade disagrees on most: the class of the finish.
    assert UNKNOWNS[int(np.argmax(together.unknown_months[0]))] == "finish"


def test_a_shade_that_nobody_knows_is_a_mixture_over_what_it_may_be(coats):
    # By hand: mean and variance of log life over the decks that it may be, the doubt about the
    # effect beside them.
    shades, shares = zip(*UnknownMix((), (), ()).shades, strict=True)
    known = [
        predict_log_life(coats(summer_shade=each, winter_shade=each), PUBLISHED_PRIOR)
        for each in shades
    ]
    means = np.array([each.mean[0] for each in known])
    within = np.average([each.spread[0] ** 2 for each in known], weights=shares)
    mean = np.average(means, weights=shares)
    found = predict_log_life(coats(summer_shade=np.nan, winter_shade=np.nan), PUBLISHED_PRIOR)

    assert found.mean[0] == pytest.approx(mean)
    spread = within + np.average((means - mean) ** 2, weights=shares)
    assert found.spread[0] ** 2 == pytest.approx(spread)


def test_the_months_of_what_is_not_known_sum_up_like_all_others(coats):
    found = predict(coats(finish_class=UNKNOWN, coats=np.nan), today=18000.0)
    total = found.reference_months + found.contributions.sum(axis=1)
    assert total == pytest.approx(found.due_months)


SHARES = st.floats(0.05, 20)
LEVELS = CATEGORY_LEVELS


@st.composite
def mixes(draw):
    finishes = draw(
        st.lists(
            st.tuples(
                st.sampled_from(LEVELS["finish_class"]),
                st.sampled_from(LEVELS["pigment"]),
                st.sampled_from(LEVELS["base"]),
                SHARES,
            ),
            min_size=1,
            max_size=5,
        )
    )
    species = draw(
        st.lists(st.tuples(st.sampled_from(LEVELS["species_class"]), SHARES), min_size=1)
    )
    counts = draw(st.lists(st.tuples(st.sampled_from([1, 2, 3, 4]), SHARES), min_size=1))
    return UnknownMix(tuple(finishes), tuple(species[:4]), tuple(counts[:4]))


@settings(max_examples=25)
@given(mix=mixes(), texture=st.sampled_from(LEVELS["texture"]))
def test_knowing_more_never_widens_on_average(mix, texture):
    """Law of total variance, against the same coats predicted one by one, each fully known."""
    place = {"latitude": 45.0, "sun": np.full(12, 14.0), "wet_days": np.full(12, 10.0)}
    place |= {"texture": texture, "coated_on": [18000.0]}

    def belief(**given):
        return predict_log_life(Coats(**place, **given, mix=mix), PUBLISHED_PRIOR)

    def finish_of(finish):
        return dict(zip(("finish_class", "pigment", "base"), finish[:3], strict=True))

    nothing = belief(finish_class=UNKNOWN, species_class=UNKNOWN, coats=np.nan)
    cases = list(product(mix.finishes, mix.species, mix.coats))
    weight = np.array([one[-1] * two[-1] * three[-1] for one, two, three in cases])
    weight = weight / weight.sum()
    known = [
        belief(**finish_of(one), species_class=two[0], coats=three[0]) for one, two, three in cases
    ]
    means = np.array([each.mean[0] for each in known])
    variances = np.array([each.spread[0] ** 2 for each in known])
    assert nothing.mean[0] == pytest.approx(weight @ means)
    within = weight @ variances
    between = weight @ (means - weight @ means) ** 2
    assert nothing.spread[0] ** 2 == pytest.approx(within + between)
    assert within <= nothing.spread[0] ** 2 + 1e-12
    # One thing learned, the others still unknown.
    shares = np.array([finish[-1] for finish in mix.finishes])
    learned = [
        belief(**finish_of(finish), species_class=UNKNOWN, coats=np.nan).spread[0] ** 2
        for finish in mix.finishes
    ]
    left = shares / shares.sum() @ learned
    assert left <= nothing.spread[0] ** 2 + 1e-12
    assert nothing.spread[0] ** 2 - left == pytest.approx(nothing.unknown[0, 0], abs=1e-10)


@pytest.mark.parametrize("half", [15.0, 46.0, YEAR])
def test_the_window_of_a_coat_whose_day_is_not_known_agrees_with_scipy(half):
    """Steady sun and rain, so that the clock runs evenly; the mean over all days of the span."""
    place = {"latitude": 45.0, "sun": np.full(12, 14.0), "wet_days": np.full(12, 10.0)}
    unsure = Coats(coated_on=[18000.0], coated_within=half, **place)
    found = predict(unsure, today=18000.0 + half)
    belief = predict_log_life(unsure.started(0.0), PUBLISHED_PRIOR)
    life = stats.lognorm(s=belief.spread[0], scale=np.exp(belief.mean[0]))

    def chance(day):
        def worn(start):
            return life.cdf(max(day - start, 0.0) / DAYS_A_MONTH)

        return integrate.quad(worn, 18000 - half, 18000 + half)[0] / (2 * half)

    days = (found.window_opens[0], found.due_by[0], found.late[0])
    assert [chance(day) for day in days] == pytest.approx([0.2, 0.5, 0.8], abs=0.02)
    # Counted from the middle: the due date is that of a coat laid then.
    assert found.due_by == pytest.approx(predict(unsure.started(0.0), today=18000.0).due_by)


def lives_with_starts(lower, upper, half, deck=None) -> CensoredLives:
    """Ages from the middle of a span of so many months either way."""
    count = len(lower)
    shift = half * START_NODES[None, :]
    at = np.where(lower[:, None] > 0, lower[:, None] - shift, 0.0)
    return CensoredLives(
        x=np.zeros((count, 0)),
        lower=lower,
        upper=upper,
        deck=np.arange(count) if deck is None else deck,
        lower_at_starts=at,
        upper_at_starts=upper[:, None] - shift,
    )


def inspected(random, count, *, mu, sigma, half):
    """Lives found by a visit every six months, counted from the middle of the span."""
    life = np.exp(random.normal(mu, sigma, count))
    worn_at = life + random.uniform(-half, half, count)
    visits = np.arange(half + 1, 80, 6.0)
    place = np.searchsorted(visits, worn_at)
    lower = np.concatenate([[0.0], visits])[place]
    upper = np.concatenate([visits, [np.inf]])[place]
    return lower, upper


def chance_by_quadrature(lower, upper, half, mu, sigma):
    """P(lower < age ≤ upper), the mean over the days of the span, by SciPy."""
    life = stats.lognorm(s=sigma, scale=np.exp(mu))

    def between(shift):
        low = life.cdf(lower - shift) if lower > 0 else 0.0
        return life.cdf(upper - shift) - low

    return integrate.quad(between, -half, half, epsabs=1e-12)[0] / (2 * half)


def test_the_likelihood_of_a_start_in_an_interval_agrees_with_scipy():
    lower = np.array([0.0, 8.0, 14.0, 20.0, 26.0])
    upper = np.array([8.0, 14.0, 20.0, 26.0, np.inf])
    lives = lives_with_starts(lower, upper, 6.0)
    seen = prepare_intervals(lower, upper, at_starts=(lives.lower_at_starts, lives.upper_at_starts))

    def value(mu, tau):
        return log_likelihood_terms(seen, np.full(5, mu), np.exp(tau)).value

    for mu, sigma in ((2.7, 0.34), (2.9, 0.5), (2.4, 0.25)):
        known = [
            np.log(chance_by_quadrature(low, high, 6.0, mu, sigma))
            for low, high in zip(lower, upper, strict=True)
        ]
        assert value(mu, np.log(sigma)) == pytest.approx(known, abs=2e-3)
    # The derivatives are those of the value, by central differences.
    terms = log_likelihood_terms(seen, np.full(5, 2.7), 0.34)
    tau, step = np.log(0.34), 1e-4
    assert terms.eta == pytest.approx(
        (value(2.7 + step, tau) - value(2.7 - step, tau)) / 2e-4, 1e-5
    )
    assert terms.tau == pytest.approx(
        (value(2.7, tau + step) - value(2.7, tau - step)) / 2e-4, 1e-5
    )
    bend = value(2.7 + step, tau) - 2 * value(2.7, tau) + value(2.7 - step, tau)
    assert terms.eta_eta == pytest.approx(bend / step**2, rel=1e-4, abs=1e-4)
    bend = value(2.7, tau + step) - 2 * value(2.7, tau) + value(2.7, tau - step)
    assert terms.tau_tau == pytest.approx(bend / step**2, rel=1e-4, abs=1e-4)
    corners = [value(2.7 + i * step, tau + j * step) * i * j for i in (-1, 1) for j in (-1, 1)]
    assert terms.eta_tau == pytest.approx(sum(corners) / (4 * step**2), rel=1e-4, abs=1e-4)


def most_likely(lives):
    flat = NormalPrior(np.zeros(3), np.zeros((3, 3)))
    problem = prepare_log_posterior(lives, flat, deck_effect=False)
    best = find_posterior_mode(problem, np.array([2.7, -1.0, 0.0]))
    return best.theta[0], np.exp(best.theta[1])


def test_the_most_likely_life_of_starts_in_intervals_agrees_with_scipy():
    lower, upper = inspected(np.random.default_rng(5), 120, mu=2.7, sigma=0.34, half=6.0)
    pairs, times = np.unique(np.column_stack([lower, upper]), axis=0, return_counts=True)

    def loss(theta):
        chances = [
            chance_by_quadrature(low, high, 6.0, theta[0], np.exp(theta[1])) for low, high in pairs
        ]
        return -times @ np.log(chances)

    best = optimize.minimize(loss, [2.7, -1.0], method="Nelder-Mead", options={"xatol": 1e-5})
    assert most_likely(lives_with_starts(lower, upper, 6.0)) == pytest.approx(
        (best.x[0], np.exp(best.x[1])), abs=2e-3
    )


def test_a_span_of_no_width_agrees_with_lifelines():
    lower, upper = inspected(np.random.default_rng(7), 300, mu=2.7, sigma=0.34, half=0.01)
    known = LogNormalFitter().fit_interval_censoring(np.maximum(lower, 1e-8), upper)
    found = most_likely(lives_with_starts(lower, upper, 0.01))
    assert found == pytest.approx((known.mu_, known.sigma_), abs=1e-3)


def test_only_the_mean_over_the_span_teaches_the_spread_that_is_there():
    """Why the span is integrated over. The widest bounds, which are sure one by one, overlap and
    teach lifelines too little spread; the middle taken for the day teaches it too much."""
    lower, upper = inspected(np.random.default_rng(11), 6000, mu=2.7, sigma=0.34, half=6.0)
    widest = LogNormalFitter().fit_interval_censoring(np.maximum(lower - 6.0, 1e-8), upper + 6.0)
    middle = LogNormalFitter().fit_interval_censoring(np.maximum(lower, 1e-8), upper)
    mu, sigma = most_likely(lives_with_starts(lower, upper, 6.0))
    assert mu == pytest.approx(2.7, abs=0.02)
    assert sigma == pytest.approx(0.34, abs=0.02)
    assert middle.sigma_ > 1.2 * sigma
    assert widest.sigma_ < 0.87 * sigma


def test_a_deck_with_two_coats_integrates_over_both_starts_and_its_pace():
    lower = np.array([12.0, 0.0])
    upper = np.array([18.0, 14.0])
    lives = lives_with_starts(lower, upper, 6.0, deck=np.array([3, 3]))
    ((_, rows),) = group_by_coat_count(lives, lives.deck, 0.0)
    mu, sigma, omega = 2.7, 0.3, 0.2

    def joint(pace):
        chances = [
            chance_by_quadrature(low, high, 6.0, mu + pace, sigma)
            for low, high in zip(lower, upper, strict=True)
        ]
        return np.prod(chances) * stats.norm.pdf(pace, scale=omega)

    known = np.log(integrate.quad(joint, -1.4, 1.4)[0])
    found = deck_likelihood(rows, np.array([mu, np.log(sigma), np.log(omega)]))[0]
    assert found == pytest.approx(known, abs=2e-3)


def test_decks_with_known_days_are_worked_out_without_the_nodes(coats):
    seen = coats(coated_on=[18000.0, 18000.0], coated_within=[0.0, YEAR], deck=[1, 2])
    visits = Visits(coat=[0, 1], visited_on=[18400.0, 18400.0], grade=[2, 4])
    found = life_bounds(seen, visits)
    assert (found.lower_at_starts[0] == found.lower[0]).all()
    spread = found.upper_at_starts[1]
    assert spread[0] > found.upper[1] > spread[-1]
    lives = CensoredLives(
        x=np.zeros((2, 0)),
        lower=found.lower,
        upper=found.upper,
        deck=seen.deck,
        lower_at_starts=found.lower_at_starts,
        upper_at_starts=found.upper_at_starts,
    )
    assert lives.is_start_known.tolist() == [True, False]
    groups = group_by_coat_count(lives, lives.deck, 0.0)
    assert sorted(rows.seen.low_at_starts.shape[-1] for _, rows in groups) == [0, len(START_NODES)]
