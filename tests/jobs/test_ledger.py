"""What was agreed, done and charged per job, and its files for any ledger."""

import csv
import io
from collections.abc import Callable
from datetime import UTC, date, datetime
from decimal import Decimal
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import IntegrityError
from django.test import Client as Browser
from django.utils import timezone
from pytest_django import DjangoAssertNumQueries

from clients.models import Business, User
from jobs.models import Booking, Job, Offer
from jobs.offers import JOB_COLUMNS, OFFER_COLUMNS, JobLedger, accepted_offer_rows, done_job_rows
from tests.factories import (
    CrewFactory,
    DeckFactory,
    JobFactory,
    OfferFactory,
    OfferLineFactory,
    OfferScopeFactory,
    OfferTaxFactory,
    ProductFactory,
)
from tests.jobs import old_lists
from tests.jobs.log_page import filled, row
from tests.jobs.sent_offers import page_of
from tests.jobs.towns import add_towns

pytestmark = pytest.mark.django_db
SignIn = Callable[[User], Browser]
ACCEPTED = {
    "is_sent": True,
    "state": "accepted",
    "answered_at": datetime(2027, 5, 2, 2, 30, tzinfo=UTC),  # 23:30 of the first in Halifax
    "answered_by": "Ottilie Saltonby",
    "accepted_week": date(2027, 5, 10),
}


def done_job(**values: Any) -> Job:
    """A job by an accepted offer with two decks, of which the first has two thirds of the lines."""
    offer: Offer = OfferFactory(**ACCEPTED)
    first = OfferScopeFactory(offer=offer)
    second = OfferScopeFactory(offer=offer, position=2)
    OfferLineFactory(offer=offer, scope=first, amount=Decimal(200))
    OfferLineFactory(offer=offer, scope=second, amount=Decimal(100))
    OfferTaxFactory(offer=offer)
    booking = Booking.objects.create(
        client=offer.client,
        site=offer.site,
        offer=offer,
        crew=CrewFactory(),
        first_on=date(2027, 5, 11),
        last_on=date(2027, 5, 11),
        hours=6,
        state="done",
    )
    booking.decks.add(first.deck, second.deck)
    values = {"amount": Decimal("400.00"), "currency": "CAD", **values}
    job: Job = JobFactory(deck=first.deck, finished_on=date(2027, 5, 11), **values)
    booking.jobs.add(job)
    return job


def test_a_job_says_what_was_agreed_and_charged(business: Any) -> None:
    job = done_job()
    offer = Offer.objects.get()
    OfferFactory(
        **ACCEPTED, original=offer, site=offer.site, net=Decimal(-50), tax=0, total=Decimal(-50)
    )

    row = done_job_rows()[0]

    assert list(row) == JOB_COLUMNS
    # two thirds of 572.77 are 381.8466…; 572.77 − 50 = 522.77; by hand
    assert (row["agreed"], row["agreed_visit"]) == (Decimal("381.85"), Decimal("522.77"))
    assert (row["charged"], row["offer"], row["settled_on"]) == (job.amount, offer.reference, None)


def test_offers_and_change_orders_stand_on_the_day_of_the_business(business: Any) -> None:
    done_job()

    row = accepted_offer_rows()[0]

    assert list(row) == OFFER_COLUMNS
    assert row["accepted_on"] == date(2027, 5, 1)
    assert (row["total"], row["taxes"], row["done"]) == (Decimal("572.77"), "HST 74.71", True)
    assert accepted_offer_rows(date(2027, 5, 2)) == []
    assert len(accepted_offer_rows(date(2027, 5, 1), date(2027, 5, 1))) == 1


def test_the_office_marks_a_job_as_settled_and_takes_that_back(
    as_user: SignIn, office: User, business: Any
) -> None:
    job = done_job()
    browser = as_user(office)
    browser.post(f"/jobs/{job.pk}/settled/")
    job.refresh_from_db()
    settled, was = job.settled_on, job.payment

    browser.post(f"/jobs/{job.pk}/settled/", {"not": "1"})

    job.refresh_from_db()
    assert settled is not None
    assert (was, job.payment, job.settled_on) == ("paid", "open", None)


def test_what_is_not_settled_comes_first_on_the_page(
    as_user: SignIn, office: User, business: Any
) -> None:
    JobFactory(finished_on=date(2027, 6, 1), settled_on=date(2027, 6, 2), deck__label="Sun deck")
    JobFactory(finished_on=date(2027, 6, 3), deck__label="Of a list")
    done_job(is_unpaid=True)
    page = page_of(as_user(office), "/jobs/ledger/")

    assert page.index("$381.85") < page.index("Of a list") < page.index("Sun deck")
    assert "$400.00" in page
    assert page.count("Not noted") == 1


def test_a_job_that_is_logged_is_open_and_one_of_a_list_is_not_noted(
    as_user: SignIn, office: User, business: Any, tmp_path: Path
) -> None:
    as_user(office).post("/jobs/log/", filled(DeckFactory(), row(ProductFactory())))
    here = Job.objects.get()
    add_towns()
    old_lists.write_invoice_lines(tmp_path / "old.csv")
    call_command("import_book", str(tmp_path / "old.csv"), guess=True, stdout=StringIO())
    payments = {row["job_id"]: row["payment"] for row in done_job_rows()}

    assert payments.pop(here.pk) == "open"
    assert payments
    assert set(payments.values()) == {""}


def test_all_before_a_day_are_marked_as_paid_at_once(
    as_user: SignIn, office: User, business: Any
) -> None:
    old = [JobFactory(finished_on=date(2021, 5, day), is_unpaid=day == 2) for day in (1, 2)]
    paid = JobFactory(finished_on=date(2021, 5, 3), settled_on=date(2021, 6, 1))
    new = JobFactory(finished_on=date(2021, 6, 1), is_unpaid=True)
    answer = as_user(office).post("/jobs/ledger/paid/", {"before": "2021-06-01"}, follow=True)

    payments = {row.pk: (row.payment, row.settled_on) for row in Job.objects.all()}
    today = Business.objects.get().today(timezone.now())
    assert "2 jobs are marked as paid." in answer.content.decode()
    assert {payments[job.pk] for job in old} == {("paid", today)}
    assert payments[paid.pk] == ("paid", date(2021, 6, 1))
    assert payments[new.pk] == ("open", None)


def test_a_day_to_come_marks_nothing_as_paid(as_user: SignIn, office: User, business: Any) -> None:
    job = JobFactory(is_unpaid=True)
    answer = as_user(office).post("/jobs/ledger/paid/", {"before": "2062-06-01"})

    job.refresh_from_db()
    assert "Choose today or a day before it." in answer.content.decode()
    assert job.payment == "open"


def test_a_job_is_never_paid_and_open_at_once() -> None:
    with pytest.raises(IntegrityError, match="job_unpaid_is_not_settled"):
        JobFactory(is_unpaid=True, settled_on=date(2027, 6, 2))


def test_the_crew_sees_no_money(as_user: SignIn, crew: User, business: Any) -> None:
    job = done_job()

    assert "$400.00" not in page_of(as_user(crew), f"/jobs/{job.pk}/")
    assert as_user(crew).get("/jobs/ledger/").status_code == 403


def test_many_jobs_take_no_more_queries_than_one(
    business: Any, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    for _ in range(5):
        done_job()

    with django_assert_max_num_queries(7):
        assert len(JobLedger()[:50]) == 5


def test_page_and_command_give_the_same_file(as_user: SignIn, office: User, business: Any) -> None:
    done_job()
    answer = as_user(office).get("/jobs/ledger/", {"table": "offers", "format": "csv"})
    out = StringIO()
    call_command("ledger", "offers", format="csv", stdout=out)

    file = csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig")))
    assert list(file) == list(csv.DictReader(io.StringIO(out.getvalue())))


def test_a_day_that_is_none_is_named(business: Any) -> None:
    with pytest.raises(CommandError, match="is no day"):
        call_command("ledger", "jobs", "--from", "May")
