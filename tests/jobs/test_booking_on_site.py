"""A booking where the work is done: the notes of the crew, and jobs to log that it fills in and
that close it."""

from collections.abc import Callable, Iterator
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client as Browser
from freezegun import freeze_time

from clients.models import User
from jobs.models import Booking, Crew, Job
from tests.browser_form import opened_form, send
from tests.factories import (
    CrewFactory,
    DeckFactory,
    OfferFactory,
    OfferLineFactory,
    OfferScopeFactory,
    ProductFactory,
)
from tests.jobs.diary_days import MONDAY, NOW, booked, move_visit, said, text
from tests.jobs.log_page import filled, row

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _clock() -> Iterator[None]:
    with freeze_time(NOW):
        yield


@pytest.fixture
def tern(owner: User) -> Crew:
    return CrewFactory(name="Tern crew", hours_a_day=8)


@pytest.fixture
def offered(tern: Crew) -> Booking:
    """A booking for two decks by an offer, today: 18 m² of boards and a smaller landing."""
    back = DeckFactory(label="Back deck")
    steps = DeckFactory(label="Steps", site=back.site)
    offer = OfferFactory(
        site=back.site, net=Decimal("400"), tax=Decimal("60.01"), total=Decimal("460.01")
    )
    oil = ProductFactory(name="Tidewood Deck Oil")
    wash = ProductFactory(name="Foam Wash", kind="cleaner", finish_class="")
    buying = [
        {"product": oil.pk, "litres": "4.1"},
        {"product": wash.pk, "name": "Foam Wash", "litres": "3.005"},
        {"product": None, "words": "abrasive discs", "pieces": 4},
    ]
    for deck, amount, work in ((back, "300", "strip"), (steps, "100", "recoat")):
        stripper = 1 if work == "strip" else 0
        scope = OfferScopeFactory(
            offer=offer,
            deck=deck,
            work=work,
            stripper_applications=stripper,
            product=oil,
            coats=2,
            buying=buying,
            litres=Decimal("4.1"),
        )
        OfferLineFactory(offer=offer, scope=scope, amount=Decimal(amount))
    return booked(date(2027, 6, 2), offer=offer, decks=[back, steps])


def test_a_booking_becomes_a_job_to_log_with_everything_filled_in(
    as_owner: Browser, offered: Booking
) -> None:
    back = offered.decks.get(label="Back deck")
    assert (
        f"/jobs/log/?deck={back.pk}&amp;booking={offered.pk}"
        in as_owner.get(f"/diary/{offered.pk}/").content.decode()
    )

    page = as_owner.get(f"/jobs/log/?deck={back.pk}&booking={offered.pk}").context["page"]

    assert {name: page.job[name].value() for name in ("kind", "crew", "finished_on", "amount")} == {
        "kind": "strip",
        "crew": "Tern crew",
        "finished_on": date(2027, 6, 2),
        "amount": Decimal("345.01"),
    }
    rows = [
        (
            form["product"].value(),
            form["colour"].value(),
            form["coats"].value(),
            form["litres"].value(),
            form["litres"].help_text,
        )
        for form in page.rows
    ]
    wash, oil = page.shelf.products.values()  # by name
    assert rows == [
        (str(oil.pk), "Driftwood", 2, None, "4.1 L planned"),
        (str(wash.pk), None, 1, None, "3 L planned"),
    ]


def test_litres_are_planned_until_somebody_measures_them(
    as_owner: Browser, offered: Booking
) -> None:
    back = offered.decks.get(label="Back deck")
    path = f"/jobs/log/?deck={back.pk}&booking={offered.pk}"
    url, fields = opened_form(as_owner, path, "coats-0-litres")
    wrong = send(as_owner, url, fields, **{"coats-0-litres": "-1"})
    assert "4.1 L planned" in wrong.content.decode()  # a mistake does not hide it

    send(as_owner, url, fields)

    job = offered.jobs.get()
    job_page = as_owner.get(f"/jobs/{job.pk}/").content.decode()
    assert set(job.coats_applied.values_list("litres", flat=True)) == {None}
    assert "4.1 L planned" in job_page
    assert "per coat measured" not in job_page

    url, fields = opened_form(as_owner, f"/jobs/{job.pk}/edit/", "coats-0-litres")
    send(as_owner, url, fields, **{"coats-0-litres": "3.8"})
    job_page = as_owner.get(f"/jobs/{job.pk}/").content.decode()
    assert "3.8 L" in job_page
    assert "4.1 L planned" not in job_page


@pytest.mark.parametrize(
    ("answer", "state"), [("done", Booking.State.DONE), ("stays", Booking.State.BOOKED)]
)
def test_a_visit_that_the_office_moved_meanwhile_is_asked_about(
    as_owner: Browser, offered: Booking, answer: str, state: str
) -> None:
    """The page was opened, perhaps without a signal, before the office moved the visit."""
    offered.decks.remove(offered.decks.get(label="Steps"))
    back = offered.decks.get()
    path = f"/jobs/log/?deck={back.pk}&booking={offered.pk}"
    url, fields = opened_form(as_owner, path, "coats-0-litres")
    move_visit(offered, first_day=date(2027, 6, 9))

    asked = send(as_owner, url, fields).content.decode()

    assert "Is the visit of" in asked
    assert "Jun 9" in asked
    assert not Job.objects.filter(deck=back).exists()
    send(as_owner, url, fields, moved_booking=answer)
    offered.refresh_from_db()
    assert offered.state == state
    assert offered.first_on == date(2027, 6, 9)
    assert Job.objects.filter(deck=back).count() == 1


def test_shares_of_the_decks_add_up_to_the_offer(as_owner: Browser, offered: Booking) -> None:
    amounts = [
        as_owner.get(f"/jobs/log/?deck={deck.pk}&booking={offered.pk}")
        .context["page"]
        .job["amount"]
        .value()
        for deck in offered.decks.all()
    ]

    # By lines 300 : 100 of 460.01 would be 345.0075 and 115.0025: half up to the cent, the rest to
    # the last.
    assert amounts == [Decimal("345.01"), Decimal("115.00")]


def test_logging_each_deck_closes_the_booking(as_owner: Browser, offered: Booking) -> None:
    oil = ProductFactory()
    back, steps = offered.decks.order_by("label")

    def log(deck: Any) -> Any:
        page = filled(deck, row(oil), booking=offered.pk, finished_on="2027-06-02")
        return as_owner.post("/jobs/log/", page, follow=True)

    first = log(back)
    assert "Still to log from this booking: Steps." in said(first)
    assert first.redirect_chain[-1][0] == f"/diary/{offered.pk}/"
    second = log(steps)

    offered.refresh_from_db()
    assert offered.state == "done"
    assert second.redirect_chain[-1][0] == f"/jobs/{steps.jobs.get().pk}/"
    assert set(offered.jobs.all()) == set(Job.objects.all())
    as_owner.post(f"/jobs/{steps.jobs.get().pk}/remove/", {"reason": "Logged on the wrong deck."})
    offered.refresh_from_db()
    assert offered.state == "booked"


def test_a_job_logged_without_the_diary_closes_the_booking_all_the_same(
    as_owner: Browser, tern: Crew
) -> None:
    booking = booked(date(2027, 6, 2))
    later = booked(MONDAY)
    washed = filled(
        booking.decks.get(), row(ProductFactory()), finished_on="2027-06-02", kind="clean"
    )
    as_owner.post("/jobs/log/", washed)
    booking.refresh_from_db()
    assert booking.state == "booked"

    for each in (booking, later):
        as_owner.post(
            "/jobs/log/", filled(each.decks.get(), row(ProductFactory()), finished_on="2027-06-02")
        )

    booking.refresh_from_db()
    later.refresh_from_db()
    assert (booking.state, later.state) == (
        "done",
        "booked",
    )  # the second was not due before Monday


@pytest.mark.parametrize("number", ["999999", "x", "9" * 30, "-1"])
def test_a_booking_that_is_none_is_passed_over_when_logging(
    as_owner: Browser, tern: Crew, number: str
) -> None:
    deck = DeckFactory()

    assert (
        as_owner.get(f"/jobs/log/?deck={deck.pk}&booking={number}").context["page"].booking is None
    )


def test_the_crew_writes_notes_and_the_calendar_stays_as_it_is(
    crew: User, as_user: Callable[[User], Browser], offered: Booking
) -> None:
    browser = as_user(crew)

    browser.post(f"/diary/{offered.pk}/notes/", {"notes": " Tap behind the shed "})
    too_long = browser.post(f"/diary/{offered.pk}/notes/", {"notes": "a" * 5_001}, follow=True)

    offered.refresh_from_db()
    assert (offered.notes, offered.sequence) == ("Tap behind the shed", 0)
    assert said(too_long)[-1:] == ["The notes are longer than 5,000 characters. Shorten them."]


def test_the_crew_sees_the_diary_and_logs_but_changes_nothing(
    crew: User, as_user: Callable[[User], Browser], offered: Booking
) -> None:
    browser = as_user(crew)

    week = text(browser.get("/diary/"))
    page = text(browser.get(f"/diary/{offered.pk}/"))

    assert "Log this job" in page
    assert not any(
        word in week + page
        for word in ("Move", "Cancel the booking", "Book work", "Price", "345.01")
    )
