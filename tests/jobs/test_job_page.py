"""The page of a job: the doubts it states, the cautions and the note on care."""

from collections.abc import Callable
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from freezegun import freeze_time

from clients.models import Business, Deck, User
from jobs.models import Job
from jobs.work import STRIPPER_CAUTION
from jobs.work.care_times import care_note
from tests.factories import (
    BatchFactory,
    CoatFactory,
    DeckFactory,
    JobFactory,
    ProductFactory,
    VisitFactory,
)

pytestmark = pytest.mark.django_db
AsUser = Callable[[User], Client]


def said(client: Client, job: Job) -> list[str]:
    return client.get(f"/jobs/{job.pk}/").context["doubts"]


def job_with(
    deck: Deck | None = None,
    *,
    kind: str = "recoat",
    on: date = date(2026, 6, 10),
    **values: object,
) -> Job:
    visit = VisitFactory(deck=deck) if deck else VisitFactory()
    return JobFactory(deck=visit.deck, kind=kind, finished_on=on, visit=visit, **values)


def test_a_job_done_as_the_data_sheets_say_raises_no_doubt(as_owner: Client) -> None:
    job = job_with(air_c=Decimal("20"), humidity_percent=50)
    CoatFactory(job=job, coats=2, litres=Decimal(4))

    assert said(as_owner, job) == []


def test_dew_that_may_have_settled_is_said(as_owner: Client) -> None:
    """20 °C at 85 % has its dew point at 17.4 °C (ASHRAE formulas, psychrolib), so 2.6 °C below the
    air."""
    job = job_with(air_c=Decimal("20"), humidity_percent=85)

    [doubt] = said(as_owner, job)

    assert "only 2.6 °C above the dew point" in doubt
    Business.objects.update(units="us")
    assert "only 4.7 °F above the dew point" in said(as_owner, job)[0]


def test_a_gap_of_three_degrees_is_enough(as_owner: Client) -> None:
    assert (
        said(as_owner, job_with(air_c=Decimal("10"), humidity_percent=80)) == []
    )  # 6.7 °C: a gap of 3.3 °C


def test_a_spread_rate_far_from_the_data_sheet_is_said_in_both_directions(as_owner: Client) -> None:
    thin = job_with()
    thick = job_with()
    CoatFactory(job=thin, product__name="Tidewood", litres=Decimal("1.5"))
    CoatFactory(job=thick, litres=Decimal("40"))

    [doubt] = said(as_owner, thin)
    assert doubt.startswith(
        "Tidewood went 24 m²/L a coat; its data sheet says 9 m²/L. That is a thin coat"
    )
    assert "a lot of product" in said(as_owner, thick)[0]


@pytest.mark.parametrize(
    ("old", "new", "why"),
    [
        ("penetrating_oil", "solid_film", "a film peels off boards that were oiled"),
        ("clear_film", "penetrating_oil", "cannot get through a film"),
        ("penetrating_oil", "tinted", "soaks in like the old one"),
        ("tinted", "tinted", "of the same class and base"),
    ],
)
def test_another_finish_than_the_one_on_the_deck_is_said(
    as_owner: Client, old: str, new: str, why: str
) -> None:
    deck = DeckFactory()
    CoatFactory(job=job_with(deck, kind="strip", on=date(2025, 6, 1)), product__finish_class=old)
    job = job_with(deck)
    CoatFactory(job=job, product__finish_class=new)

    assert why in said(as_owner, job)[0]


def test_the_same_finish_again_or_a_strip_first_is_fine(as_owner: Client) -> None:
    deck = DeckFactory()
    first = CoatFactory(job=job_with(deck, kind="strip", on=date(2024, 6, 1)))
    again = job_with(deck, on=date(2025, 6, 1))
    CoatFactory(job=again, product=first.product)
    strip = job_with(deck, kind="strip")
    CoatFactory(job=strip, product__finish_class="solid_film", coats=2)

    assert said(as_owner, again) == []
    assert said(as_owner, strip) == []


def test_a_seventh_coat_means_that_the_next_job_is_a_strip_with_two_applications(
    as_owner: Client,
) -> None:
    """Common practice, no source."""
    deck = DeckFactory()
    oil = ProductFactory(spread_m2_per_l=None)
    for year in (2023, 2024, 2025):
        CoatFactory(job=job_with(deck, on=date(year, 6, 1)), product=oil, coats=2)
    job = job_with(deck)
    CoatFactory(job=job, product=oil, coats=1)

    [doubt] = said(as_owner, job)

    assert doubt.startswith(
        "7 coats since the last strip, more than 6: the next job is a strip, with 2 full app"
    )


def test_one_application_of_stripper_on_more_than_six_coats_is_said(as_owner: Client) -> None:
    deck = DeckFactory()
    CoatFactory(job=job_with(deck, on=date(2024, 6, 1)), coats=8, product__spread_m2_per_l=None)
    strip = job_with(deck, kind="strip")
    CoatFactory(job=strip, product__kind="stripper", product__finish_class="", coats=1, litres=None)

    assert said(as_owner, strip) == [
        "8 coats had to come off: that takes two full applications of stripper. One was logged."
    ]


def test_weather_outside_the_data_sheet_an_expired_batch_and_a_missing_grade_are_said(
    as_owner: Client,
) -> None:
    batch = BatchFactory(
        code="TW-9", expires_on=date(2026, 1, 31), product__minimum_c=10, product__name="Tidewood"
    )
    job = JobFactory(kind="recoat", finished_on=date(2026, 6, 10), air_c=Decimal("6.5"))
    CoatFactory(job=job, product=batch.product, batch=batch)

    assert [doubt[:38] for doubt in said(as_owner, job)] == [
        "6.5 °C is colder than Tidewood allows ",
        "Batch TW-9 of Tidewood expired on Jan ",
        "No as-found grade was given. The forec",
    ]


def test_stripping_cautions_stand_on_the_page_where_a_strip_is_chosen(as_owner: Client) -> None:
    text = as_owner.get("/jobs/log/", {"deck": DeckFactory().pk}).content.decode()

    assert STRIPPER_CAUTION in text
    assert 'data-shown-by="kind:strip"' in text


def test_the_care_note_takes_the_slowest_finish_in_the_local_time_of_the_property() -> None:
    """24 h before walking and 5 days before furniture where the data sheet is silent:
    common practice, no source."""
    deck = DeckFactory(site__time_zone="America/Halifax")
    job = JobFactory(
        deck=deck, finished_on=date(2026, 6, 10), created_at=datetime(2026, 6, 10, 19, tzinfo=UTC)
    )
    CoatFactory(job=job, product__walk_hours=30, product__furniture_days=Decimal("2.5"))
    CoatFactory(job=job, product__walk_hours=None, product__furniture_days=None)

    note = care_note(job)

    assert note.walk_at.isoformat() == "2026-06-11T22:00:00-03:00"
    assert note.furniture_at.isoformat() == "2026-06-15T16:00:00-03:00"
    assert (note.is_to_the_hour, note.is_from_data_sheet) == (True, False)


def test_drying_hours_pass_through_the_change_of_the_clocks() -> None:
    """Halifax goes back from -03:00 to -04:00 on 1 November 2026 (IANA tz database):
    24 hours later reads one less."""
    deck = DeckFactory(site__time_zone="America/Halifax")
    job = JobFactory(
        deck=deck, finished_on=date(2026, 10, 31), created_at=datetime(2026, 10, 31, 19, tzinfo=UTC)
    )
    CoatFactory(job=job, product__walk_hours=24, product__furniture_days=5)

    assert care_note(job).walk_at.isoformat() == "2026-11-01T15:00:00-04:00"


def test_a_job_logged_later_counts_from_the_end_of_its_day_and_the_note_goes_when_it_is_over(
    as_owner: Client,
) -> None:
    job = JobFactory(
        finished_on=date(2026, 6, 10), created_at=datetime(2026, 6, 12, 12, tzinfo=UTC)
    )
    CoatFactory(job=job)

    with freeze_time("2026-06-12 12:00:00"):
        text = as_owner.get(f"/jobs/{job.pk}/").content.decode()
    assert "<strong>Jun 12, 2026</strong></time>" in text
    assert "<strong>Jun 16, 2026</strong></time>" in text
    with freeze_time("2026-07-12 12:00:00"):
        assert "Tell the client" not in as_owner.get(f"/jobs/{job.pk}/").content.decode()


def test_the_page_needs_few_queries_however_many_products_and_earlier_jobs(
    as_owner: Client, django_assert_max_num_queries: Callable[[int], Any]
) -> None:
    deck = DeckFactory()
    for year in range(2015, 2026):
        CoatFactory(job=JobFactory(deck=deck, finished_on=date(year, 6, 1)))
    job = job_with(deck)
    for _ in range(6):
        CoatFactory(job=job, batch=BatchFactory())

    with django_assert_max_num_queries(16):
        assert as_owner.get(f"/jobs/{job.pk}/").status_code == 200
