"""The Figures page, empty and full, and who may open it."""

from datetime import date

import pytest
from django.utils.html import strip_tags
from scipy.stats import binom

from jobs.models import Job, Visit
from reminders.forecast import CalibrationBin
from reminders.forecasting import refitting
from reminders.models import ModelFit
from reminders.pictures.reliability import (
    binomial_interval,
    merge_into_fifths,
    reliability_diagram,
)
from tests.factories import VisitFactory
from tests.reminders.book import simulated_book
from tests.reminders.conftest import NOW, TODAY, coat

pytestmark = [pytest.mark.slow, pytest.mark.django_db]


@pytest.fixture(autouse=True)
def noon(monkeypatch) -> None:
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOW)


@pytest.fixture
def learned(business) -> None:
    """A book that was learned from, with one coat nobody ever looked at."""
    decks = simulated_book(decks=16, months=24)
    coat(decks[0], on=date(2026, 11, 20))
    refitting.refit(today=TODAY, now=NOW)


def words(response) -> str:
    return " ".join(strip_tags(response.content.decode()).split())


def test_with_an_empty_book_it_says_what_is_needed(as_owner):
    response = as_owner.get("/figures/")

    assert response.status_code == 200
    assert "0 checks with an as-found grade are on file. After 20 more the program learns" in words(
        response
    )


def test_visits_are_counted_before_the_first_fit(as_owner, coated):
    deck = coated(on=date(2024, 6, 1))
    VisitFactory(deck=deck, visited_on=date(2025, 6, 1), overall=1)
    VisitFactory(deck=deck, visited_on=date(2025, 7, 1), overall=None)

    assert "1 check with an as-found grade is on file. After 19 more" in words(
        as_owner.get("/figures/")
    )


def test_the_full_page_says_how_right_it_was_what_it_learned_and_who_came_back(
    as_owner, learned, django_assert_max_num_queries
):
    with django_assert_max_num_queries(60):
        response = as_owner.get("/figures/")

    said = words(response)
    for expected in (
        "How good is the forecast?",
        "Compared with simple rules",
        "Windows",
        "coated again in time",
        "What it has learned",
    ):
        assert expected in said
    surprises = [line.log_score for line in response.context["accuracy"].scores]
    assert len(surprises) == 4
    assert surprises == sorted(surprises)
    assert response.content.decode().count(">Best<") == 1
    assert "Learned on Nov 25, 2026 from" in said
    assert "It learns again after 20 more graded checks" in said
    assert "Coats that no visit graded" in said
    assert "found worn," in said  # the picture in words


def test_it_says_in_plain_words_when_a_fit_was_refused_and_what_is_used_instead(as_owner, learned):
    used = ModelFit.objects.in_use()
    ModelFit.objects.create(
        version="fit-refused",
        created_at=NOW,
        trained_on=TODAY,
        visits=99,
        coats=9,
        decks=9,
        parameters={},
        why="Not taken into use: its windows were too wide.",
        figures=used.figures,
    )

    said = words(as_owner.get("/figures/"))

    assert (
        "What was learned on Nov 25, 2026 is not used: its windows were too wide. Forecasts rest on"
        " what was learned on Nov 25, 2026 instead." in said
    )
    ModelFit.objects.filter(pk=used.pk).update(is_in_use=False)
    said = words(as_owner.get("/figures/"))
    assert "Forecasts rest on published figures and trade practice instead." in said


def test_it_says_what_windows_cost(as_owner, learned):
    said = words(as_owner.get("/figures/"))

    assert "windows without end would come to 1" in said
    assert "is not used" not in said


def test_the_markup_carries_no_inline_style_or_script(as_owner, learned):
    page = as_owner.get("/figures/").content.decode()

    assert " style=" not in page
    assert page.count("<h1>") == 1
    assert 'role="img"' in page
    assert 'aria-labelledby="reliability-title"' in page
    assert 'id="reliability-title"' in page
    assert page.count('id="reliability-words"') == 1


def test_figures_that_an_earlier_version_stored_are_shown_still(as_owner, learned):
    """Until 0.2 a fit kept how another curve of life did."""
    fit = ModelFit.objects.latest("pk")
    fit.figures["shape"] = {"coats": 90, "lognormal": -45.0, "weibull": -50.0}
    fit.save()

    said = words(as_owner.get("/figures/"))

    assert fit.version in said
    assert "Weibull" not in said


@pytest.mark.parametrize(("role", "status"), [("owner", 200), ("office", 200), ("crew", 403)])
def test_the_owner_and_the_office_may_open_it(role, status, request, as_user):
    client = as_user(request.getfixturevalue(role))

    assert client.get("/figures/").status_code == status
    front = client.get("/").content.decode()
    assert ('href="/figures/"' in front) is (status == 200)


def test_nobody_may_open_it_without_signing_in(client, business):
    assert client.get("/figures/").status_code == 302


# The picture.


def test_luck_is_the_binomial_law():
    """Against scipy.stats.binom, an implementation of its own."""
    for visits, chance in ((10, 0.3), (47, 0.05), (200, 0.81), (3, 0.5)):
        low, high = binomial_interval(visits, chance)
        assert low == binom.ppf(0.05, visits, chance) / visits
        assert high == binom.ppf(0.95, visits, chance) / visits


def test_a_share_that_luck_cannot_explain_is_marked():
    right = CalibrationBin(0.2, 0.3, 100, 0.25, 0.27)
    wrong = CalibrationBin(0.7, 0.8, 100, 0.75, 0.40)

    picture = reliability_diagram([right, wrong])

    assert [row.is_within for row in picture.rows] == [True, False]
    assert [row.words for row in picture.rows] == ["unlikely", "likely"]
    assert [row.worn for row in picture.rows] == [27, 40]


def test_tenths_gather_into_fifths_without_losing_a_visit():
    steps = [CalibrationBin(k / 10, (k + 1) / 10, k + 1, k / 10 + 0.05, 0.5) for k in range(10)]

    gathered = merge_into_fifths(steps)

    assert [step.visits for step in gathered] == [3, 7, 11, 15, 19]
    assert sum(step.visits * step.forecast for step in gathered) == pytest.approx(
        sum(step.visits * step.forecast for step in steps)
    )


def test_a_certain_forecast_has_a_bar_of_no_width_but_no_fault():
    low, high = binomial_interval(5, 0.0)

    assert (low, high) == (0, 0)


def test_in_money_it_compares_own_dates_with_every_twelve_months(as_owner, business):
    simulated_book(decks=16, months=24)
    Job.objects.filter(kind="strip").update(amount=1800, currency=business.currency)
    Job.objects.filter(kind="recoat").update(amount=720, currency=business.currency)
    Visit.objects.filter(overall=4).update(reason="called")

    fit = refitting.refit(today=TODAY, now=NOW, always=True).fit

    found = fit.figures["upkeep"]
    assert (found["decks"], found["currency"]) == (16, business.currency)
    # 16 decks of 18 m² at 40 a m²: a recoat each year would be 11,520, and strips come on top.
    assert found["flat"] > 11_520
    # Coats of some two years need it half as often (by calculation, no source).
    assert 0.4 < found["own"] / found["flat"] < 0.85
    said = words(as_owner.get("/figures/"))
    assert "16 decks coated each at its own best age cost about" in said
    assert "of them came of a client’s call" in said


def test_the_share_worn_by_each_date_is_shown_once_enough_coats_were_seen(as_owner, learned):
    fit = ModelFit.objects.latest("pk")
    assert "Worn by each date" not in words(as_owner.get("/figures/"))
    row = next(each for each in fit.figures["scores"] if each["forecast"] == "learned")
    row |= {"worn_by_opens": 0.23, "worn_by_half": 0.55, "worn_by_late": 0.81, "worn_by_error": 0.1}
    ModelFit.objects.filter(pk=fit.pk).update(figures=fit.figures)

    response = as_owner.get("/figures/")

    assert "Worn by each date" in words(response)
    assert response.context["accuracy"].worn_by == [
        ("The window opens", 0.2, 0.23),
        ("Half worn", 0.5, 0.55),
        ("Late", 0.8, 0.81),
    ]
