"""The risk of waiting against the log-normal distribution of a general library."""

import numpy as np
from scipy.stats import lognorm

from reminders.forecast import (
    OIL_WEAR,
    PUBLISHED_PRIOR,
    Coats,
    SeasonalClock,
    seasonal_rate,
    strip_chances_after_waits,
    sun_on_deck,
)
from reminders.forecast.clock import CLOCK_WEIGHTS
from reminders.forecast.prediction import predict_log_life

TODAY = 20_500.0
WAITS = (0.0, 183.0, 365.0, 3_650.0)


def coats(**more: object) -> Coats:
    sun = 12 + 8 * np.sin(np.linspace(0, 2 * np.pi, 12, endpoint=False) - 1.5)
    laid = np.array([20_450.0, 20_000.0, 19_500.0])
    return Coats(
        coated_on=laid, latitude=np.full(3, 44.0), sun=sun, wet_days=np.full(12, 12.0), **more
    )


def test_without_inspections_it_is_the_conditional_log_normal_distribution() -> None:
    rows = coats()
    belief = predict_log_life(rows, PUBLISHED_PRIOR)
    clock = SeasonalClock(seasonal_rate(sun_on_deck(rows), rows.wet_days, CLOCK_WEIGHTS))

    now, later = strip_chances_after_waits(rows, PUBLISHED_PRIOR, TODAY, WAITS)

    # scipy.stats.lognorm: shape s is the spread of the log, scale the median.
    limit = lognorm(s=belief.spread, scale=OIL_WEAR.strip_ratio * np.exp(belief.mean))
    start = clock.reading(rows.coated_on)
    for column, wait in enumerate(WAITS):
        age = clock.reading(np.full(3, TODAY)) - start
        aged = clock.reading(np.full(3, TODAY + wait)) - start
        np.testing.assert_allclose(now, limit.cdf(age), rtol=1e-9)
        np.testing.assert_allclose(
            later[:, column], 1 - limit.sf(aged) / limit.sf(age), rtol=1e-6, atol=1e-12
        )


def test_a_longer_wait_never_risks_less_and_a_sound_inspection_less_than_none() -> None:
    seen = coats(sound_on=np.full(3, TODAY - 1))

    now, later = strip_chances_after_waits(seen, PUBLISHED_PRIOR, TODAY, WAITS)

    assert (np.diff(later, axis=1) >= 0).all()
    assert ((later >= 0) & (later <= 1)).all()
    assert (
        now <= strip_chances_after_waits(coats(), PUBLISHED_PRIOR, TODAY, WAITS)[0] + 1e-12
    ).all()
    assert later[:, 0].max() == 0
