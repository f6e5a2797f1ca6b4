"""A book whose grades follow the wear: learned along the path, used by each deck, told in words."""

import json
from datetime import date, timedelta

import numpy as np
import pytest
from django.utils.html import strip_tags

from clients.models import Deck
from jobs.actions import record_visit
from jobs.models import Visit
from reminders.forecasting import bridge, curve, refitting
from reminders.models import Forecast
from reminders.pacing.savings import LifeOnClock, clock_ages
from reminders.pictures import chance_on
from tests.factories import VisitFactory
from tests.reminders.book import LAST, simulated_book
from tests.reminders.conftest import NOW, TODAY, coat, refresh

pytestmark = [pytest.mark.slow, pytest.mark.django_db]


@pytest.fixture
def graded(business, monkeypatch) -> list[Deck]:
    """Forty decks over five years, their grades around the path."""
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOW)
    return simulated_book(decks=40, months=20, grade_noise=0.3)


@pytest.fixture
def learned(graded, monkeypatch) -> list[Deck]:
    """Learned from, without the many fits of the Figures page."""
    monkeypatch.setattr(refitting, "compute_figures", lambda *_, **__: {})
    return learn(graded)


def learn(decks: list[Deck]) -> list[Deck]:
    result = refitting.refit(today=TODAY, now=NOW)
    assert result.fit is not None, result.outcome
    assert result.fit.is_in_use, result.outcome
    return decks


def test_the_path_is_learned_judged_stored_and_told(graded, as_owner):
    learn(graded)
    fit = refitting.fit_in_force()
    assert "It reads each grade along a path of wear (" in fit.why
    stored = fit.__class__.objects.get(pk=fit.pk).parameters
    assert len(stored["posterior"]["path"]["grader_keys"]) == 1  # Lee, who is not named
    assert "lee" not in json.dumps(stored["posterior"]["path"]).casefold()
    path = bridge.active_posterior().path
    assert path.exponents[0] == pytest.approx(1.3, abs=0.4)

    assert as_owner.get(f"/decks/{graded[0].pk}/").status_code == 200
    said = " ".join(strip_tags(as_owner.get("/figures/").content.decode()).split())
    assert "Every grade counts, not only worn or not: where grade 1 begins" in said


def new_coat(deck: Deck) -> date:
    """A coat of this spring."""
    on = LAST - timedelta(days=150)
    coat(deck, on=on)
    refresh(deck)
    return on


def test_a_check_moves_the_forecast_of_its_deck_by_its_grade(learned, business, owner):
    """Two decks of one kind, found sound on one day: 0 and 2."""
    days = {}
    for deck, grade in zip(learned, (0, 2), strict=False):
        new_coat(deck)
        before = Forecast.objects.get(deck=deck).half_worn_on
        record_visit(
            deck=deck,
            visited_on=TODAY,
            findings={"overall": grade, "reason": Visit.Reason.ROUTINE},
            by=owner,
            now=NOW,
        )
        days[grade] = (before, Forecast.objects.get(deck=deck).half_worn_on)

    assert days[0][1] > days[0][0]
    assert days[2][1] < days[2][0]


def test_curve_and_plan_say_the_same_as_the_stored_forecast(learned):
    deck = learned[0]
    new_coat(deck)
    VisitFactory(deck=deck, visited_on=TODAY - timedelta(days=20), overall=2)
    refresh(deck)
    row = Forecast.objects.select_related("job", "deck__site").get(deck=deck)

    chances = curve.worn_chances(row, row.job.finished_on, TODAY)

    for day, chance in ((row.window_opens_on, 0.2), (row.half_worn_on, 0.5), (row.late_on, 0.8)):
        assert chance_on(chances, day) == pytest.approx(chance, abs=0.03)
    assert [chance for _, chance in chances] == sorted(chance for _, chance in chances)

    coats = bridge.core_coats(bridge.read_newest_coats([deck.pk], today=TODAY), today=TODAY)
    days = [bridge.epoch_days(day) for day in (row.half_worn_on, row.late_on)]
    stored = (np.array([value]) for value in (row.median_months, row.log_sd))
    life = LifeOnClock(clock_ages(coats, np.array(days)), *stored).after_grades(coats)
    assert life.chances(life.seen.ages, 1.0)[0] == pytest.approx([0.5, 0.8], abs=0.02)
