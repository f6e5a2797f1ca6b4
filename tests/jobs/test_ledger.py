"""What was agreed, done and charged per job, and its files for any ledger."""

import csv
import io
from collections.abc import Callable
from datetime import UTC, date, datetime
from decimal import Decimal
from io import StringIO
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.test import Client as Browser
from pytest_django import DjangoAssertNumQueries

from clients.models import User
from jobs.models import Booking, Job, Offer
from jobs.offers import JOB_COLUMNS, OFFER_COLUMNS, Ledger, accepted_offer_rows, done_job_rows
from tests.factories import (
    CrewFactory,
    JobFactory,
    OfferFactory,
    OfferLineFactory,
    OfferScopeFactory,
    OfferTaxFactory,
)
from tests.jobs.sent_offers import page_of

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
    settled = job.settled_on

    browser.post(f"/jobs/{job.pk}/settled/", {"not": "1"})

    job.refresh_from_db()
    assert settled is not None
    assert job.settled_on is None


def test_what_is_not_settled_comes_first_on_the_page(
    as_user: SignIn, office: User, business: Any
) -> None:
    JobFactory(finished_on=date(2027, 6, 1), settled_on=date(2027, 6, 2), deck__label="Sun deck")
    done_job()
    page = page_of(as_user(office), "/jobs/ledger/")

    assert page.index("$381.85") < page.index("Sun deck")
    assert "$400.00" in page


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
        assert len(Ledger()[:50]) == 5


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
