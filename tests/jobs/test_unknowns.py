"""What nobody knows of a job or a deck stays unknown: in rows, in the view of coats, in words."""

from datetime import date

import pytest
from django.db import IntegrityError, connection, transaction

from clients import display
from jobs.models import Coat, CoatApplied, Job
from jobs.partial_dates import DaySpan, parse_edtf
from tests.factories import BatchFactory, CoatFactory, DeckFactory, JobFactory, PropertyFactory

pytestmark = pytest.mark.django_db


def job_of(edtf: str, **values) -> Job:
    """A job of which that much of the day is known."""
    deck = values.pop("deck", None) or DeckFactory()
    span = parse_edtf(edtf, is_south=deck.site.is_south)
    return JobFactory(deck=deck, finished_from=span.from_day, finished_on=span.last, **values)


@pytest.mark.parametrize(
    ("edtf", "english", "french"),
    [
        ("2025-06-12", "Jun 12, 2025", "12 juin 2025"),
        ("2023-03", "March 2023", "mars 2023"),
        ("2021-21", "spring 2021", "printemps 2021"),
        ("2021-24", "winter 2021/22", "hiver 2021/22"),
        ("2019", "2019", "2019"),
        ("[2018..2020]", "2018 to 2020", "de 2018 à 2020"),
        ("[2018-03..2018-06]", "March 2018 to June 2018", "de mars 2018 à juin 2018"),
    ],
)
def test_a_day_is_said_as_people_say_it(business, edtf, english, french):
    job = job_of(edtf)
    with display.override_business(business):
        assert job.day_words == english
        with display.in_client_language("fr"):
            assert job.day_words == french
    assert job.edtf == edtf


def test_the_season_is_named_by_the_hemisphere_of_the_property(business):
    south = DeckFactory(site=PropertyFactory(latitude=-41.27, longitude=173.28, country="NZ"))
    job = job_of("2021-21", deck=south)
    assert (job.finished_from, job.finished_on) == (date(2021, 9, 1), date(2021, 11, 30))
    with display.override_business(business):
        assert job.day_words == "spring 2021"
    assert job_of("2021-23").span == job.span


@pytest.mark.parametrize("first", [date(2021, 6, 1), date(2021, 7, 1), date(1949, 12, 31)])
def test_the_database_refuses_a_span_that_cannot_be(first):
    with pytest.raises(IntegrityError, match="job_span_begins"), transaction.atomic():
        JobFactory(finished_from=first, finished_on=date(2021, 6, 1))


def test_a_batch_is_of_a_product():
    with pytest.raises(IntegrityError, match="coat_batch_is_of_a_product"), transaction.atomic():
        CoatFactory(product=None, batch=BatchFactory())


def test_a_coat_carries_its_span_and_what_is_not_known_of_it():
    job = job_of("2021-21")
    CoatFactory(job=job, product=None, coats=None, colour="Cedar", litres=None)
    coat = Coat.objects.get(job=job)
    assert (coat.laid_from, coat.laid_on) == (date(2021, 3, 1), date(2021, 5, 31))
    assert (coat.product_id, coat.finish_class, coat.coats) == (None, "", None)
    assert coat.is_recorded is True
    assert coat.build == 1, "a finish whose coats nobody counted is at least one"


def test_the_number_of_coats_is_known_only_if_all_were_counted():
    job = job_of("2021")
    CoatFactory(job=job, coats=2)
    CoatFactory(job=job, coats=None)
    CoatFactory(job=job, coats=4, surfaces=["rails"])
    coat = Coat.objects.get(job=job)
    assert (coat.coats, coat.build) == (None, 3)
    CoatApplied.objects.filter(job=job, coats=None).delete()
    assert Coat.objects.get(job=job).coats == 2


def test_the_coat_ends_on_the_last_possible_day_of_the_next():
    deck = DeckFactory()
    first = job_of("2019", deck=deck)
    job_of("2022-07", deck=deck, kind="recoat")
    assert Coat.objects.get(job=first).ended_on == date(2022, 7, 31)
    assert Job.objects.get(pk=first.pk).span == DaySpan.of_year(2019)


def test_the_colour_of_a_finish_without_a_name_is_found(with_words):
    job = JobFactory()
    CoatFactory(job=job, product=None, colour="Bluestone")
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT deck_id FROM jobs_searchentry WHERE document @@ 'bluestone'::tsquery"
        )
        assert cursor.fetchall() == [(job.deck_id,)]
