"""Seeded books whose visits give grades: worlds with other paths of wear than the core believes in,
graders who differ, and data that lie."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from reminders.forecast import (
    Coats,
    InspectionData,
    Posterior,
    SeasonalClock,
    Visits,
    seasonal_rate,
    sun_on_deck,
)
from reminders.forecast.coats import CATEGORY_LEVELS
from reminders.forecast.prediction import predict_log_life
from tests.forecast.simulated import FINISHES, START, Simulated, draw_coats, draw_exposure

# Wear on the scale of grades by age over life; each is 3 where the age is the life. Only the powers
# are of the form that the core learns.
PATHS: dict[str, Callable[[np.ndarray], np.ndarray]] = {
    "even": lambda r: 3 * r,
    "late": lambda r: 3 * r**2.5,
    "early": lambda r: 3 * r**0.6,
    "onset": lambda r: np.where(r < 0.6, r, 0.6 + 6 * (r - 0.6)),
    "bend": lambda r: 0.25 + 5.5 / (1 + np.exp(-5 * (r - 1))),
    "usual": lambda r: 3 * r**1.3,
}
GRADERS = 4
CLIENT_NOISE = 1.0
CLIENT_OFFSET = 0.3


@dataclass(frozen=True)
class GradedWorld:
    """What visits are like: the path, the noise of a grade, by how much two halves of the crew
    differ, shares of visits or coats with something amiss; `is_plain` gives grades 1 and 3 only."""

    path: str = "usual"
    noise: float = 0.5
    apart: float = 0.0
    looks: float = 0.0
    called: float = 0.0
    missing: float = 0.0
    wrong_product: float = 0.0
    early_failure: float = 0.0
    slow_decks: float = 0.0
    stray: float = 0.01
    is_plain: bool = False


WORLDS = {
    "usual path, p 1.3": GradedWorld(),
    "even wear, p 1": GradedWorld("even"),
    "late wear, p 2.5": GradedWorld("late"),
    "early wear, p 0.6": GradedWorld("early"),
    "nothing, then fast": GradedWorld("onset"),
    "an S": GradedWorld("bend"),
    "graders half a grade apart": GradedWorld(apart=0.5),
    "graders a grade apart": GradedWorld(apart=1.0),
    "a noise of a whole grade": GradedWorld(noise=1.0),
    "clients look too": GradedWorld(looks=0.4),
    "clients call": GradedWorld(called=0.3),
    "4 in 10 visits lost": GradedWorld(missing=0.4),
    "1 product in 10 wrong": GradedWorld(wrong_product=0.1),
    "1 coat in 20 fails early": GradedWorld(early_failure=0.05),
    "1 deck in 10 is slow": GradedWorld(slow_decks=0.1),
    "1 grade in 20 means nothing": GradedWorld(stray=0.05),
    "only grades 1 and 3": GradedWorld(is_plain=True),
}


class _Book:
    # Coats put on one round after another, until every deck is past the end.
    def __init__(self, seed: int, decks: int, world: GradedWorld, truth: Posterior) -> None:
        self.rng = np.random.default_rng(seed)
        self.world = world
        self.truth = truth
        self.exposure = draw_exposure(self.rng, decks)
        self.pace = np.exp(truth.mean[-1]) * self.rng.normal(size=decks)
        self.pace += np.where(self.rng.random(decks) < world.slow_decks, np.log(2.5), 0)

    def lives(self, deck: np.ndarray, on: np.ndarray) -> np.ndarray:
        # In clock months; of a wrong product the book knows another finish than was put on.
        exposure = dict(self.exposure)
        finish = exposure["finish_class"].copy()
        wrong = deck[self.rng.random(len(deck)) < self.world.wrong_product]
        words = self.rng.choice(FINISHES, len(wrong))
        finish[wrong] = [CATEGORY_LEVELS["finish_class"].index(word) for word in words]
        exposure["finish_class"] = finish
        mean = predict_log_life(draw_coats(exposure, deck, on), self.truth)[0]
        spread = np.exp(self.truth.mean[-2]) * self.rng.normal(size=len(deck))
        fails = self.rng.random(len(deck)) < self.world.early_failure
        return np.exp(mean + self.pace[deck] + spread) * np.where(fails, 0.35, 1.0)

    def grades(self, share: np.ndarray, offset: np.ndarray, noise: float) -> np.ndarray:
        wear = PATHS[self.world.path](np.minimum(share, 4.0))
        grade = np.clip(np.floor(wear + offset + noise * self.rng.normal(size=len(share))), 0, 5)
        if self.world.is_plain:
            grade = np.where(share >= 1, 3.0, 1.0)
        stray = self.rng.random(len(share)) < self.world.stray
        drawn = self.rng.integers(0, 6, len(share)).astype(float)
        return np.where(
            stray, np.where(drawn >= 3, 3.0, 1.0) if self.world.is_plain else drawn, grade
        )


def simulate_grades(
    seed: int, decks: int, years: float, truth: Posterior, world: GradedWorld
) -> Simulated:
    """Every deck is visited about twice a year and recoated when graded 3 or more, and now and then
    before."""
    made = _Book(seed, decks, world, truth)
    on = START + made.rng.uniform(0, 365, decks)
    end = START + 365.25 * years
    rows: list[tuple[np.ndarray, ...]] = []
    visits: list[np.ndarray] = []
    count = 0
    while (active := np.flatnonzero(on < end)).size:
        coats = draw_coats(made.exposure, active, on[active])
        months = made.lives(active, on[active])
        clock = SeasonalClock(seasonal_rate(sun_on_deck(coats), coats.wet_days))
        day = clock.day_after(coats.coated_on, months)
        seen, finish = _visit(made, coats, clock, months, end)
        rows.append((active, on[active], months, day, finish))
        visits.append(seen + np.array([[count], *[[0]] * (len(seen) - 1)]))
        count += len(active)
        on[active] = np.where(np.isnan(finish), np.inf, finish)
    deck, coated, months, day, ended = (np.concatenate(part) for part in zip(*rows, strict=True))
    coats = draw_coats(made.exposure, deck, coated)
    book = InspectionData(coats, _sorted_visits(made, np.concatenate(visits, axis=1)), ended)
    return Simulated(book, months, day, truth)


def _visit(
    made: _Book, coats: Coats, clock: SeasonalClock, months: np.ndarray, end: float
) -> tuple[np.ndarray, np.ndarray]:
    # Rows of coat, day, grade, whether called, whether the client looked, grader.
    rng, world, n = made.rng, made.world, len(coats)
    worn_on = clock.day_after(coats.coated_on, months)
    parts = []
    finish = np.full(n, np.nan)
    now = coats.coated_on.copy()
    is_open = np.ones(n, dtype=bool)
    while is_open.any():
        after = now + rng.uniform(120, 300, n)
        called = (rng.random(n) < world.called) & (worn_on > now) & (worn_on < after)
        after = np.where(called, np.minimum(worn_on + rng.uniform(1, 60, n), after), after)
        looked = (rng.random(n) < world.looks) & is_open
        look_on = now + (after - now) * rng.uniform(0.6, 1, n)
        now = after
        is_open &= now < end
        grader = rng.integers(0, GRADERS, n)
        offset = world.apart * np.where(grader % 2, 0.5, -0.5)
        share, asked = (clock.months_between(coats.coated_on, on) / months for on in (now, look_on))
        grade = made.grades(share, offset, world.noise)
        theirs = made.grades(asked, np.full(n, CLIENT_OFFSET), CLIENT_NOISE)
        none = np.zeros(n)
        everyone = np.arange(n)
        ours = np.array([everyone, now, grade, called, none, grader])
        look = np.array([everyone, look_on, theirs, none, none + 1, none - 1])
        parts += [look[:, looked & (look_on < end)], ours[:, is_open]]
        done = is_open & ((grade >= 3) | (rng.random(n) < 0.1))
        finish[done] = now[done]
        is_open &= ~done
    return np.concatenate(parts, axis=1), finish


def _sorted_visits(made: _Book, rows: np.ndarray) -> Visits:
    rows = rows[:, np.lexsort((rows[1], rows[0]))]
    rows = rows[:, made.rng.random(rows.shape[1]) >= made.world.missing]
    return Visits(
        coat=rows[0].astype(np.int64),
        visited_on=rows[1],
        grade=rows[2],
        reason=np.where(rows[3] > 0, "called", "routine"),
        by_client=rows[4] > 0,
        grader=rows[5].astype(np.int64),
    )
