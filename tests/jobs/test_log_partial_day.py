"""An old job is logged with what is known of it: the month, a season, a year; no product, no
number of coats."""

from datetime import date

import pytest
from django.urls import reverse
from freezegun import freeze_time

from clients import display
from clients.models import Business
from jobs.models import Booking, Job
from jobs.work import build_care_record, care_record_summary
from tests.factories import CoatFactory, CrewFactory, DeckFactory, JobFactory, PropertyFactory
from tests.jobs.log_page import URL, errors, filled, log, row

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _today(business):
    with freeze_time("2026-06-11 15:00"):
        yield


@pytest.mark.parametrize(
    ("year", "part", "first", "last", "words"),
    [
        ("2023", "03", date(2023, 3, 1), date(2023, 3, 31), "March 2023"),
        ("2021", "21", date(2021, 3, 1), date(2021, 5, 31), "spring 2021"),
        ("2019", "", date(2019, 1, 1), date(2019, 12, 31), "2019"),
    ],
)
def test_a_job_is_logged_with_what_is_known_of_its_day(as_owner, year, part, first, last, words):
    """A year that is written goes before the day that the page began with."""
    deck = DeckFactory()
    answer = log(as_owner, deck, known_year=year, known_part=part)
    job = Job.objects.get()
    assert (job.finished_from, job.finished_on) == (first, last)
    page = as_owner.get(answer.url).content.decode()
    assert words in page
    assert as_owner.get(f"/jobs/{job.pk}/edit/").status_code == 200
    assert words in as_owner.get(f"/decks/{deck.pk}/").content.decode()


def test_the_seasons_of_a_southern_deck_are_its_own(as_owner):
    deck = DeckFactory(site=PropertyFactory(latitude=-41.3, longitude=173.3, country="NZ"))
    log(as_owner, deck, known_year="2021", known_part="21")
    assert Job.objects.get().finished_from == date(2021, 9, 1)


def test_nothing_later_than_today_is_possible(as_owner):
    log(as_owner, DeckFactory(), known_year="2026", known_part="")
    job = Job.objects.get()
    assert (job.finished_from, job.finished_on) == (date(2026, 1, 1), date(2026, 6, 11))


@pytest.mark.parametrize(
    ("fields", "where", "said"),
    [
        ({"known_year": "2027"}, "known_year", "in the future"),
        ({"known_part": "03"}, "known_year", "Write the year too"),
        ({"known_year": "19"}, "known_year", "four digits"),
        ({"known_year": "2020", "known_part": "99"}, "known_part", "99"),
        ({"finished_on": ""}, "finished_on", ""),
    ],
)
def test_what_cannot_be_is_said_beside_its_field(as_owner, fields, where, said):
    answer = log(as_owner, DeckFactory(), **fields)
    assert said in " ".join(errors(answer)[where])
    assert not Job.objects.exists()


def edit_values(client, job, **changes):
    """The form of a job as it is shown, with changes."""
    page = client.get(f"/jobs/{job.pk}/edit/").context["page"]
    shown = {name: page.job[name].value() for name in page.job.fields}
    values = {name: value for name, value in shown.items() if value is not None}
    return filled(job.deck, **{**values, **changes})


def send_edit(client, job, **changes):
    values = edit_values(client, job, **changes)
    answer = client.post(f"/jobs/{job.pk}/edit/", values)
    assert answer.status_code == 302, errors(answer)
    job.refresh_from_db()
    return job.edtf


@pytest.mark.parametrize(
    ("first", "last", "edtf"),
    [
        (date(2023, 3, 1), date(2023, 3, 31), "2023-03"),
        (date(2021, 3, 1), date(2021, 5, 31), "2021-21"),
        (date(2019, 1, 1), date(2019, 12, 31), "2019"),
        (date(2018, 1, 1), date(2020, 12, 31), "[2018..2020]"),
        (date(2025, 6, 1), date(2025, 6, 11), "[2025-06-01..2025-06-11]"),
    ],
)
def test_a_correction_of_something_else_leaves_the_day_as_it_was(as_owner, first, last, edtf):
    job = JobFactory(finished_from=first, finished_on=last)
    assert send_edit(as_owner, job, notes="Gate sticks.") == edtf
    assert job.notes == "Gate sticks."


def test_a_day_that_is_found_later_is_written_over_the_month(as_owner):
    job = JobFactory(finished_from=date(2023, 3, 1), finished_on=date(2023, 3, 31))
    day = {"finished_on": "2023-03-31", "known_year": "", "known_part": ""}
    assert send_edit(as_owner, job, **day) == "2023-03-31"
    assert job.finished_from is None


def test_a_finish_that_nobody_knows_is_logged_as_such(as_owner):
    deck = DeckFactory()
    log(as_owner, deck, row("unknown", batch="", coats="", litres="", colour="Cedar"))
    applied = Job.objects.get().coats_applied.get()
    assert (applied.product, applied.coats, applied.colour) == (None, None, "Cedar")
    page = as_owner.get(f"/decks/{deck.pk}/").content.decode()
    assert "Product not known" in page
    assert "coats not counted" in page
    # The next job asks for its product: nobody repeats what they do not know.
    page = as_owner.get(f"{URL}?deck={deck.pk}").context["page"]
    assert not page.rows[0].initial


def test_a_batch_asks_for_its_product(as_owner):
    answer = log(as_owner, DeckFactory(), row("unknown", batch="TW-0001"))
    assert "A batch is of a product" in errors(answer)["coats-0-batch"][0]
    assert not Job.objects.exists()


def test_a_finish_that_nobody_knows_survives_a_correction(as_owner):
    applied = CoatFactory(product=None, coats=None, litres=None, colour="Cedar")
    page = as_owner.get(f"/jobs/{applied.job_id}/edit/").context["page"]
    initial = page.rows[0].initial
    assert (initial["product"], initial["coats"], initial["colour"]) == ("unknown", None, "Cedar")


def test_an_old_job_of_which_only_the_year_is_known_closes_no_booking_of_today(as_owner):
    """It was done on some day of the year, hardly on the one that is booked."""
    deck = DeckFactory()
    booking = Booking.objects.create(
        client=deck.site.client,
        site=deck.site,
        crew=CrewFactory(),
        first_on=date(2026, 6, 11),
        last_on=date(2026, 6, 11),
        hours=6,
    )
    booking.decks.add(deck)
    log(as_owner, deck, known_year="2026")
    booking.refresh_from_db()
    assert booking.state == "booked"


def test_the_care_record_of_an_old_job_invents_no_day(as_owner):
    applied = CoatFactory(
        product=None,
        coats=None,
        job__finished_from=date(2021, 3, 1),
        job__finished_on=date(2021, 5, 31),
        job__deck=DeckFactory(area_m2=None, species="unknown"),
    )
    record = build_care_record(applied.job)
    assert record.care is None
    with display.override_business(Business.objects.get()):
        lines = care_record_summary(record)
    assert "spring 2021" in lines
    assert "Product not known, Driftwood." in lines
    assert as_owner.get(reverse("jobs:care_record", args=[applied.job_id])).status_code == 200
