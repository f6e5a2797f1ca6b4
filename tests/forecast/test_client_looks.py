"""A client's own look: doubted more than ours by the likelihood and the forecast, never against
ours, and asked for only where the answer is worth something."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import norm

from reminders import forecast
from reminders.forecast.check_value import (
    ChoiceCosts,
    FinishKind,
    LookSkill,
    WearChances,
    look_values,
    value_of_look,
)
from reminders.forecast.doubted_look import believe_look
from reminders.forecast.fitting import fit
from reminders.forecast.intervals import (
    START_NODES,
    START_WEIGHTS,
    Visits,
    censored_lives,
    life_bounds,
)
from reminders.forecast.likelihood import (
    log_likelihood_terms,
    prepare_intervals,
    row_log_likelihoods,
)
from reminders.forecast.prediction import predict_log_life
from reminders.forecast.priors import OBSERVER_DOUBTS

M = OBSERVER_DOUBTS["client"].misclassification
CREW = OBSERVER_DOUBTS["crew"].misclassification
COAT = {
    "latitude": 44.4,
    "sun": [5, 8, 12, 15, 19, 21, 21, 18, 14, 9, 5, 4],
    "wet_days": [12, 10, 11, 11, 11, 10, 9, 9, 9, 11, 13, 13],
}


def coats(**over):
    return forecast.Coats(**(COAT | {"coated_on": [18000.0]} | over))


def test_a_clients_look_is_doubted_more_and_says_so_is_a_judgement():
    assert CREW < M < 0.5
    assert OBSERVER_DOUBTS["client"].mark == "JUDGEMENT"


@pytest.mark.parametrize("by_client", [(True, False), (False, True), (True, True), (False, False)])
def test_the_likelihood_is_that_of_three_regions_each_read_rightly_or_wrongly(by_client):
    lower, upper, mean, spread = 9.0, 17.0, 2.6, 0.3
    low, high = (M if each else CREW for each in by_client)
    # Worked out from the definition: the end of the life lies before, between or after the visits.
    before = norm.cdf((np.log(lower) - mean) / spread)
    after = norm.sf((np.log(upper) - mean) / spread)
    expected = (
        low * (1 - high) * before
        + (1 - low) * (1 - high) * (1 - before - after)
        + (1 - low) * high * after
    )

    flags = tuple(np.array([each]) for each in by_client)
    seen = prepare_intervals(np.array([lower]), np.array([upper]), CREW, by_client=flags)

    found = row_log_likelihoods(seen, np.array([mean]), spread)
    assert np.exp(found[0]) == pytest.approx(expected, rel=1e-12)
    assert log_likelihood_terms(seen, np.array([mean]), spread).value == pytest.approx(found)


@pytest.mark.parametrize(("lower", "upper"), [(9.0, np.inf), (0.0, 9.0), (9.0, 17.0)])
@pytest.mark.parametrize("flags", [(True, False), (False, True), (True, True)])
def test_its_derivatives_are_those_of_the_value(lower, upper, flags):
    seen = prepare_intervals(
        np.array([lower]),
        np.array([upper]),
        CREW,
        by_client=tuple(np.array([each]) for each in flags),
    )

    def value(eta, tau):
        return float(row_log_likelihoods(seen, np.array([eta]), np.exp(tau))[0])

    eta, tau, h = 2.5, np.log(0.3), 1e-4
    terms = log_likelihood_terms(seen, np.array([eta]), np.exp(tau))
    by_eta = (value(eta + h, tau) - value(eta - h, tau)) / (2 * h)
    by_tau = (value(eta, tau + h) - value(eta, tau - h)) / (2 * h)
    twice = (value(eta + h, tau) - 2 * value(eta, tau) + value(eta - h, tau)) / h**2
    twice_tau = (value(eta, tau + h) - 2 * value(eta, tau) + value(eta, tau - h)) / h**2
    both = (
        value(eta + h, tau + h)
        - value(eta + h, tau - h)
        - value(eta - h, tau + h)
        + value(eta - h, tau - h)
    ) / (4 * h**2)
    assert terms.eta[0] == pytest.approx(by_eta, rel=1e-5)
    assert terms.tau[0] == pytest.approx(by_tau, rel=1e-5)
    assert terms.eta_eta[0] == pytest.approx(twice, rel=1e-4)
    assert terms.tau_tau[0] == pytest.approx(twice_tau, rel=1e-4)
    assert terms.eta_tau[0] == pytest.approx(both, rel=1e-4)


def seen_at_starts(flags, lower=9.0, upper=17.0, shift=2.0):
    """What was seen of a coat that was laid up to `shift` months before or after its middle."""
    shifts = shift * START_NODES[None, :]
    return prepare_intervals(
        np.array([lower]),
        np.array([upper]),
        CREW,
        by_client=tuple(np.array([each]) for each in flags),
        at_starts=(lower - shifts, upper - shifts),
    )


EVERY_DOUBT = [(True, False), (False, True), (True, True), (False, False)]


@pytest.mark.parametrize("flags", EVERY_DOUBT)
def test_each_possible_start_has_the_same_two_doubts(flags):
    mean, spread = 2.6, 0.3
    each = [
        prepare_intervals(
            np.array([9.0 - 2 * share]),
            np.array([17.0 - 2 * share]),
            CREW,
            by_client=tuple(np.array([flag]) for flag in flags),
        )
        for share in START_NODES
    ]
    chances = [np.exp(row_log_likelihoods(seen, np.array([mean]), spread)[0]) for seen in each]

    found = row_log_likelihoods(seen_at_starts(flags), np.array([mean]), spread)

    assert np.exp(found[0]) == pytest.approx(np.dot(START_WEIGHTS, chances), rel=1e-12)
    terms = log_likelihood_terms(seen_at_starts(flags), np.array([mean]), spread)
    assert terms.value == pytest.approx(found)


@pytest.mark.parametrize("flags", EVERY_DOUBT)
def test_over_several_starts_the_derivatives_are_those_of_the_value(flags):
    seen = seen_at_starts(flags)

    def value(eta, tau):
        return float(row_log_likelihoods(seen, np.array([eta]), np.exp(tau))[0])

    eta, tau, h = 2.5, np.log(0.3), 1e-4
    terms = log_likelihood_terms(seen, np.array([eta]), np.exp(tau))
    corners = [value(eta + i * h, tau + j * h) * i * j for i in (-1, 1) for j in (-1, 1)]
    middle = 2 * value(eta, tau)
    assert terms.eta[0] == pytest.approx(
        (value(eta + h, tau) - value(eta - h, tau)) / (2 * h), rel=1e-5
    )
    assert terms.tau[0] == pytest.approx(
        (value(eta, tau + h) - value(eta, tau - h)) / (2 * h), rel=1e-5
    )
    assert terms.eta_eta[0] == pytest.approx(
        (value(eta + h, tau) + value(eta - h, tau) - middle) / h**2, rel=1e-4
    )
    assert terms.tau_tau[0] == pytest.approx(
        (value(eta, tau + h) + value(eta, tau - h) - middle) / h**2, rel=1e-4
    )
    assert terms.eta_tau[0] == pytest.approx(sum(corners) / (4 * h**2), rel=1e-4)


@given(st.floats(-3, 1), st.floats(1.2, 4), st.floats(-4, 5), st.booleans(), st.floats(0.02, 0.98))
def test_the_belief_after_a_look_is_bayes_rule_on_the_normal_density(low, high, look, worn, at):
    at = low + at * (high - low)

    def weight(z):
        agrees = (z <= look) == worn
        return norm.pdf(z) * (1 - M if agrees else M)

    cut = [min(max(look, low), high)]
    whole = quad(weight, low, high, points=cut)[0]
    part = quad(weight, low, at, points=[p for p in cut if p < at] or None)[0]

    seen = believe_look(np.array([low]), np.array([high]), np.array([look]), np.array([worn]))

    assert seen.cdf(np.array([at]))[0] == pytest.approx(part / whole, abs=1e-6)
    for chance in (0.2, 0.5, 0.8):
        assert seen.cdf(seen.quantile(chance))[0] == pytest.approx(chance, abs=1e-6)


def test_without_a_look_nothing_changes_and_with_one_the_forecast_moves_less_than_by_ours():
    today = 18900.0
    plain = forecast.predict(coats(), today=today)
    crew_sound = forecast.predict(coats(sound_on=[today]), today=today)
    sound = forecast.predict(coats(asked_on=[today]), today=today)
    worn = forecast.predict(coats(asked_on=[today], asked_worn=[True]), today=today)

    assert crew_sound.due_by > sound.due_by > plain.due_by > worn.due_by
    assert crew_sound.chance_worn_today == pytest.approx(0)
    p = float(plain.chance_worn_today[0])
    # Bayes' rule by hand for “sound”: wrong answers among the worn, right ones among the sound.
    assert sound.chance_worn_today[0] == pytest.approx(M * p / (M * p + (1 - M) * (1 - p)))
    assert worn.chance_worn_today[0] == pytest.approx((1 - M) * p / ((1 - M) * p + M * (1 - p)))
    waited = forecast.strip_chances_after_waits(
        coats(asked_on=[today]), forecast.PUBLISHED_PRIOR, today, [365.0]
    )
    unasked = forecast.strip_chances_after_waits(coats(), forecast.PUBLISHED_PRIOR, today, [365.0])
    assert waited[0] < unasked[0]


def test_a_look_after_today_is_refused():
    with pytest.raises(ValueError, match="asked_on must not lie after today"):
        forecast.predict(coats(asked_on=[18500.0]), today=18400.0)


def bounds(*visits):
    """(day, grade, by client) → bounds of one coat, and which end is the client's."""
    day, grade, by_client = zip(*visits, strict=True)
    found = life_bounds(
        coats(),
        Visits(coat=[0] * len(day), visited_on=day, grade=grade, by_client=by_client),
    )
    return found


def test_a_clients_look_narrows_ours_and_never_contradicts_it():
    ours = bounds((18300, 1, False), (18900, 4, False))
    narrowed = bounds((18300, 1, False), (18500, 1, True), (18700, 4, True), (18900, 4, False))
    against = bounds((18200, 4, True), (18300, 1, False), (18900, 4, False))
    muddled = bounds((18300, 1, False), (18500, 4, True), (18700, 1, True), (18900, 4, False))

    assert ours.lower < narrowed.lower < narrowed.upper < ours.upper
    assert (narrowed.lower_by_client[0], narrowed.upper_by_client[0]) == (True, True)
    for other in (against, muddled):
        assert (other.lower, other.upper) == (ours.lower, ours.upper)
        assert not other.conflict[0]
        assert not other.lower_by_client[0]
    assert not ours.lower_by_client[0]


def test_a_clients_look_narrows_the_life_of_a_coat_laid_on_any_day_of_a_span():
    rows = coats(coated_on=[18000.0, 18000.0], coated_within=[90.0, 0.0])
    found = life_bounds(
        rows,
        Visits(
            coat=[0, 0, 0, 1, 1],
            visited_on=[18300, 18500, 18900, 18500, 18900],
            grade=[1, 1, 4, 1, 4],
            by_client=[False, True, False, True, False],
        ),
    )
    dated = life_bounds(
        coats(coated_on=18000.0 + 90.0 * START_NODES),
        Visits(coat=range(5), visited_on=[18500] * 5, grade=[1] * 5, by_client=True),
    )

    assert found.lower_by_client.tolist() == [True, True]
    assert not found.upper_by_client.any()
    assert found.lower_at_starts[0] == pytest.approx(dated.lower)
    assert (found.lower_at_starts[1] == found.lower[1]).all()
    assert censored_lives(rows, found, np.ones(2, dtype=bool)).is_start_known.tolist() == [
        False,
        True,
    ]


def test_a_look_at_a_coat_of_unknown_day_counts_from_the_middle_of_its_span():
    today = 18900.0
    plain = forecast.predict(coats(coated_within=[180.0]), today=today)
    sound = forecast.predict(coats(coated_within=[180.0], asked_on=[today]), today=today)
    dated = forecast.predict(coats(asked_on=[today]), today=today)

    # Bayes' rule by hand on the chance without the look, which is wider than that of a known day.
    p = float(plain.chance_worn_today[0])
    assert sound.chance_worn_today[0] == pytest.approx(M * p / (M * p + (1 - M) * (1 - p)))
    assert sound.log_sd > dated.log_sd


def test_the_fit_learns_less_from_clients_than_from_the_crew():
    days = np.linspace(18500, 18800, 60)

    def fitted(by_client):
        rows = forecast.Coats(**(COAT | {"coated_on": np.full(60, 18000.0), "deck": range(60)}))
        visits = Visits(
            coat=range(60), visited_on=days, grade=np.full(60, 4.0), by_client=by_client
        )
        lives = censored_lives(rows, life_bounds(rows, visits), np.ones(60, dtype=bool))
        return fit(lives).posterior.reference_months

    prior = forecast.PUBLISHED_PRIOR.reference_months
    assert fitted(False) < fitted(True) < prior


def kind(worn, now, later, costs):
    """A coat that protects as long as a recoat still does, and two choices."""
    gone = np.array([[now, later]])
    chances = WearChances(np.array([worn]), gone, gone, gone)
    return [FinishKind(np.ones(1), chances, costs)]


@pytest.mark.parametrize(
    ("misread", "value"),
    [
        # By hand, for prices 1 and 2, a wait that saves 0.5 unless it is too late already, and
        # chances 0.5, 0.1 and 0.5: now 1.1, wait 1.5 − 0.45. Read rightly: “worn” 0.6 now, “sound”
        # 0.5 − 0.25 waiting; 1.05 − 0.85.
        (0.0, 0.20),
        # One in five wrong: “worn” 0.58 now, “sound” 0.6 − 0.24 waiting; 1.05 − 0.94.
        (0.2, 0.11),
        (0.499999, 0.0),
    ],
)
def test_the_value_of_an_answer_is_as_worked_out_by_hand(misread, value):
    costs = ChoiceCosts(1.0, 2.0, np.array([0.5]))
    found = value_of_look(kind(0.5, 0.1, 0.5, costs), LookSkill(misread, sees_strip=False))

    assert found[0] == pytest.approx(value, abs=1e-9)


def test_whoever_sees_that_only_a_strip_will_do_saves_the_wrong_visit():
    # By hand: nobody waits (it saves nothing). Blind, a recoat at a venture costs 1 + 0.4 (1 + 2),
    # a strip 1 + 0.4 + 0.6 × 3; seen rightly nobody comes for the wrong work: 1.4.
    costs = ChoiceCosts(1.0, 2.0, np.zeros(1), wrong_recoat=2.0, wrong_strip=3.0)
    rows = kind(0.7, 0.4, 0.4, costs)

    assert value_of_look(rows, LookSkill(0.0, sees_strip=True))[0] == pytest.approx(0.8)
    assert value_of_look(rows, LookSkill(0.0, sees_strip=False))[0] == pytest.approx(0.0)


@pytest.mark.parametrize("worn", [0.001, 0.999])
def test_an_answer_that_would_change_nothing_is_worth_nothing(worn):
    costs = ChoiceCosts(1.0, 2.0, np.array([0.3]))
    found = value_of_look(kind(worn, worn / 5, worn, costs), LookSkill(0.2, sees_strip=False))

    assert found[0] == 0.0


def counted_gain(coat, today, strip_price, skill, seed):
    """The value of a look by counting: draw finishes and lives, let somebody look, do what is best
    on the average of those with that finding."""
    rng = np.random.default_rng(seed)
    size = 300_000
    clock = forecast.SeasonalClock(
        forecast.seasonal_rate(forecast.sun_on_deck(coat), coat.wet_days)
    )
    days = today + 365.25 / 12 * np.arange(19)
    start = clock.reading(coat.coated_on)[0]
    ages = np.array([clock.reading([day])[0] for day in days]) - start
    belief = predict_log_life(coat, forecast.PUBLISHED_PRIOR)
    lives = np.exp(rng.normal(belief.mean[0], belief.spread[0], size))
    is_film = rng.random(size) < forecast.film_shares(coat)[0]
    strips_at = np.where(is_film, 1.5, 3.0) * lives
    protects_to = np.where(is_film, 1.5, 1.0) * lives
    known = strips_at > np.nan_to_num(clock.reading(coat.recoatable_on)[0] - start, nan=0.0)
    lives, is_film, strips_at, protects_to = (
        each[known] for each in (lives, is_film, strips_at, protects_to)
    )

    def cost(month, for_strip):
        gone = strips_at < ages[month]
        spent = 1.5 * lives < ages[month]
        work = np.where(
            gone, np.where(is_film, strip_price, max(strip_price, 2)), 1 + spent * ~is_film
        )
        protected = protects_to[:, None] >= ages[:month]
        kept = (2 * protected - 1).sum(axis=1) / np.exp(belief.mean[0])  # bare months count against
        wrong = np.where(gone, 4.75, 0) if not for_strip else np.where(gone, 0, 5.25)
        return work - kept + wrong / 8.5

    plans = np.stack([cost(month, kit) for month in range(19) for kit in (False, True)])
    truth = (lives < ages[0]).astype(int)
    findings = 2
    if skill.sees_strip:
        truth = truth + (strips_at < ages[0])
        findings = 3
    slips = rng.random(len(lives)) < skill.misclassification
    found = np.where(slips, (truth + rng.integers(1, findings, len(lives))) % findings, truth)
    informed = sum(plans[:, found == each].sum(axis=1).min() for each in range(findings))
    return plans.mean(axis=1).min() - informed / len(lives)


@pytest.mark.parametrize("skill", [forecast.CLIENT_SKILL, forecast.CREW_SKILL])
@pytest.mark.parametrize(
    ("over", "today"),
    [
        ({}, 18390.0),  # an oil near the end of its life
        ({"finish_class": "solid_film"}, 19150.0),  # a film past it
        ({"finish_class": forecast.UNKNOWN}, 18400.0),
        ({"finish_class": "clear_film", "recoatable_on": 18400.0}, 18640.0),
    ],
)
def test_the_value_agrees_with_a_brute_count_over_simulated_lives(over, today, skill):
    one = coats(**over)
    value = look_values(one, forecast.PUBLISHED_PRIOR, today, strip_price=2.5, skill=skill)[0]

    assert value == pytest.approx(counted_gain(one, today, 2.5, skill, 20261130), abs=0.006)
    assert value > 0.02


def test_a_look_of_ours_is_worth_more_than_the_clients_and_nothing_once_we_have_looked():
    today = 18390.0
    ours, theirs = (
        look_values(coats(), forecast.PUBLISHED_PRIOR, today, strip_price=2.5, skill=skill)[0]
        for skill in (forecast.CREW_SKILL, forecast.CLIENT_SKILL)
    )
    looked = coats(sound_on=today)

    assert ours > theirs > 0
    assert look_values(
        looked, forecast.PUBLISHED_PRIOR, today, strip_price=2.5, skill=forecast.CREW_SKILL
    )[0] == pytest.approx(0.0, abs=1e-9)
