"""How long each of the crew was at a job: asked for, kept, shown beside the plan, summed."""

from collections.abc import Callable, Iterator
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from freezegun import freeze_time

from clients.models import Business, Deck, User
from jobs.diary.booked_work import planned_hours
from jobs.forms.worked_hours import planned_share
from jobs.models import Booking, Crew, Job, WorkedHours
from reminders.figures.crew_load import read_crew_load
from tests.factories import (
    CrewFactory,
    DeckFactory,
    JobFactory,
    OfferFactory,
    OfferScopeFactory,
    UserFactory,
)
from tests.jobs.diary_days import MONDAY, book_visit, text
from tests.jobs.log_page import URL, filled

pytestmark = pytest.mark.django_db
AsUser = Callable[[User], Client]


@pytest.fixture(autouse=True)
def _monday_evening() -> Iterator[None]:
    with freeze_time("2027-06-07 21:00:00", ignore=["urllib3"]):
        yield


@pytest.fixture
def till(business: Business) -> User:
    return UserFactory(username="till", first_name="Till Sandreef", role="crew")


@pytest.fixture
def terns(crew: User, till: User) -> Crew:
    row = CrewFactory(name="Tern crew", hours_a_day=Decimal(16), works_on=list(range(1, 8)))
    row.people.set([crew, till])
    return row


@pytest.fixture
def deck(business: Business) -> Deck:
    return DeckFactory(label="Back deck")


@pytest.fixture
def booking(terns: Crew, deck: Deck) -> Booking:
    return book_visit(site=deck.site, decks=[deck], hours=Decimal(7), first_day=MONDAY, crew=terns)


def hours_of(job: Job) -> dict[str, Decimal]:
    return {row.person.username: row.hours for row in job.hours_worked.all()}


def logged(client: Client, deck: Deck, **values: Any) -> Job:
    answer = client.post(URL, filled(deck, finished_on="2027-06-07", **values))
    assert answer.status_code == 302, answer.context["page"].hours.errors
    return Job.objects.latest("id")


@pytest.mark.parametrize(
    ("planned", "people", "share"),
    [("7", 2, "3.5"), ("8", 3, "2.75"), ("0.1", 2, "0.25"), ("6", 1, "6")],
)
def test_what_was_planned_is_shared_to_a_quarter_of_an_hour(
    planned: str, people: int, share: str
) -> None:
    assert planned_share(Decimal(planned), [User()] * people) == Decimal(share)
    assert planned_share(None, [User()]) is None


def test_the_crews_people_are_asked_and_what_they_say_stands_beside_what_was_planned(
    as_user: AsUser, crew: User, till: User, booking: Booking, deck: Deck
) -> None:
    client = as_user(crew)
    asked = {"deck": deck.pk, "booking": booking.pk}
    assert "As planned: 3.5 h each" in text(client.get(URL, asked))

    hours = {f"hours-{till.pk}": "4 1/4", "hours-as_planned": "on"}
    job = logged(client, deck, booking=booking.pk, **hours)

    assert hours_of(job) == {crew.username: Decimal("3.5"), "till": Decimal("4.25")}
    page = text(client.get(f"/jobs/{job.pk}/"))
    assert "Till Sandreef</bdi> 4.25 h" in page
    assert "7.75 of 7 h planned" in page


def test_nobody_is_said_to_have_worked_what_nobody_wrote(
    as_user: AsUser, crew: User, booking: Booking, deck: Deck
) -> None:
    client = as_user(crew)
    job = logged(client, deck, booking=booking.pk)

    assert hours_of(job) == {}
    assert "7 h planned" in text(client.get(f"/jobs/{job.pk}/"))


def test_hours_are_put_right_and_taken_away_and_a_wrong_one_names_its_person(
    as_user: AsUser, crew: User, till: User, terns: Crew, deck: Deck
) -> None:
    client = as_user(crew)
    job = logged(client, deck, **{f"hours-{till.pk}": "4", f"hours-{crew.pk}": "4"})
    terns.people.remove(till)  # the page still asks for who has hours
    address = f"/jobs/{job.pk}/edit/"
    assert f'name="hours-{till.pk}"' in text(client.get(address))

    wrong = filled(deck, finished_on="2027-06-07", **{f"hours-{till.pk}": "-2"})
    answer = client.post(address, wrong)
    assert "At least a quarter of an hour" in text(answer)
    assert "<details data-tells open> <summary>Hours" in text(answer)
    right = filled(
        deck, finished_on="2027-06-07", **{f"hours-{till.pk}": "5", f"hours-{crew.pk}": ""}
    )
    assert client.post(address, right).status_code == 302
    assert hours_of(job) == {"till": Decimal(5)}
    without = filled(deck, finished_on="2027-06-07", notes="A page of an older release")
    assert client.post(address, without).status_code == 302
    assert hours_of(job) == {"till": Decimal(5)}


def test_a_deck_has_its_share_of_the_hours_that_were_booked(deck: Deck, terns: Crew) -> None:
    """By the hours offered for each deck; 9 h with 4 and 2 h of work are 6 and 3 h."""
    steps = DeckFactory(site=deck.site, label="Front steps")
    offer = OfferFactory(is_sent=True, site=deck.site)
    for row, hours in ((deck, 4), (steps, 2)):
        OfferScopeFactory(offer=offer, deck=row, hours=Decimal(hours))
    both = book_visit(
        site=deck.site, decks=[deck, steps], hours=Decimal(9), first_day=MONDAY, crew=terns
    )
    assert planned_hours(both, deck) == Decimal("4.50")
    Booking.objects.filter(pk=both.pk).update(offer=offer)
    both.refresh_from_db()
    assert [planned_hours(both, row) for row in (deck, steps)] == [Decimal(6), Decimal(3)]


def test_figures_sum_what_was_worked_in_each_month(business: Business, crew: User) -> None:
    for day, hours in (("2027-06-01", "3.5"), ("2027-06-05", "4"), ("2027-05-31", "2")):
        job = JobFactory(finished_on=day)
        WorkedHours.objects.create(job=job, person=crew, hours=Decimal(hours))
    of_season = JobFactory(finished_from="2027-03-01", finished_on="2027-05-31")
    WorkedHours.objects.create(job=of_season, person=crew, hours=Decimal(9))

    rows = read_crew_load(today=MONDAY, business=business).rows

    worked = {str(row["month"]): row["worked"] for row in rows if row["worked"]}
    assert worked == {"2027-05-01": Decimal(2), "2027-06-01": Decimal("7.5")}
