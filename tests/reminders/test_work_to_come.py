"""Work to come: the sums against brute-force simulation, and the page against the forecasts."""

import csv
import io
import json
import re
from datetime import date
from decimal import Decimal

import numpy as np
import pytest
from django.core.management import call_command
from django.test import Client as Browser

from jobs.models import Rate
from reminders import forecast, tasks
from reminders.figures.due_sums import sum_due_work
from reminders.forecasting import bridge, read_newest_coats
from tests.factories import DeckFactory, PriceListFactory
from tests.reminders.conftest import NOW, TODAY, coat, refresh

SEASONS = 20_000


@pytest.fixture(autouse=True)
def noon(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOW)


def simulated_sums(
    chances: np.ndarray, amounts: np.ndarray, random: np.random.Generator
) -> np.ndarray:
    """Each piece falls into one stretch or none, by the toss of a coin for each season."""
    edges = np.cumsum(chances, axis=1)
    sums = np.zeros((SEASONS, chances.shape[1]))
    for bounds, worth in zip(edges, amounts, strict=True):
        place = np.searchsorted(bounds, random.random(SEASONS), side="right")
        falls = np.flatnonzero(place < len(bounds))
        sums[falls, place[falls]] += worth[place[falls]]
    return sums


@pytest.mark.parametrize(("decks", "tolerance"), [(12, 0.1), (76, 0.03), (400, 0.02)])
def test_the_sums_are_those_of_a_simulation(decks: int, tolerance: float) -> None:
    """Against drawing every deck 20,000 times: means to four standard errors of that, tenths to
    the tolerance. Of twelve decks hardly one comes due in a month, so no two amounts hold eight in
    ten exactly."""
    random = np.random.default_rng(decks)
    chances = random.dirichlet(np.full(26, 0.4), decks)[:, :25]
    amounts = random.gamma(4, 90, (decks, 25))

    found = sum_due_work(chances, amounts)
    drawn = simulated_sums(chances, amounts, random)

    spread = drawn.std(axis=0)
    assert np.abs(found.mean - drawn.mean(axis=0)).max() <= 4 * spread.max() / SEASONS**0.5
    # Eight times in ten between the two; where hardly anything comes due, nothing is the least.
    below = (drawn < found.low).mean(axis=0)
    above = (drawn > found.high).mean(axis=0)
    assert below.max() <= 0.1 + tolerance
    assert np.abs(above - 0.1).max() <= tolerance


def test_a_sum_of_sure_things_has_no_spread() -> None:
    found = sum_due_work(np.array([[1.0, 0.0], [1.0, 0.0]]), np.array([[3.0, 9.0], [4.0, 9.0]]))

    assert found.mean.tolist() == found.low.tolist() == found.high.tolist() == [7.0, 0.0]


def rows_of(as_owner: Browser) -> list[dict[str, str]]:
    answer = as_owner.get("/figures/work_to_come.csv")
    assert answer.status_code == 200
    return list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))


@pytest.mark.django_db
def test_every_deck_comes_due_once_or_later_than_two_years(as_owner, coated):
    decks = [coated(on=date(2025, month, 10)) for month in (5, 6, 7, 8)]

    rows = rows_of(as_owner)

    assert [row["month"] for row in rows[:3]] == ["due already", "2026-11", "2026-12"]
    assert len(rows) == 25
    coats = read_newest_coats([deck.pk for deck in decks], today=TODAY)
    (by_then,) = forecast.worn_chances_by_day(
        bridge.core_coats(coats, today=TODAY),
        bridge.active_posterior(),
        [bridge.epoch_days(date(2028, 11, 1))],
    ).T
    # 25 rows, each rounded to a hundredth
    assert sum(float(row["decks"]) for row in rows) == pytest.approx(by_then.sum(), abs=0.125)


@pytest.mark.django_db
def test_the_chance_by_a_day_is_that_of_the_forecast(coated):
    """At the three dates that the forecast states: 20, 50 and 80 per cent, to a day."""
    deck = coated(on=date(2026, 6, 10))
    row = deck.forecast
    coats = read_newest_coats([deck.pk], today=TODAY)

    (chances,) = forecast.worn_chances_by_day(
        bridge.core_coats(coats, today=TODAY),
        bridge.active_posterior(),
        [bridge.epoch_days(day) for day in (row.window_opens_on, row.half_worn_on, row.late_on)],
    )

    assert chances.tolist() == pytest.approx([0.2, 0.5, 0.8], abs=0.005)


@pytest.mark.django_db
def test_money_is_what_was_charged_there_and_never_made_up(as_owner, coated):
    priced = coated(on=date(2020, 6, 10))
    coated(on=date(2020, 6, 10))
    priced.jobs.update(kind="recoat", amount=Decimal(900), currency="CAD")
    refresh(priced)

    first = rows_of(as_owner)[0]
    page = as_owner.get("/figures/").content.decode()

    # Six years on, both are due already; a strip by now, of which no price is known on either.
    assert float(first["decks"]) == pytest.approx(2, abs=0.1)
    assert first["money"] == "0"
    assert "2 decks have no price to go by: the hours are counted, the money is not." in page


@pytest.mark.django_db
def test_a_price_charged_on_the_deck_counts_with_its_chance(as_owner, coated):
    deck = coated(on=date(2024, 6, 10))
    deck.jobs.update(amount=Decimal(1000), currency="CAD")
    coat(deck, on=date(2026, 6, 10))
    deck.jobs.filter(finished_on=date(2026, 6, 10)).update(amount=Decimal(800), currency="CAD")
    refresh(deck)

    rows = rows_of(as_owner)

    money = sum(float(row["money"]) for row in rows)
    decks = sum(float(row["decks"]) for row in rows)
    assert money == pytest.approx(decks * 800, rel=0.03)
    assert {row["estimated"] for row in rows} == {"0"}


@pytest.mark.django_db
def test_an_estimate_by_the_price_list_is_marked_as_one(as_owner, coated, capsys):
    deck = coated(on=date(2025, 6, 10), area_m2=Decimal(20))
    prices = PriceListFactory()
    for task, amount in (("clean", 5), ("coat", 7), ("strip", 15), ("brighten", 2), ("sand", 4)):
        Rate.objects.create(price_list=prices, task=task, per="m2", amount=amount, minutes=3)

    call_command("offer", str(deck.pk), format="json")
    offered = json.loads(capsys.readouterr().out)
    work = sum(float(line["amount"]) for line in offered["lines"] if line["kind"] == "work")

    rows = rows_of(as_owner)
    page = as_owner.get("/figures/").content.decode()

    # What an offer for the deck, drafted one by one, charges for the work.
    assert float(rows[0]["decks"]) > 0.4
    assert float(rows[0]["money"]) == pytest.approx(float(rows[0]["decks"]) * work, rel=0.01)
    assert [row["estimated"] for row in rows] == [row["money"] for row in rows]
    assert "The price of 1 deck is an estimate" in page


@pytest.mark.django_db
def test_a_deck_without_a_size_has_hours_and_no_estimated_price(as_owner, coated):
    coated(on=date(2026, 6, 10), area_m2=None)

    rows = rows_of(as_owner)
    page = as_owner.get("/figures/").content.decode()

    assert sum(float(row["hours"]) for row in rows) > 0
    assert {row["money"] for row in rows} == {"0"}
    assert "1 deck has no size: the hours are those of a usual deck." in page


@pytest.mark.django_db
def test_an_empty_book_has_no_work_to_come(as_owner):
    DeckFactory()

    assert rows_of(as_owner) == []


@pytest.mark.django_db
def test_a_large_book_is_counted_once_a_day_and_the_page_says_so(
    as_owner, coated, monkeypatch: pytest.MonkeyPatch
) -> None:
    coated(on=date(2025, 5, 10))
    assert "Counted once a day" not in as_owner.get("/figures/").content.decode()
    monkeypatch.setattr("reminders.figures.keeping.LARGE_BOOK_DECKS", 0)

    first = as_owner.get("/figures/work_to_come.csv").content
    coated(on=date(2025, 6, 10))

    assert as_owner.get("/figures/work_to_come.csv").content == first
    assert "Counted once a day" in as_owner.get("/figures/").content.decode()
    tasks.refresh_forecasts_nightly()  # counts again, as it does each night
    assert as_owner.get("/figures/work_to_come.csv").content != first


@pytest.mark.django_db
def test_the_other_figures_of_a_large_book_are_counted_once_an_hour_on_the_page_and_now_in_files(
    as_owner, coated, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("reminders.figures.keeping.LARGE_BOOK_DECKS", 0)
    coated(on=date(2026, 5, 10))
    shown = page_of_figures(as_owner)
    first = as_owner.get("/figures/decks.csv").content
    coated(on=date(2026, 6, 10))

    assert "Counted once an hour" in shown
    assert page_of_figures(as_owner) == shown
    assert as_owner.get("/figures/decks.csv").content != first


def page_of_figures(browser: Browser) -> str:
    """Without what is new on each page."""
    return re.sub(r'value="\w{64}"', "", browser.get("/figures/").content.decode())
