"""Grades of visits as bounds on lives."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from reminders.forecast import Coats, SeasonalClock, Visits, life_bounds, seasonal_rate
from reminders.forecast.intervals import STRIP_RATIO, censored_lives
from tests.forecast.conftest import MID_LATITUDE_SUN

PUT_ON = 18000.0
CLOCK = SeasonalClock(seasonal_rate(MID_LATITUDE_SUN, np.full(12, 10.0)))
FINE = ((1.0, 0.4), (2.0, 0.7), (3.0, 1.0), (4.0, 1.5), (5.0, 2.0))


def age(days: float) -> float:
    return float(CLOCK.months_between([PUT_ON], [PUT_ON + days])[0])


def seen(*found: tuple[float, float, str]) -> Visits:
    days, grades, reasons = zip(*found, strict=True)
    return Visits(
        coat=[0] * len(found),
        visited_on=PUT_ON + np.array(days),
        grade=grades,
        reason=list(reasons),
    )


CASES = [
    ("sound is a lower bound", "penetrating_oil", [(300, 1, "routine")], age(300), np.inf),
    ("worn is an upper bound", "penetrating_oil", [(300, 3, "due")], 0.0, age(300)),
    (
        "all earlier sound visits count",
        "penetrating_oil",
        [(100, 0, "routine"), (300, 4, "due")],
        age(100),
        age(300),
    ),
    (
        "nothing done after a worn visit",
        "penetrating_oil",
        [(300, 3, "due"), (400, 5, "due")],
        0.0,
        age(300),
    ),
    (
        "a film between its two limits",
        "solid_film",
        [(300, 3, "due")],
        age(300) / STRIP_RATIO,
        age(300),
    ),
    ("a film past its strip limit", "solid_film", [(300, 4, "due")], 0.0, age(300) / STRIP_RATIO),
    (
        "a call narrows the time",
        "penetrating_oil",
        [(100, 0, "routine"), (400, 3, "called")],
        age(400) - 3,
        age(400),
    ),
    (
        "a call soon after a visit",
        "penetrating_oil",
        [(390, 0, "routine"), (400, 3, "called")],
        age(390),
        age(400),
    ),
    ("half a step short", "penetrating_oil", [(300, 2.5, "quote")], age(300), np.inf),
]


@pytest.mark.parametrize(
    ("name", "finish", "found", "lower", "upper"), CASES, ids=[case[0] for case in CASES]
)
def test_grades_bound_the_life(
    coats: Callable[..., Coats],
    name: str,
    finish: str,
    found: list[Any],
    lower: float,
    upper: float,
) -> None:
    result = life_bounds(coats(finish_class=finish), seen(*found))
    assert result.seen.all()
    assert not result.conflict.any()
    assert [result.lower[0], result.upper[0]] == pytest.approx([lower, upper])


def test_finer_limits_give_an_interval_for_every_grade(coats: Callable[..., Coats]) -> None:
    result = life_bounds(coats(), seen((300, 2, "routine")), penetrating=FINE)
    assert [result.lower[0], result.upper[0]] == pytest.approx([age(300), age(300) / 0.7])


def test_sound_after_worn_is_flagged_and_left_out_of_the_fit(coats: Callable[..., Coats]) -> None:
    deck = coats()
    result = life_bounds(deck, seen((300, 4, "due"), (500, 0, "routine")))
    assert result.conflict.all()
    assert len(censored_lives(deck, result, np.array([True]))) == 0


def test_coats_without_visits_teach_nothing(coats: Callable[..., Coats]) -> None:
    deck = coats(coated_on=[PUT_ON, PUT_ON])
    result = life_bounds(deck, seen((300, 1, "routine")))
    assert result.seen.tolist() == [True, False]
    assert len(censored_lives(deck, result, np.array([True, True]))) == 1


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"grade": [6]}, "grade must lie between 0 and 5; row 0 has 6"),
        ({"grade": [np.nan]}, "grade must lie between 0 and 5; row 0 has nan"),
        (
            {"reason": "sunday"},
            "reason must be one of routine, due, called, quote, other; row 0 has sunday",
        ),
        ({"reason": [7]}, "reason must be one of .*; row 0 has 7"),
        ({"visited_on": [np.nan]}, "visited_on must lie between .*; row 0 has nan"),
        (
            {"coat": [0, 0], "visited_on": [18100.0, 18050.0]},
            "visited_on must not go back for one coat; row 1 has 18050",
        ),
    ],
)
def test_bad_visits_are_refused(given: dict[str, Any], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        Visits(**({"coat": [0], "visited_on": [18100.0], "grade": [1]} | given))


@pytest.mark.parametrize(
    ("coat", "day", "message"),
    [
        (5, 18100.0, "coat must be a row of the coats; row 0 has 5"),
        (0, 17999.0, "visited_on must not lie before the coat"),
    ],
)
def test_visits_that_fit_no_coat_are_refused(
    coats: Callable[..., Coats], coat: int, day: float, message: str
) -> None:
    with pytest.raises(ValueError, match=message):
        life_bounds(coats(), Visits(coat=[coat], visited_on=[day], grade=[1]))
