"""The book teaches the forecast: histories → a fit that is judged, kept and, if it did well,
used."""

import json
from dataclasses import replace
from datetime import date
from io import StringIO

import numpy as np
import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import IntegrityError

from clients.models import Deck
from jobs.models import Visit
from reminders import forecast
from reminders.forecast.coats import CATEGORY_LEVELS
from reminders.forecasting import bridge, evaluation, learning, refitting
from reminders.models import Forecast, ModelFit
from tests.factories import CoatFactory, DeckFactory, JobFactory, ProductFactory, VisitFactory
from tests.reminders.book import simulated_book
from tests.reminders.conftest import NOW, TODAY, coat, refresh

pytestmark = [pytest.mark.slow, pytest.mark.django_db]


def refit(today: date = TODAY, **options: bool) -> refitting.RefitResult:
    return refitting.refit(today=today, now=NOW, **options)


def printed(*arguments: str) -> list[dict]:
    out = StringIO()
    call_command(*arguments, "--format", "json", stdout=out)
    return json.loads(out.getvalue())


# Refitting.


def test_with_an_empty_book_nothing_fails_and_the_priors_stay(business):
    result = refit()

    assert result.fit is None
    assert "published figures" in result.outcome
    assert bridge.active_posterior() is forecast.PUBLISHED_PRIOR


def test_coats_without_visits_teach_nothing(business):
    deck = DeckFactory()
    coat(deck, on=date(2024, 6, 1))

    assert refit(always=True).fit is None
    refresh(deck)
    assert Forecast.objects.get(deck=deck).model_version == forecast.PUBLISHED_PRIOR.version


@pytest.fixture
def long_lived(business, monkeypatch) -> list[Deck]:
    """Finish that lasts half as long again as the priors say, seen on 28 decks over five years."""
    monkeypatch.setattr(
        refitting, "compute_figures", lambda *_, **__: {}
    )  # many fits; see test_learning_figures.py
    return simulated_book(decks=28, months=27)


def test_a_fit_is_taken_into_use_and_forecasts_move_towards_the_truth(long_lived):
    refresh(*long_lived)
    before = {row.deck_id: row for row in Forecast.objects.all()}

    result = refit()

    assert result.fit.is_in_use, result.outcome
    assert result.fit.own_score < result.fit.in_use_score
    assert result.fit.own_score < result.fit.flat_score
    after = {row.deck_id: row for row in Forecast.objects.all()}
    assert {row.model_version for row in after.values()} == {result.fit.version}
    told = np.median([row.median_months for row in after.values()])
    assert (
        abs(np.log(told / 27))
        < 0.12
        < abs(np.log(np.median([row.median_months for row in before.values()]) / 27))
    )
    assert np.mean([row.prior_share for row in after.values()]) < np.mean(
        [row.prior_share for row in before.values()]
    )
    assert np.mean([row.log_sd for row in after.values()]) < np.mean(
        [row.log_sd for row in before.values()]
    )


def test_the_own_pace_of_a_deck_with_earlier_coats_is_used(long_lived):
    refit()

    with_history = Forecast.objects.filter(contributions__has_key="own_history")
    assert with_history.count() > len(long_lived) / 2


def test_a_fit_that_does_worse_is_kept_but_not_used_and_says_so(long_lived):
    good = refit().fit
    # A bad year: coats found worn after twelve months. What it teaches is wrong for all the coats
    # after it.
    for number, deck in enumerate(long_lived[:9]):
        coat(deck, on=date(2026, 12, 1))
        VisitFactory(deck=deck, visited_on=date(2027, 12, 1 + number), overall=4)
    for number, deck in enumerate(long_lived):
        coat(deck, on=date(2027, 12, 20))
        VisitFactory(deck=deck, visited_on=date(2029, 10, 1 + number % 28), overall=1)

    result = refit(date(2030, 2, 1))

    assert not result.fit.is_in_use
    assert result.fit.own_score > result.fit.in_use_score
    assert "Not taken into use" in result.outcome
    assert ModelFit.objects.in_use() == good
    assert set(Forecast.objects.values_list("model_version", flat=True)) == {good.version}


def test_the_very_fit_in_use_was_judged_on_visits_that_it_had_not_seen(long_lived):
    fit = refit().fit

    book = learning.load_training_data(today=TODAY).book
    since = bridge.epoch_days(fit.trained_on) + 1
    belief = bridge.active_posterior()
    again = book.fit_before(since, along_path=belief.path is not None)
    assert again.version == fit.version == belief.version
    held = forecast.scored_visits(book, since, bridge.epoch_days(TODAY) + 1)
    chances = forecast.worn_chances_at_visits(book, held, bridge.active_posterior())
    assert len(held.worn) == fit.held_back >= 20
    assert np.mean(-np.log(np.where(held.worn, chances, 1 - chances))) == pytest.approx(
        fit.own_score, abs=1e-3
    )  # a stored fit is rounded


def test_a_broken_fit_is_refused_and_the_reason_names_what_it_did_worse(long_lived, monkeypatch):
    """As some were: a variance of 1e8, said to have settled."""
    whole = forecast.InspectionData.fit_before

    def broken_fit(book, day, *arguments, **options):
        found = whole(book, day, *arguments, **options)
        covariance = found.posterior.covariance.copy()
        covariance[0, 0] = 1e8
        return replace(found, posterior=replace(found.posterior, covariance=covariance))

    monkeypatch.setattr(forecast.InspectionData, "fit_before", broken_fit)

    result = refit()

    assert not result.fit.is_in_use
    assert "Not taken into use: over 20 visits that it had not seen" in result.outcome
    assert "further off than those of the published figures" in result.outcome
    assert bridge.active_posterior() is forecast.PUBLISHED_PRIOR


def test_a_fit_that_did_not_settle_is_refused(long_lived, monkeypatch):
    whole = forecast.InspectionData.fit_before
    monkeypatch.setattr(
        forecast.InspectionData,
        "fit_before",
        lambda *arguments, **options: replace(
            whole(*arguments, **options), converged=False, note="the calculation did not settle."
        ),
    )

    result = refit()

    assert not result.fit.is_in_use
    assert "Not taken into use: the calculation did not settle" in result.outcome


def test_a_broken_fit_of_an_earlier_version_is_set_aside_and_the_book_learned_again(long_lived):
    fit = refit().fit
    parameters = fit.parameters
    parameters["posterior"]["covariance"][0][0] = 1e8
    ModelFit.objects.filter(pk=fit.pk).update(parameters=parameters, version="fit-broken")

    assert bridge.active_posterior() is forecast.PUBLISHED_PRIOR
    assert refit().fit.is_in_use
    assert bridge.active_posterior().version == fit.version


def test_too_few_visits_to_judge_a_fit_by_teach_nothing_yet(business):
    simulated_book(decks=3, months=24)

    result = refit(always=True)

    assert result.fit is None
    assert "Not yet 20 visits" in result.outcome


def test_it_learns_again_only_when_enough_is_new(long_lived):
    first = refit().fit

    again = refit()

    assert again.fit is None
    assert "0 new graded visits" in again.outcome
    assert "Nothing in the book has changed" in refit(always=True).outcome
    assert list(ModelFit.objects.all()) == [first]


def test_an_imported_past_counts_as_new_though_its_dates_are_old(long_lived):
    Visit.objects.filter(deck__in=long_lived[14:]).delete()
    first = refit().fit
    for deck in long_lived[14:]:
        for job in deck.jobs.all():
            if job.finished_on < date(2025, 6, 1):
                VisitFactory(deck=deck, visited_on=date(job.finished_on.year + 1, 4, 20), overall=1)

    result = refit()

    assert result.fit is not None
    assert result.fit.coats > first.coats
    assert "visits that it had not seen" in result.outcome


def test_only_one_fit_can_be_in_use(business):
    facts = {
        "trained_on": TODAY,
        "visits": 9,
        "coats": 3,
        "decks": 2,
        "parameters": {},
        "why": "",
        "is_in_use": True,
    }
    ModelFit.objects.create(version="fit-a", **facts)

    with pytest.raises(IntegrityError, match="one_fit_in_use"):
        ModelFit.objects.create(version="fit-b", **facts)


def test_a_fit_of_a_core_with_other_factors_is_not_used(long_lived):
    fit = refit().fit
    parameters = fit.parameters
    parameters["posterior"]["names"][1] = "something_older"
    ModelFit.objects.filter(pk=fit.pk).update(parameters=parameters, version="fit-older")

    assert bridge.active_posterior() is forecast.PUBLISHED_PRIOR
    assert refit().fit.is_in_use


# Commands.


@pytest.fixture
def noon(monkeypatch) -> None:
    """The commands ask Django for the time;
    the book ends before this day whatever the day of the test is."""
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOW)


def test_refit_prints_stable_keys(long_lived, noon):
    (row,) = printed("refit")

    assert list(row) == [
        "version",
        "trained_on",
        "visits",
        "coats",
        "decks",
        "held_back",
        "own_score",
        "in_use_score",
        "flat_score",
        "class_score",
        "is_in_use",
        "said",
    ]
    assert row["is_in_use"] is True
    (row,) = printed("refit")
    assert row["version"] is None
    assert "0 new" in row["said"]


def test_backtest_prints_stable_keys_and_the_learned_forecast_does_best(long_lived, noon):
    rows = printed("backtest")

    assert [list(row) for row in rows] == [evaluation.SCORE_COLUMNS] * 4
    assert evaluation.SCORE_COLUMNS == [
        "forecast",
        "visits",
        "log_score",
        "brier",
        "window_score",
        "observed",
        "expected",
        "observed_over_expected",
        "window_coverage",
        "coverage_at_least",
        "coverage_at_most",
        "coverage_coats",
        "coverage_is_enough",
        "origins",
    ]
    by_name = {row["forecast"]: row for row in rows}
    assert list(by_name) == ["learned", "prior", "flat_rule", "finish_average"]
    assert by_name["learned"]["log_score"] < min(
        by_name["prior"]["log_score"], by_name["flat_rule"]["log_score"]
    )
    assert by_name["learned"]["coverage_is_enough"] is False
    assert by_name["learned"]["window_coverage"] is None  # too few coats to state one figure


def test_backtest_gives_its_reliability(long_lived, noon):
    rows = printed("backtest", "--reliability")

    assert [list(row) for row in rows] == [evaluation.BIN_COLUMNS] * len(rows)
    assert sum(row["visits"] for row in rows) == printed("backtest")[0]["visits"]
    assert all(
        row["low"] <= row["forecast"] <= row["high"] and 0 <= row["found"] <= 1 for row in rows
    )


def test_backtest_of_an_empty_book_says_what_is_missing(business):
    with pytest.raises(CommandError, match="No coat has been graded"):
        call_command("backtest")


@pytest.mark.parametrize("years", ["0", "-3", "900"])
def test_backtest_refuses_impossible_years(business, years):
    with pytest.raises(CommandError, match="--years must lie between 1 and 50"):
        call_command("backtest", f"--years={years}")


# How many came back.


def test_the_return_rate_counts_only_coats_whose_window_has_closed(business):
    """Three coats of 2022 whose windows are closed: renewed after 13 months, after 40, and never;
    one of this year."""
    for renewed in (date(2023, 7, 1), date(2025, 10, 1), None):
        deck = DeckFactory()
        coat(deck, on=date(2022, 6, 1))
        if renewed:
            coat(deck, on=renewed)
    coat(DeckFactory(), on=date(2026, 6, 1))
    gone = DeckFactory(archived_at=NOW)
    coat(gone, on=date(2022, 6, 1))

    found = evaluation.count_returns(
        learning.load_training_data(today=TODAY), forecast.PUBLISHED_PRIOR, today=TODAY
    )

    # The coat of 2023 has outlived its window too, and has not been renewed.
    assert found == {"coats": 4, "in_time": 1, "later": 1, "not_back": 2}


def test_several_products_in_one_job_make_one_coat(business):
    job = JobFactory(kind="recoat", finished_on=date(2024, 6, 1))
    CoatFactory(job=job, position=1, coats=1)
    CoatFactory(job=job, position=2, coats=1, product=ProductFactory(finish_class="tinted"))

    coats = learning.load_training_data(today=TODAY).book.coats

    assert len(coats) == 1
    assert coats.coats.tolist() == [2]
    assert CATEGORY_LEVELS["finish_class"][coats.finish_class[0]] == "tinted"
