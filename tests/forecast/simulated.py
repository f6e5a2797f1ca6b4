"""Seeded books of an invented business: decks, coats and visits drawn from a known truth."""

from dataclasses import dataclass

import numpy as np

from reminders.forecast import (
    PUBLISHED_PRIOR,
    Coats,
    InspectionData,
    Posterior,
    SeasonalClock,
    Visits,
    exposure,
    seasonal_rate,
    sun_on_deck,
)
from reminders.forecast.coats import CATEGORY_LEVELS
from reminders.forecast.prediction import predict_log_life

START = 15000.0  # 2011-01-26
FINISHES = [
    "penetrating_oil",
    "penetrating_oil",
    "tinted",
    "semitransparent",
    "repellent_preservative",
    "solid_film",
]
SUNSHINE_SHARE = 1960 / 4380  # Halifax, Nova Scotia
SUN = exposure.SUNSHINE_BIAS * exposure.radiation_from_sunshine(
    SUNSHINE_SHARE,
    np.add.reduceat(
        exposure.extraterrestrial_radiation(44.6, np.arange(1, 366)),
        np.cumsum(exposure.MONTH_DAYS) - exposure.MONTH_DAYS,
    )
    / exposure.MONTH_DAYS,
)
WET = np.array([12, 10, 12, 12, 12, 11, 10, 9, 9, 10, 12, 13.0])


@dataclass(frozen=True)
class Simulated:
    """A book, and the true lives that nobody sees: in clock months and as the day they end."""

    book: InspectionData
    life_months: np.ndarray
    worn_on: np.ndarray
    truth: Posterior


def truth_from_prior(rng: np.random.Generator) -> Posterior:
    """A world drawn from the priors: they are right on average, not in detail."""
    drawn = rng.multivariate_normal(PUBLISHED_PRIOR.mean, PUBLISHED_PRIOR.covariance)
    return Posterior(
        PUBLISHED_PRIOR.names, drawn, np.zeros_like(PUBLISHED_PRIOR.covariance), "truth"
    )


def shifted_truth() -> Posterior:
    """A world in which finishes wear a third sooner than the trade says, and heavy use hardly
    matters."""
    mean = PUBLISHED_PRIOR.mean.copy()
    mean[0] += np.log(0.68)
    mean[PUBLISHED_PRIOR.names.index("traffic_heavy")] = 0.0
    return Posterior(
        PUBLISHED_PRIOR.names, mean, np.zeros_like(PUBLISHED_PRIOR.covariance), "truth"
    )


def draw_exposure(rng: np.random.Generator, decks: int) -> dict[str, np.ndarray]:
    drawn = {name: rng.integers(len(words), size=decks) for name, words in CATEGORY_LEVELS.items()}
    drawn["salt"] = rng.choice(3, size=decks, p=[0.7, 0.2, 0.1])
    drawn["preparation"] = np.zeros(decks, dtype=int)
    drawn["finish_class"] = np.array(
        [CATEGORY_LEVELS["finish_class"].index(w) for w in rng.choice(FINISHES, size=decks)]
    )
    shade = {"summer_shade": rng.beta(1, 3, decks), "winter_shade": rng.beta(1, 5, decks)}
    return drawn | shade | {"roof_cover": np.where(rng.random(decks) < 0.2, rng.random(decks), 0.0)}


def draw_coats(exposure: dict[str, np.ndarray], deck: np.ndarray, coated_on: np.ndarray) -> Coats:
    given = {name: values[deck] for name, values in exposure.items()}
    return Coats(coated_on=coated_on, deck=deck, latitude=44.6, sun=SUN, wet_days=WET, **given)


def simulate(
    seed: int, decks: int, years: float, truth: Posterior, *, misclassification: float = 0.01
) -> Simulated:
    """Every deck is visited about twice a year and recoated when found worn, and now and then
    before."""
    rng = np.random.default_rng(seed)
    exposure = draw_exposure(rng, decks)
    pace = np.exp(truth.mean[-1]) * rng.normal(size=decks)
    on = START + rng.uniform(0, 365, decks)
    everyone = np.arange(decks)
    rows: list[tuple[np.ndarray, ...]] = []
    visits: list[tuple[np.ndarray, ...]] = []
    count = 0
    end = START + 365.25 * years
    while (active := everyone[on[everyone] < end]).size:
        coats = draw_coats(exposure, active, on[active])
        months, day = _lives(coats, truth, pace[active], rng)
        seen, finish = _visit(day, on[active], end, misclassification, rng)
        rows.append((active, on[active], months, day, finish))
        visits += [(count + row, when, grade) for row, when, grade in seen]
        count += len(active)
        on[active] = np.where(np.isnan(finish), np.inf, finish)
    deck, coated, months, day, ended = (np.concatenate(part) for part in zip(*rows, strict=True))
    return Simulated(
        InspectionData(draw_coats(exposure, deck, coated), _all(visits), ended), months, day, truth
    )


def _lives(
    coats: Coats, truth: Posterior, pace: np.ndarray, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    mean = predict_log_life(coats, truth)[0]
    months = np.exp(mean + pace + np.exp(truth.mean[-2]) * rng.normal(size=len(mean)))
    clock = SeasonalClock(seasonal_rate(sun_on_deck(coats), coats.wet_days))
    return months, clock.day_after(coats.coated_on, months)


def _visit(
    worn_on: np.ndarray,
    coated_on: np.ndarray,
    end: float,
    misclassification: float,
    rng: np.random.Generator,
) -> tuple[list[tuple[np.ndarray, ...]], np.ndarray]:
    # A round of visits to every coat, until found worn, recoated early, or the book ends.
    seen: list[tuple[np.ndarray, ...]] = []
    finish = np.full(len(worn_on), np.nan)
    now = coated_on.copy()
    open_ = np.ones(len(worn_on), dtype=bool)
    for _ in range(60):
        now = now + rng.uniform(120, 300, len(now))
        open_ &= now < end
        if not open_.any():
            break
        worn = (worn_on <= now) ^ (rng.random(len(now)) < misclassification)
        at = np.flatnonzero(open_)
        seen.append((at, now[at], np.where(worn[at], 3.0, 1.0)))
        done = open_ & (worn | (rng.random(len(now)) < 0.1))
        finish[done] = now[done]
        open_ = open_ & ~done
    return seen, finish


def _all(visits: list[tuple[np.ndarray, ...]]) -> Visits:
    coat, day, grade = (np.concatenate(part) for part in zip(*visits, strict=True))
    order = np.lexsort((day, coat))
    return Visits(coat=coat[order], visited_on=day[order], grade=grade[order])
