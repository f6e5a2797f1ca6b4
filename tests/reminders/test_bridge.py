"""Rows of the book → the core → stored forecasts."""

from datetime import UTC, date, datetime, timedelta
from math import log
from random import Random

import numpy as np
import pytest
from django.db import DatabaseError

from clients.events import decks_changed
from clients.models import Deck, LocalNormals
from jobs.models import Job
from reminders import actions, forecast
from reminders.forecast import FACTORS
from reminders.forecasting import bridge, storing
from reminders.forecasting.bridge import read_newest_coats
from reminders.models import Forecast
from tests.factories import (
    CoatFactory,
    DeckFactory,
    JobFactory,
    ProductFactory,
    PropertyFactory,
    VisitFactory,
)
from tests.reminders.conftest import NOW, TODAY, coat, refresh

MONTH = 30.4375  # days


def months_between(early: date, late: date) -> float:
    return (late - early).days / MONTH


def test_the_reference_deck_is_due_after_twelve_to_sixteen_clock_months_but_for_its_climate(coated):
    """Common practice, no source: clean and recoat every 12 to 16 months, read as 20 % due at 12
    and 50 % at 16."""
    deck = coated(on=date(2025, 6, 1), kind="recoat")

    coats = read_newest_coats([deck.pk], today=TODAY)
    rate = forecast.seasonal_rate(*bridge.monthly_climate(coats))
    clock = forecast.SeasonalClock(rate)
    read = [
        float(
            clock.reading(bridge.epoch_days(day))[0]
            - clock.reading(bridge.epoch_days(date(2025, 6, 1)))[0]
        )
        for day in (deck.forecast.window_opens_on, deck.forecast.half_worn_on)
    ]
    # Lunenburg has a seventh less sun than the reference climate (14.3 MJ/m² a day); without the
    # place's own factors the window is the one of common practice, with them it is about a tenth
    # longer.
    place = deck.forecast.contributions["sun"] + deck.forecast.contributions["wet_days"]
    assert set(deck.forecast.contributions) == {"sun", "wet_days"}
    assert read[1] - place == pytest.approx(16, abs=0.1)
    assert read[0] * (read[1] - place) / read[1] == pytest.approx(12, abs=0.1)
    assert 12 <= read[0] < 16 < read[1] < 18
    assert deck.forecast.log_sd == pytest.approx(log(16 / 12) / 0.8416, rel=0.05)


@pytest.mark.parametrize("seed", range(4))
def test_the_coat_build_of_a_forecast_is_that_of_the_history(coated, seed):
    """On jobs thrown together at random."""
    chance = Random(seed)
    finish = ProductFactory()
    stripper = ProductFactory(kind="stripper", finish_class="")
    deck = coated(on=date(2020, 1, 1))
    for _ in range(12):
        kind = chance.choice(["strip", "recoat", "recoat", "clean", "repair"])
        job = JobFactory(
            deck=deck,
            kind=kind,
            finished_on=date(2020, 1, 1) + timedelta(days=30 * chance.randrange(40)),
        )
        for position in range(chance.randrange(3)):
            CoatFactory(
                job=job,
                position=position + 1,
                coats=chance.randrange(1, 4),
                surfaces=chance.choice([["boards"], ["boards", "rails"], ["rails"]]),
                product=chance.choice([finish, finish, stripper]),
            )
    refresh(deck)

    assert (
        Forecast.objects.get(deck=deck).coat_build
        == Job.objects.coat_build_by_deck([deck.pk])[deck.pk]
    )


def test_a_deck_sealed_in_autumn_lasts_longer_by_the_calendar_than_one_sealed_in_spring(coated):
    """The clock runs fast in summer: the first months of a coat sealed in October are slow ones."""
    spring = coated(on=date(2025, 4, 15), kind="recoat")
    autumn = coated(on=date(2025, 10, 15), kind="recoat")

    early = months_between(date(2025, 4, 15), spring.forecast.window_opens_on)
    late = months_between(date(2025, 10, 15), autumn.forecast.window_opens_on)

    rate = forecast.seasonal_rate(
        *bridge.monthly_climate(read_newest_coats([spring.pk], today=TODAY))
    )[0]
    assert rate[5] > 1.2 > 0.8 > rate[11]  # June against December
    assert late > early
    assert abs(spring.forecast.median_months - autumn.forecast.median_months) < 0.01


def test_the_southern_hemisphere_runs_half_a_year_behind(coated, business):
    """Mirrored places: the same latitude south has its summer in January."""
    north = PropertyFactory(latitude=44.4, longitude=-64.3)
    south = PropertyFactory(
        latitude=-44.4, longitude=171.2, country="NZ", time_zone="Pacific/Auckland"
    )
    decks = [DeckFactory(site=place) for place in (north, south)]
    for deck in decks:
        coat(deck, on=date(2025, 5, 1))

    rates = forecast.seasonal_rate(
        *bridge.monthly_climate(read_newest_coats([deck.pk for deck in decks], today=TODAY))
    )

    assert rates[0].argmax() in {4, 5, 6}
    assert rates[1].argmax() in {10, 11, 0}
    assert np.corrcoef(rates[0], np.roll(rates[1], 6))[0, 1] > 0.9
    refresh(*decks)
    assert (
        Forecast.objects.get(deck=decks[1]).window_opens_on
        > Forecast.objects.get(deck=decks[0]).window_opens_on
    )


def predicted(coats) -> forecast.Prediction:
    """What the core says of these coats."""
    core = bridge.core_coats(coats, today=TODAY)
    return forecast.predict(core, bridge.active_posterior(), bridge.epoch_days(TODAY))


def test_the_stored_row_is_what_the_core_says(coated):
    deck = coated(on=date(2025, 9, 10), roof_percent=40, traffic="heavy", salt="spray")

    coats = read_newest_coats([deck.pk], today=TODAY)
    said = predicted(coats)

    row = Forecast.objects.get(deck=deck)
    assert bridge.epoch_days(row.half_worn_on) == np.floor(said.due_by[0])
    assert row.chance_worn == pytest.approx(said.chance_worn_today[0])
    assert row.model_version == said.version
    assert row.contributions == pytest.approx(
        {
            name: round(months, 1)
            for name, months in zip(FACTORS, said.contributions[0], strict=True)
            if abs(months) >= 0.05
        },
        abs=0.051,
    )
    assert row.contributions["roof"] > 0 > row.contributions["traffic"]
    assert (row.computed_on, row.computed_at) == (TODAY, NOW)


def test_the_months_of_all_reasons_add_up_to_the_difference_from_the_reference_deck(coated):
    deck = coated(
        roof_percent=60, summer_shade_percent=30, species="ipe", litter="heavy", pool=True
    )

    row = deck.forecast

    said = predicted(read_newest_coats([deck.pk], today=TODAY))
    assert sum(row.contributions.values()) == pytest.approx(
        said.due_months[0] - row.reference_months, abs=0.6
    )


def test_a_newer_coat_takes_the_place_of_the_older(coated):
    deck = coated(on=date(2024, 6, 1))
    newer = coat(deck, on=date(2026, 6, 1))

    refresh(deck)

    row = Forecast.objects.get(deck=deck)
    assert row.job == newer
    assert row.half_worn_on > date(2027, 1, 1)
    assert row.coat_build == 4


def test_the_coat_build_counts_from_the_last_strip(coated):
    deck = coated(on=date(2018, 6, 1))
    coat(deck, on=date(2019, 6, 1))
    coat(deck, on=date(2023, 6, 1), kind="strip")
    coat(deck, on=date(2025, 6, 1))

    refresh(deck)

    assert Forecast.objects.get(deck=deck).coat_build == 4


def test_a_deck_without_a_coating_job_has_no_forecast(coated):
    deck = coated()
    Job.objects.filter(deck=deck).update(kind="clean")

    assert refresh(deck) == 0

    assert not Forecast.objects.filter(deck=deck).exists()


def test_an_archived_deck_loses_its_forecast(coated):
    deck = coated()
    type(deck).objects.filter(pk=deck.pk).update(archived_at=NOW)

    refresh(deck)

    assert not Forecast.objects.filter(deck=deck).exists()


def test_a_coat_whose_product_nobody_wrote_down_counts_as_the_reference(business):
    deck = DeckFactory()
    JobFactory(deck=deck, kind="recoat", finished_on=date(2026, 6, 1))

    refresh(deck)

    row = Forecast.objects.get(deck=deck)
    assert "finish" not in row.contributions
    assert row.coat_build == 0


def test_stripper_and_rails_do_not_count_as_the_coat_on_the_boards(coated):
    deck = coated(on=date(2025, 9, 10))
    job = deck.jobs.get()
    plain = deck.forecast.due_on
    coat_of(job, 2, kind="stripper", finish_class="")
    coat_of(job, 3, surfaces=["rails"], finish_class="solid_film")

    refresh(deck)

    assert Forecast.objects.get(deck=deck).due_on == plain


def coat_of(job, position, surfaces=("boards",), **product):
    from tests.factories import CoatFactory

    return CoatFactory(
        job=job, position=position, surfaces=[*surfaces], product=ProductFactory(**product)
    )


def test_a_job_and_a_visit_of_tomorrow_across_the_date_line_do_not_stop_the_refresh(coated):
    deck = coated(on=date(2025, 6, 1))
    coat(deck, on=TODAY + timedelta(days=1))
    VisitFactory(deck=deck, visited_on=TODAY + timedelta(days=2))

    refresh(deck)

    row = Forecast.objects.get(deck=deck)
    assert row.chance_worn == pytest.approx(0, abs=1e-6)
    assert row.sound_on is None


def test_a_coat_of_the_nineteen_fifties_is_long_past_due_and_breaks_nothing(coated):
    deck = coated(on=date(1950, 1, 1))

    row = deck.forecast

    assert row.half_worn_on < date(1953, 1, 1)
    assert row.chance_worn == pytest.approx(1)


def test_wet_days_that_the_owner_entered_stand_in_place_of_the_estimate(coated):
    deck = coated(on=date(2026, 5, 1))
    dry = [1.0] * 12
    LocalNormals.objects.create(
        town="Lunenburg",
        region="Nova Scotia",
        country="CA",
        wet_days=dry,
        source="the harbour's own gauge",
    )

    refresh(deck)

    row = Forecast.objects.get(deck=deck)
    assert bridge.monthly_climate(read_newest_coats([deck.pk], today=TODAY))[1][0].tolist() == dry
    assert row.contributions["wet_days"] > 1


def test_the_book_is_refreshed_in_few_queries(coated, django_assert_max_num_queries):
    for _ in range(6):
        coated()

    with django_assert_max_num_queries(14):
        assert actions.refresh_forecasts(today=TODAY, now=NOW) == 6


def test_a_small_chunk_gives_the_same_forecasts(coated, monkeypatch):
    for year in range(2019, 2026):
        coated(on=date(year, 6, 1), roof_percent=year - 2000)
    actions.refresh_forecasts(today=TODAY, now=NOW)
    whole = list(
        Forecast.objects.order_by("deck_id").values_list("deck_id", "due_on", "contributions")
    )
    monkeypatch.setattr(storing, "DECKS_A_TRANSACTION", 3)

    assert actions.refresh_forecasts(today=TODAY, now=NOW) == 7

    assert (
        list(Forecast.objects.order_by("deck_id").values_list("deck_id", "due_on", "contributions"))
        == whole
    )


@pytest.mark.django_db(transaction=True)
def test_a_whole_book_is_refreshed_in_two_lanes_each_deck_once(coated, monkeypatch):
    decks = [coated(on=date(year, 6, 1)) for year in range(2019, 2026)]
    archived = decks.pop(3)
    Deck.objects.filter(pk=archived.pk).update(archived_at=NOW)
    days = Forecast.objects.exclude(deck=archived).order_by("deck").values_list("deck", "due_on")
    before = list(days)
    monkeypatch.setattr(storing, "DECKS_A_TRANSACTION", 2)

    assert actions.refresh_forecasts(today=TODAY, now=NOW) == 6

    assert list(days) == before
    assert not Forecast.objects.filter(deck=archived).exists()


def test_a_refresh_changes_the_row_that_is_there(coated):
    deck = coated()
    before = Forecast.objects.get(deck=deck)
    later = NOW + timedelta(days=30)

    actions.refresh_forecasts(deck_ids=[deck.pk], today=later.date(), now=later)

    row = Forecast.objects.get(deck=deck)
    assert row.pk == before.pk
    assert row.computed_on > before.computed_on


def test_jobs_that_change_take_their_forecasts_along(business):
    deck = DeckFactory()
    coat(deck, on=date(2026, 6, 1))

    decks_changed.send(Job, deck_ids=[deck.pk], now=NOW)

    assert Forecast.objects.get(deck=deck).job == deck.jobs.get()


def test_a_refresh_that_breaks_off_leaves_the_old_forecast(coated, monkeypatch):
    deck = coated()
    before = Forecast.objects.get(deck=deck)
    later = datetime(2026, 12, 1, tzinfo=UTC)
    monkeypatch.setitem(storing.FORECAST_COLUMNS, "chance_worn", "no_such_type")

    with pytest.raises(DatabaseError):
        actions.refresh_forecasts(deck_ids=[deck.pk], today=later.date(), now=later)

    assert Forecast.objects.get(deck=deck).computed_on == before.computed_on
