"""Grades along a path of wear: against a general ordinal model, against brute force, and what a
slow deck and a stern grader come to."""

import json
from dataclasses import replace
from typing import NamedTuple

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import ndtri
from scipy.stats import norm
from statsmodels.miscmodels.ordinal_model import OrderedModel

from reminders.forecast import (
    PUBLISHED_PRIOR,
    Coats,
    InspectionData,
    Posterior,
    predict,
    worn_chances_by_day,
)
from reminders.forecast.fitting import fit
from reminders.forecast.frailty import DeckRows, frailty_posterior
from reminders.forecast.grade_scale import GRADE_COUNT, STRAY_GRADE_CHANCES
from reminders.forecast.graded_belief import moments_after_grades
from reminders.forecast.graded_lives import (
    ABOVE_LAST_VISIT,
    BELOW_FIRST_VISIT,
    LIFE_EDGES,
    GradeLog,
    between_edges,
    graded_lives,
    log_grades,
)
from reminders.forecast.likelihood import log_likelihood_terms, prepare_intervals
from reminders.forecast.mixing import expected_design
from reminders.forecast.path_learning import average_over_lives, learn_path
from reminders.forecast.prediction import LogLife, predict_log_life
from reminders.forecast.priors import PUBLISHED_PATH
from reminders.forecast.step_likelihood import LifeSteps
from reminders.forecast.wear_path import GRADER_OFFSET_SD, GradesSeen, WearPath
from tests.forecast.graded_books import GradedWorld, simulate_grades
from tests.forecast.simulated import START, truth_from_prior

TODAY = 20_000.0
EDGE_WIDTH = (BELOW_FIRST_VISIT + ABOVE_LAST_VISIT) / (LIFE_EDGES - 1)
MEAN, SPREAD = 2.8, 0.35


def drawn_grades(count: int, seed: int) -> tuple[GradesSeen, np.ndarray]:
    """Of all kinds, by three of the crew who are known, by one who is not, by nobody who is named
    and by clients, at ages from a third to twice the life."""
    rng = np.random.default_rng(seed)
    seen = GradesSeen(
        rng.integers(0, GRADE_COUNT, count),
        rng.random(count) < 0.4,
        rng.random(count) < 0.3,
        rng.integers(-1, 4, count),
    )
    return seen, np.log(rng.uniform(0.3, 2, (count, 1)))


def path_with_graders() -> WearPath:
    return WearPath(PUBLISHED_PATH.parameters + 0.05, np.arange(3), np.array([0.3, -0.2, 0.0]))


def one_coat_log(ages: list[float], grades: list[int]) -> GradeLog:
    """One coat of an oil, graded by nobody in particular."""
    count = len(ages)
    none = np.zeros(count, dtype=bool)
    seen = GradesSeen(np.array(grades), none, none, np.full(count, -1))
    return GradeLog(np.zeros(count, dtype=np.int64), np.log(ages)[:, None], none, seen)


# Against a general ordinal model: statsmodels' cumulative probit.


def oils_graded_by_nobody(count: int, noise: float, seed: int) -> tuple[GradesSeen, np.ndarray]:
    """Grades around a path of exponent 1.3, and the logs of age over life."""
    rng = np.random.default_rng(seed)
    # in the middles of the steps of log life, were these all of one life
    x = BELOW_FIRST_VISIT - EDGE_WIDTH * (rng.integers(8, 28, count) - 0.5)
    grade = np.clip(np.floor(3 * np.exp(1.3 * x) + noise * rng.normal(size=count)), 0, 5)
    none = np.zeros(count, dtype=bool)
    return GradesSeen(grade.astype(np.int64), none, none, np.full(count, -1)), x


def test_the_chance_of_a_grade_is_that_of_a_cumulative_probit() -> None:
    seen, x = oils_graded_by_nobody(200, 0.5, seed=1)
    path = PUBLISHED_PATH
    stray = STRAY_GRADE_CHANCES[0]
    chance = path.chances(seen, x[:, None])[:, 0]
    ours = np.log((chance - stray / GRADE_COUNT) / (1 - stray))

    steps = path.steps / path.noises[0]
    parameters = np.concatenate([[1 / path.noises[0]], steps[:1], np.log(np.diff(steps))])
    model = OrderedModel(seen.grade, path.wear(seen.is_film, x[:, None]), distr="probit")

    assert ours == pytest.approx(model.loglikeobs(parameters), abs=1e-9)


def test_a_path_learned_where_lives_are_known_is_the_fit_of_a_cumulative_probit() -> None:
    """Two thousand coats of known lives, one grade each: statsmodels fits steps and noise to the
    wear at the exponent that we learn. It has no priors and no stray grades."""
    count = 2_000
    seen, x = oils_graded_by_nobody(count, 0.4, seed=3)
    life = np.full(count, np.log(20.0))
    log = GradeLog(np.arange(count), (life + x)[:, None], np.zeros(count, dtype=bool), seen)

    learned = learn_path(average_over_lives(log, life, np.full(count, 1e-3)))

    wear = learned.wear(seen.is_film, x[:, None])
    theirs = OrderedModel(seen.grade, wear, distr="probit").fit(method="bfgs", disp=False).params
    steps = np.cumsum(np.append(theirs[1], np.exp(theirs[2:]))) / theirs[0]
    assert learned.exponents[0] == pytest.approx(1.3, abs=0.15)  # steps make up for the rest
    assert learned.noises[0] == pytest.approx(1 / theirs[0], rel=0.1)
    assert learned.steps == pytest.approx(steps, abs=0.06)


# Who graded.


def test_a_grade_by_nobody_known_is_that_of_all_graders_and_of_one_more() -> None:
    """Offsets of strangers are normal, with mean and variance of those known and of the prior in
    equal shares: integrated by adaptive quadrature (scipy)."""
    path = path_with_graders()
    mean = (0.3 - 0.2) / 4
    sd = np.sqrt((0.3**2 + 0.2**2 + GRADER_OFFSET_SD**2) / 4 - mean**2)
    stranger = np.array([-1])
    no = np.zeros(1, dtype=bool)
    for grade in range(GRADE_COUNT):
        seen = GradesSeen(np.array([grade]), no, no, stranger)
        known = seen._replace(grader=np.array([0]))

        def weighed(offset: float, known: GradesSeen = known) -> float:
            one = WearPath(path.parameters, np.array([0]), np.array([offset]))
            chance = one.chances(known, np.array([[-0.2]]))[0, 0]
            return float(chance * norm.pdf(offset, mean, sd))

        theirs = quad(weighed, mean - 8 * sd, mean + 8 * sd, limit=200)[0]
        assert path.chances(seen, np.array([[-0.2]]))[0, 0] == pytest.approx(theirs, abs=1e-6)


# The likelihood.


def test_the_slopes_of_the_path_are_those_of_its_chances() -> None:
    seen, x = drawn_grades(60, 4)
    path = path_with_graders()
    weight = np.random.default_rng(5).normal(size=x.shape)

    def total(given: np.ndarray) -> float:
        moved = WearPath(given[:9], path.grader_keys, given[9:])
        return float((weight * np.log(moved.chances(seen, x))).sum())

    at = np.concatenate([path.parameters, path.grader_offsets])
    steps = 1e-5 * np.eye(len(at))
    numeric = [(total(at + step) - total(at - step)) / 2e-5 for step in steps]
    ours = path.slopes(seen, x, weight).sum(axis=0)
    assert ours == pytest.approx(np.array(numeric), abs=1e-4)


def test_two_steps_are_an_interval() -> None:
    """What is known between two ages has the same terms as in the likelihood of intervals."""
    low, high = np.log([10.0, 12.0]), np.log([20.0, 40.0])
    eta = np.array([2.6, 3.1])
    steps = LifeSteps(
        np.column_stack([low, high]), np.array([[-1.0, 1.0]] * 2), np.zeros(2), np.zeros(2)
    )
    theirs = log_likelihood_terms(prepare_intervals(np.exp(low), np.exp(high)), eta, SPREAD)
    for ours, same in zip(steps.terms(eta, SPREAD), theirs, strict=True):
        assert ours == pytest.approx(same, rel=1e-9)


def test_the_terms_of_many_steps_are_the_slopes_of_their_value() -> None:
    log = one_coat_log([6.0, 14.0, 20.0], [0, 1, 3])
    edges = log.life_edges()
    height = np.exp(log.log_chances(PUBLISHED_PATH, between_edges(edges)))
    seen = LifeSteps(edges, height[:, :-1] - height[:, 1:], height[:, -1], np.zeros(1))
    h = 1e-5

    def value(eta: float, tau: float) -> float:
        return float(seen.values(np.array([eta]), np.exp(tau))[0])

    tau = np.log(SPREAD)
    terms = seen.terms(np.array([MEAN]), SPREAD)
    assert terms.value[0] == pytest.approx(value(MEAN, tau))
    assert terms.eta[0] == pytest.approx((value(MEAN + h, tau) - value(MEAN - h, tau)) / (2 * h))
    assert terms.tau[0] == pytest.approx((value(MEAN, tau + h) - value(MEAN, tau - h)) / (2 * h))
    up, down = (seen.terms(np.array([MEAN + way * h]), SPREAD) for way in (1, -1))
    assert terms.eta_eta[0] == pytest.approx((up.eta - down.eta)[0] / (2 * h), rel=1e-5)
    assert terms.eta_tau[0] == pytest.approx((up.tau - down.tau)[0] / (2 * h), rel=1e-5)
    up, down = (seen.terms(np.array([MEAN]), np.exp(tau + way * h)) for way in (1, -1))
    assert terms.tau_tau[0] == pytest.approx((up.tau - down.tau)[0] / (2 * h), rel=1e-5)


def test_a_life_far_from_all_that_was_seen_has_a_chance_that_is_a_number() -> None:
    """Where the chance is below the digits of the sum, the quadrature still looks."""
    log = one_coat_log([6.0 + 4 * visit for visit in range(8)], [0, 1, 1, 2, 2, 3, 3, 3])
    edges = log.life_edges()
    logs = log.log_chances(PUBLISHED_PATH, between_edges(edges))
    height = np.exp(logs - logs.max())
    far = np.linspace(0.5, 8, 151)
    seen = LifeSteps(edges, height[:, :-1] - height[:, 1:], height[:, -1], np.zeros(1))
    for spread in (0.1, 0.2, 0.3):
        assert np.isfinite(seen.values(far[:, None], spread)).all()
        assert np.isfinite(np.array(seen.terms(far[:, None], spread))).all()


# Against brute force.


def density_after(log: GradeLog, life: float, mean: float, spread: float) -> float:
    chance = np.exp(log.log_chances(PUBLISHED_PATH, np.array([[life]])))[0, 0]
    return float(chance * norm.pdf(life, mean, spread))


def chance_of_grades(log: GradeLog, mean: float, spread: float) -> float:
    return float(quad(lambda at: density_after(log, at, mean, spread), 0, 6, limit=200)[0])


@pytest.mark.parametrize(
    ("ages", "grades"),
    [([14.0], [1]), ([6.0, 14.0, 20.0], [0, 1, 3]), ([12.0, 24.0, 46.0], [0, 0, 1]), ([4.0], [4])],
)
def test_the_belief_after_grades_is_that_of_brute_force(
    ages: list[float], grades: list[int]
) -> None:
    """Mean and spread by adaptive quadrature (scipy). The law is near enough to normal that its
    window from 20 to 80 % holds .6; where the grades may be stray or the deck slow there are two
    peaks, and the window errs on the wide side."""
    log = one_coat_log(ages, grades)
    ends = (MEAN - 8 * SPREAD, MEAN + 8 * SPREAD)
    whole, first, second = (
        quad(lambda at, p=p: at**p * density_after(log, at, MEAN, SPREAD), *ends, limit=200)[0]
        for p in (0, 1, 2)
    )
    mean, spread = (
        float(each[0])
        for each in moments_after_grades(
            PUBLISHED_PATH, log, np.array([MEAN]), np.array([SPREAD]), np.zeros((1, 0))
        )
    )

    assert mean == pytest.approx(first / whole, abs=0.005)
    assert spread == pytest.approx(np.sqrt(second / whole - (first / whole) ** 2), rel=0.02)
    window = mean + spread * ndtri([0.2, 0.8])
    held = quad(lambda at: density_after(log, at, MEAN, SPREAD), *window, limit=200)[0] / whole
    assert 0.57 < held < 0.72


def test_the_pace_of_a_deck_after_three_graded_coats_is_that_of_brute_force() -> None:
    """The exact posterior on a grid of paces, each life integrated by adaptive quadrature."""
    sigma, omega = 0.25, 0.3
    logs = [one_coat_log([10.0, 20.0], grades) for grades in ([1, 2], [0, 2], [0, 1])]
    edges = np.concatenate([log.life_edges() for log in logs])
    heights = np.concatenate(
        [np.exp(log.log_chances(PUBLISHED_PATH, between_edges(log.life_edges()))) for log in logs]
    )
    seen = LifeSteps(
        edges[None],
        (heights[:, :-1] - heights[:, 1:])[None],
        heights[None, :, -1],
        np.zeros((1, 3)),
    )
    rows = DeckRows(np.ones((1, 3, 1)), seen, np.ones((1, 3)))
    found = frailty_posterior(rows, np.array([MEAN, np.log(sigma), np.log(omega)]))

    paces = np.linspace(-5 * omega, 5 * omega, 81)
    weight = norm.pdf(paces, 0, omega)
    for log in logs:
        weight *= [chance_of_grades(log, MEAN + pace, sigma) for pace in paces]
    weight /= weight.sum()
    mean = weight @ paces
    assert found.mean[0] == pytest.approx(mean, abs=0.005)
    assert found.variance[0] == pytest.approx(weight @ (paces - mean) ** 2, rel=0.03)


def test_a_client_who_calls_about_a_worn_coat_saw_it_too_and_lately() -> None:
    """Graded 3 at 20 months on a call: the last three months become likelier than the same visit
    without a call says, both sides of them less likely, and none impossible."""
    plain = one_coat_log([20.0], [3])
    called = plain._replace(is_called=np.ones(1, dtype=bool))
    before, lately, after = np.log([12.0, 18.5, 26.0])
    lives = np.array([[before, lately, after]])
    odds = np.exp(
        called.log_chances(PUBLISHED_PATH, lives) - plain.log_chances(PUBLISHED_PATH, lives)
    )
    assert odds[0, 1] / odds[0, 0] == pytest.approx(20, rel=0.1)  # CALL_DOUBT
    assert odds[0, 1] / odds[0, 2] == pytest.approx(4, rel=0.1)  # a client errs one time in five


# What it says of decks.


def coat(**given: object) -> Coats:
    return Coats(latitude=45.0, sun=np.full(12, 14.3), wet_days=np.full(12, 10.0), deck=1, **given)


def along_path() -> Posterior:
    return replace(PUBLISHED_PRIOR, path=PUBLISHED_PATH)


def graded(months: list[float], grades: list[float], **given: object) -> Coats:
    """A coat of 48 months with visits at these ages."""
    on = TODAY - 48 * 30.44
    days = np.array([[on + 30.44 * month for month in months]])
    who = {"graded_by_client": 0, "graders": -1} | given
    return coat(coated_on=[on], graded_on=days, grades=np.array([grades]), **who)


def test_a_slow_deck_found_sound_lately_is_not_due_in_two_months() -> None:
    """Three times the usual life, graded 1 twenty days ago."""
    months = [12.0, 24.0, 36.0, 48 - 20 / 30.44]
    sound_on = [TODAY - 20.0]
    plain = predict(coat(coated_on=[TODAY - 48 * 30.44], sound_on=sound_on), today=TODAY)
    found = predict(graded(months, [0, 0, 1, 1], sound_on=sound_on), along_path(), TODAY)

    assert found.due_by[0] - TODAY > 200 > plain.due_by[0] - TODAY
    assert found.window_opens[0] - TODAY > 61


def test_a_lower_grade_puts_the_date_off_further_though_both_are_sound() -> None:
    unworn, nearly = (
        predict(graded([12.0], [grade], sound_on=[TODAY - 36 * 30.44]), along_path(), TODAY)
        for grade in (0, 2)
    )
    assert unworn.due_by[0] > nearly.due_by[0] + 60


@pytest.mark.parametrize("grades", [[0, 1], [0, 2], [1, 2]])
@pytest.mark.parametrize("grader", [-1, 99])
def test_a_grade_by_nobody_known_leaves_a_wider_window_than_that_of_a_middling_grader(
    grades: list[float], grader: int
) -> None:
    path = replace(
        PUBLISHED_PATH, grader_keys=np.arange(3), grader_offsets=np.array([0.4, -0.4, 0])
    )
    belief = replace(PUBLISHED_PRIOR, path=path)

    def width(grader: int) -> float:
        found = predict(graded([12.0, 30.0], grades, graders=grader), belief, TODAY)
        coated_on = TODAY - 48 * 30.44
        return float(np.log((found.late - coated_on) / (found.window_opens - coated_on))[0])

    assert width(grader) > 1.005 * width(2)


def test_without_a_path_the_grades_that_came_with_a_coat_are_not_read() -> None:
    bare = predict(coat(coated_on=[TODAY - 48 * 30.44]), today=TODAY)
    assert predict(graded([12.0], [0]), today=TODAY).due_by == pytest.approx(bare.due_by)


def test_what_was_found_worn_bounds_the_life_whatever_the_path_says() -> None:
    worn_on = TODAY - 30.0
    found = predict(graded([47.0], [3], worn_on=[worn_on]), along_path(), TODAY)
    assert found.chance_worn_today[0] == 1
    assert found.late[0] <= worn_on


def test_every_reading_of_the_chance_agrees() -> None:
    coats = graded([12.0, 30.0], [0, 1], sound_on=[TODAY - 18 * 30.44])
    whole = predict(coats, along_path(), TODAY).chance_worn_today
    assert worn_chances_by_day(coats, along_path(), [TODAY])[:, 0] == pytest.approx(whole)


def test_a_grade_outside_the_scale_is_refused_by_name() -> None:
    with pytest.raises(ValueError, match="grades must lie between 0 and 5; row 0 has 6"):
        graded([12.0], [6])


# Learning.


class Learned(NamedTuple):
    """What a book taught along a path of wear until a day."""

    book: InspectionData
    day: float
    along: Posterior


@pytest.fixture(scope="module")
def differing() -> Learned:
    """Half of the crew grades half a grade sterner."""
    world = GradedWorld(apart=0.5, looks=0.2)
    made = simulate_grades(3, 60, 6.0, truth_from_prior(np.random.default_rng(3)), world)
    day = START + 6 * 365.25
    return Learned(made.book, day, made.book.fit_before(day, along_path=True).posterior)


def test_graders_half_a_grade_apart_are_told_apart(differing: Learned) -> None:
    path = differing.along.path
    assert path is not None
    assert path.grader_keys.tolist() == [0, 1, 2, 3]
    mild, stern = path.grader_offsets[::2].mean(), path.grader_offsets[1::2].mean()
    assert stern - mild == pytest.approx(0.5, abs=0.15)
    assert path.noises == pytest.approx([0.5, 1.0], abs=0.3)  # as the world has them
    assert path.exponents[0] == pytest.approx(1.3, abs=0.3)


def test_a_path_is_no_wider_than_the_priors_and_keeps_through_json(
    differing: Learned,
) -> None:
    learned = differing.along
    assert learned.is_no_wider_than(PUBLISHED_PRIOR)
    again = Posterior.from_dict(json.loads(json.dumps(learned.to_dict())))
    assert again.path is not None
    assert again.path.to_dict() == learned.path.to_dict()


# The doubt about the path itself.


def running_coats(learned: Learned) -> tuple[GradeLog, np.ndarray, LogLife, np.ndarray]:
    """Grades of the running coats, what is believed of them before, and how that moves with the
    path."""
    book = learned.book
    log, rows = log_grades(book.coats, book.visits_before(learned.day))
    running = np.flatnonzero(book.running(learned.day)[rows])
    visits = book.visits.take(np.flatnonzero(np.isin(book.visits.coat, rows[running])))
    log, rows = log_grades(book.coats, visits)
    coats = book.coats.take(rows)
    belief = predict_log_life(coats, learned.along)
    return log, rows, belief, learned.along.path_slope(belief.x, coats.deck)


def test_the_doubt_about_the_path_widens_every_belief_and_narrows_none(differing: Learned) -> None:
    path = differing.along.path
    assert path is not None
    log, rows, belief, slope = running_coats(differing)
    sure = WearPath(path.parameters, path.grader_keys, path.grader_offsets)
    known = np.sqrt(belief.spread**2 - path.variances(slope))
    mean, spread = moments_after_grades(sure, log, belief.mean, known, np.zeros((len(rows), 0)))
    doubted_mean, doubted = moments_after_grades(path, log, belief.mean, belief.spread, slope)

    assert doubted_mean == pytest.approx(mean)
    assert (doubted > spread).all()
    assert (doubted < 1.5 * spread).all()
    assert (doubted < np.hypot(belief.spread, spread)).all()
    # Of the coefficients: no wider than the prior (above), and wider than along a path for sure.
    more = path.coefficient_slope @ path.covariance @ path.coefficient_slope.T
    assert np.linalg.eigvalsh(differing.along.beta_covariance - more).min() > 0
    assert np.diagonal(more)[0] > 0


def drawn_log(coats: int, seed: int) -> GradeLog:
    """Four visits to each coat, its life about 16 months: graded with a noise of half a grade, one
    in twenty out of the air."""
    rng = np.random.default_rng(seed)
    visits = 4 * coats
    is_film = np.repeat(rng.random(coats) < 0.3, 4)
    share = np.sort(rng.uniform(0.1, 1.4, (coats, 4)), axis=1).ravel()
    life = np.repeat(rng.normal(MEAN, 0.3, coats), 4)
    grade = np.clip(np.floor(3 * share**1.3 + 0.5 * rng.normal(size=visits)), 0, 5)
    grade = np.where(rng.random(visits) < 0.05, rng.integers(0, GRADE_COUNT, visits), grade)
    seen = GradesSeen(
        grade.astype(np.int64), is_film, rng.random(visits) < 0.2, rng.integers(-1, 5, visits)
    )
    log_age = (np.log(share) + life)[:, None]
    return GradeLog(np.repeat(np.arange(coats), 4), log_age, np.zeros(visits, dtype=bool), seen)


def worked_out(
    path: WearPath, log: GradeLog, mean: np.ndarray, spread: np.ndarray, slope: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Mean and spread after the grades by 481 lives a coat in double precision and without
    rounding, slopes by 21 nodes of a normal law."""
    own = np.sqrt(spread**2 - path.variances(slope))
    away = np.linspace(-6, 6, 481)
    logs = log.log_chances(path, mean[:, None] + own[:, None] * away) - away**2 / 2
    weight = np.exp(logs - logs.max(axis=1, keepdims=True))
    weight /= weight.sum(axis=1, keepdims=True)
    middle = weight @ away
    share = weight @ away**2 - middle**2
    nodes, heights = np.polynomial.hermite_e.hermegauss(21)
    sure = own * np.sqrt(share)
    lives = (mean + own * middle)[:, None] + sure[:, None] * nodes
    heights = np.broadcast_to(nodes * heights / heights.sum(), lives.shape)
    moved = sure[:, None] * log.slopes(path, lives, heights) + share[:, None] * slope
    return mean + own * middle, np.sqrt(sure**2 + path.variances(moved))


def test_what_is_read_off_tables_is_what_is_worked_out(differing: Learned) -> None:
    """Two thousand coats."""
    path, count = differing.along.path, 2_000
    assert path is not None
    rng = np.random.default_rng(9)
    log = drawn_log(count, seed=9)
    mean, spread = rng.normal(MEAN, 0.2, count), rng.uniform(0.35, 0.5, count)
    slope = 0.1 * rng.normal(size=(count, len(path.numbers)))

    exact, whole = worked_out(path, log, mean, spread, slope)
    ours, ours_spread = moments_after_grades(path, log, mean, spread, slope)
    error, ratio = ours - exact, ours_spread / whole - 1
    assert np.abs(error).max() < 0.01
    assert np.sqrt(np.mean(error**2)) < 0.002
    assert np.abs(ratio).max() < 0.07
    assert np.sqrt(np.mean(ratio**2)) < 0.007
    assert abs(ratio.mean()) < 0.003


def test_tables_reach_as_far_as_grades_that_contradict_the_forecast(differing: Learned) -> None:
    """Graded 2 and 3 in the second year where 8 or 10 years were expected: stray grades or a very
    fast coat, and the law is twice as wide as before."""
    path = differing.along.path
    assert path is not None
    mean, spread = np.array([4.6, 4.8]), np.full(2, 0.386)
    coat, log_age = np.repeat([0, 1], 4), np.log(np.tile([15.9, 6.2, 6.7, 13.5], 2))[:, None]
    nobody, client = np.zeros(8, dtype=bool), np.tile([True, False, False, False], 2)
    seen = GradesSeen(np.tile([3, 2, 2, 2], 2), nobody, client, np.tile([1, -1, 1, 2], 2))
    log, slope = GradeLog(coat, log_age, nobody, seen), np.zeros((2, len(path.numbers)))

    exact, whole = worked_out(path, log, mean, spread, slope)
    ours, ours_spread = moments_after_grades(path, log, mean, spread, slope)
    assert whole.max() > 0.7
    assert ours == pytest.approx(exact, abs=0.01)
    assert ours_spread == pytest.approx(whole, rel=0.01)


def test_a_coat_is_believed_the_same_whatever_it_is_asked_with(differing: Learned) -> None:
    """Coats beside it may be known much worse, and are looked at much farther off."""
    path = differing.along.path
    assert path is not None
    log = drawn_log(2, seed=3)
    mean, slope = np.full(2, MEAN), np.full((2, len(path.numbers)), 0.05)
    narrow, wide = (
        moments_after_grades(path, log, mean, np.array([0.3, spread]), slope)
        for spread in (0.3, 0.75)
    )
    assert [part[0] for part in wide] == pytest.approx([part[0] for part in narrow], rel=1e-5)


def test_no_grades_at_all_move_nothing(differing: Learned) -> None:
    path, none = differing.along.path, np.zeros(0)
    assert path is not None
    log, _, _, slope = running_coats(differing)
    empty = GradeLog(log.coat[:0], log.log_age[:0], log.is_called[:0], log.seen.take(slice(0)))
    found = moments_after_grades(path, empty, none, none, slope[:0])
    assert [part.shape for part in found] == [(0,), (0,)]


def test_the_doubt_about_the_path_is_that_of_many_drawn_paths(differing: Learned) -> None:
    """Law of total variance by brute force: paths drawn from their covariance, the coefficients
    moved along, and the belief after the grades worked out for each as if it were known."""
    path = differing.along.path
    assert path is not None
    log, _, belief, slope = running_coats(differing)
    at = np.concatenate([path.parameters, path.grader_offsets])
    known = np.sqrt(belief.spread**2 - path.variances(slope))
    none = np.zeros((len(known), 0))
    drawn = np.random.default_rng(8).multivariate_normal(at, path.covariance, 400)
    found = [
        moments_after_grades(
            WearPath(each[:9], path.grader_keys, each[9:]),
            log,
            belief.mean + slope @ (each - at),
            known,
            none,
        )
        for each in drawn
    ]
    means, spreads = (np.array(part) for part in zip(*found, strict=True))
    whole = np.sqrt((spreads**2).mean(axis=0) + means.var(axis=0))
    ours = moments_after_grades(path, log, belief.mean, belief.spread, slope)[1]

    assert ours == pytest.approx(whole, rel=0.1)
    assert np.mean(ours / whole) == pytest.approx(1, abs=0.02)


def test_the_coefficients_go_along_with_the_path_as_a_fit_along_another_one_shows(
    differing: Learned,
) -> None:
    """Fitted anew along paths with later wear and with wider steps: the mean log life of each coat
    follows as the slope says, within what a fit leaves unsettled."""
    path, book = differing.along.path, differing.book
    assert path is not None
    graded_rows = log_grades(book.coats, book.visits_before(differing.day))
    x = expected_design(book.coats.take(graded_rows[1])).x

    def lives_along(parameters: np.ndarray) -> np.ndarray:
        moved = WearPath(parameters, path.grader_keys, path.grader_offsets)
        seen = graded_lives(book.coats, graded_rows, moved, book.running(differing.day))
        beta = fit(seen, start=differing.along).posterior.beta
        return beta[0] + x @ beta[1:]

    here = lives_along(path.parameters)
    for place in (0, 2, 3):
        step = 0.1 * np.eye(len(path.parameters))[place]
        told = np.column_stack([np.ones(len(x)), x]) @ path.coefficient_slope[:, place] * 0.1
        moved = lives_along(path.parameters + step) - here
        assert told.mean() == pytest.approx(moved.mean(), rel=0.25)
        assert np.corrcoef(told, moved)[0, 1] > 0.9


def test_a_fit_kept_without_the_doubt_goes_on_without_it(differing: Learned) -> None:
    stored = differing.along.to_dict()
    for name in ("covariance", "coefficient_slope"):
        del stored["path"][name]
    kept = Posterior.from_dict(json.loads(json.dumps(stored)))
    assert kept.path is not None
    assert not kept.path.is_doubted
    known = replace(differing.along, path=WearPath(*list(vars(kept.path).values())[:3]))
    coats = graded([12.0, 30.0], [0, 1])
    assert predict(coats, kept, TODAY).late == pytest.approx(predict(coats, known, TODAY).late)
    assert predict(coats, differing.along, TODAY).late[0] != predict(coats, kept, TODAY).late[0]


def test_without_grades_there_is_no_path() -> None:
    made = simulate_grades(4, 5, 2.0, PUBLISHED_PRIOR, GradedWorld())
    found = made.book.fit_before(START, along_path=True)
    assert found.posterior.path is None
    assert found.coats == 0


def test_a_coat_of_which_only_the_year_is_known_is_averaged_over_it() -> None:
    made = simulate_grades(5, 4, 3.0, PUBLISHED_PRIOR, GradedWorld())
    coats = made.book.coats
    log, rows = log_grades(coats, made.book.visits)
    spanned = coats.take(slice(None))
    object.__setattr__(spanned, "coated_within", np.full(len(coats), 90.0))
    wide, same = log_grades(spanned, made.book.visits)
    assert (same == rows).all()
    assert wide.log_age.shape[1] == 5
    assert wide.middle_log_age == pytest.approx(log.log_age)
    running = np.zeros(len(coats), dtype=bool)
    sharp, blurred = (
        graded_lives(coats, each, PUBLISHED_PATH, running).prepared(0.0)
        for each in ((log, rows), (wide, same))
    )
    eta = np.full(len(rows), MEAN)
    assert (np.abs(blurred.terms(eta, 0.1).eta) < np.abs(sharp.terms(eta, 0.1).eta)).mean() > 0.5


def test_a_fit_of_graded_lives_says_that_it_converged() -> None:
    made = simulate_grades(6, 20, 4.0, PUBLISHED_PRIOR, GradedWorld())
    book = made.book
    graded_rows = log_grades(book.coats, book.visits)
    lives = graded_lives(book.coats, graded_rows, PUBLISHED_PATH, book.running(np.inf))
    assert fit(lives).converged
