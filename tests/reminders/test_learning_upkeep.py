"""Best month, yearly costs and the plan of one deck, from prices that were really charged."""

from datetime import date
from decimal import Decimal

import pytest
from django.template.loader import render_to_string

from jobs.models import Job
from reminders.forecasting.upkeep import deck_upkeep
from reminders.models import Forecast
from tests.factories import DeckFactory, JobFactory
from tests.reminders.conftest import TODAY, coat, refresh

pytestmark = pytest.mark.django_db


def priced(deck, *, on: date, kind: str, amount: str, currency: str = "CAD") -> Job:
    job = coat(deck, on=on, kind=kind)
    Job.objects.filter(pk=job.pk).update(amount=Decimal(amount), currency=currency)
    return job


def row(deck) -> Forecast:
    return Forecast.objects.select_related("deck").get(deck=deck)


@pytest.fixture
def deck(business):
    made = DeckFactory(area_m2=Decimal("20"))
    priced(made, on=date(2023, 6, 1), kind="strip", amount="1800")
    priced(made, on=date(2025, 6, 1), kind="recoat", amount="600")
    refresh(made)
    return made


def test_the_decks_own_last_prices_are_used(deck, business):
    priced(deck, on=date(2026, 6, 1), kind="recoat", amount="640")
    refresh(deck)

    found = deck_upkeep(row(deck), today=TODAY, business=business)

    assert (found.recoat.amount, found.recoat.is_own) == (Decimal(640), True)
    assert (found.strip.amount, found.strip.is_own) == (Decimal(1800), True)


def test_a_deck_without_prices_takes_the_middle_price_of_others_by_area(business):
    new = DeckFactory(area_m2=Decimal("30"))
    coat(new, on=date(2025, 6, 1))
    for a_m2 in (20, 30, 70):
        other = DeckFactory(area_m2=Decimal("10"))
        priced(other, on=date(2024, 6, 1), kind="strip", amount=str(a_m2 * 30))
        priced(other, on=date(2025, 6, 1), kind="recoat", amount=str(a_m2 * 10))
    refresh(new)

    found = deck_upkeep(row(new), today=TODAY, business=business)

    assert (found.recoat.amount, found.recoat.is_own) == (Decimal(900), False)
    assert (found.strip.amount, found.strip.is_own) == (Decimal(2700), False)


def test_without_prices_or_in_another_currency_there_is_no_answer(business):
    deck = DeckFactory()
    priced(deck, on=date(2024, 6, 1), kind="strip", amount="1800", currency="USD")
    priced(deck, on=date(2025, 6, 1), kind="recoat", amount="600")
    refresh(deck)

    assert deck_upkeep(row(deck), today=TODAY, business=business) is None


def test_upkeep_costs_less_than_neglect_and_the_best_month_can_be_worked(deck, business):
    found = deck_upkeep(row(deck), today=TODAY, business=business)

    assert found.upkeep_a_year < found.neglect_a_year
    assert found.best_month >= TODAY.replace(day=1)
    assert found.best_month.month in business.season_months
    assert {job.month.month for job in found.jobs} <= set(business.season_months)
    # A strip each time: its price over the mean time to the strip limit, which is longer than half
    # the median life and shorter than twice it (bounds by calculation, no source).
    years = 1.5 * row(deck).median_months / 12
    assert 1800 / years * 0.5 < found.neglect_a_year < 1800 / years * 1.5


def test_a_thick_coat_build_makes_a_job_of_the_plan_a_strip(deck, business):
    """Common practice, no source: above six coats the next job is a strip, with two applications of
    stripper."""
    found = deck_upkeep(row(deck), today=TODAY, business=business)

    works = [job.work for job in found.jobs]
    assert works[0] == "recoat"  # four coats lie on it
    strip = next(job for job in found.jobs if job.work == "strip")
    before = found.jobs[works.index("strip") - 1]
    assert before.coats_after > 6
    assert strip.stripper_applications == 2
    assert strip.coats_after == 2
    assert strip.cost == 1800


def test_where_a_strip_costs_no_more_than_a_recoat_waiting_is_said_to_be_as_good(business):
    deck = DeckFactory()
    priced(deck, on=date(2024, 6, 1), kind="strip", amount="500")
    priced(deck, on=date(2025, 6, 1), kind="recoat", amount="600")
    refresh(deck)

    found = deck_upkeep(row(deck), today=TODAY, business=business)

    assert found.best_month is None
    assert found.jobs == []


def test_jobs_with_a_price_of_zero_are_not_prices(deck, business):
    JobFactory(
        deck=deck, kind="recoat", finished_on=date(2026, 7, 1), amount=Decimal(0), currency="CAD"
    )

    assert deck_upkeep(row(deck), today=TODAY, business=business).recoat.amount == Decimal(600)


@pytest.mark.parametrize(
    ("role", "sees_money"), [("owner", True), ("office", True), ("crew", False)]
)
def test_the_crew_sees_the_plan_without_money(deck, business, role, sees_money, request):
    found = deck_upkeep(row(deck), today=TODAY, business=business)
    user = request.getfixturevalue(role)

    page = render_to_string("reminders/_upkeep.html", {"upkeep": found, "user": user})

    assert "Best month for the next job" in page
    assert ("$" in page) is sees_money
    assert ("a year" in page) is sees_money
    assert " style=" not in page


def test_the_card_says_what_is_missing(owner):
    page = render_to_string("reminders/_upkeep.html", {"upkeep": None, "user": owner})

    assert "logged with their price" in page
