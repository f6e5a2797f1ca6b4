"""Putting work into the diary: where it goes, what is refused, and that no hour is given away
twice."""

from contextlib import suppress
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from random import Random
from typing import Any

import pytest

from clients.events import work_decided
from clients.models import Business, User
from jobs.actions import bookings
from jobs.actions.bookings import NoRoomError
from jobs.models import Booking, Crew, CrewDay, Offer, OfferEvent
from tests.factories import BusinessFactory, CrewFactory, DeckFactory, OfferFactory
from tests.jobs.at_once import at_once
from tests.jobs.diary_days import book_visit, move_visit

NOW = datetime(2027, 6, 2, 12, tzinfo=UTC)  # a Wednesday
MONDAY = date(2027, 6, 7)


def book(deck: Any = None, hours: str = "6", **asked: Any) -> Booking:
    deck = deck or DeckFactory()
    usual = {"by": None, "now": NOW}
    return book_visit(site=deck.site, decks=[deck], hours=Decimal(hours), **{**usual, **asked})


def booked_hours() -> list[tuple[str, date, Decimal]]:
    rows = CrewDay.objects.filter(hours_booked__gt=0).select_related("crew")
    return [(row.crew.name, row.day, row.hours_booked) for row in rows]


@pytest.fixture
def tern(business: Business) -> Crew:
    return CrewFactory(name="Tern crew", hours_a_day=8)


@pytest.mark.django_db
def test_a_day_of_work_goes_whole_into_the_day(tern: Crew, owner: User) -> None:
    booking = book(first_day=MONDAY, by=owner)

    assert (booking.crew, booking.first_on, booking.last_on, booking.sequence) == (
        tern,
        MONDAY,
        MONDAY,
        0,
    )
    assert booking.client == booking.site.client
    assert booked_hours() == [("Tern crew", MONDAY, 6)]


@pytest.mark.django_db
def test_longer_work_takes_working_days_one_after_the_other(tern: Crew) -> None:
    book(hours="3", first_day=date(2027, 6, 11))

    booking = book(hours="17", first_day=date(2027, 6, 10))

    assert (booking.first_on, booking.last_on) == (date(2027, 6, 10), date(2027, 6, 14))
    assert [(part.crew_day.day.day, part.hours) for part in booking.days.all()] == [
        (10, 8),
        (11, 5),
        (14, 4),
    ]


@pytest.mark.django_db
def test_a_week_is_filled_where_the_crew_is_in_that_town_already_else_early(tern: Crew) -> None:
    heron = CrewFactory(name="Heron crew")
    book(DeckFactory(site__town="Chester"), hours="2", first_day=date(2027, 6, 9), crew=heron)

    near, far = (
        book(DeckFactory(site__town=town), week=date(2027, 6, 10)) for town in ("Chester", "Digby")
    )

    assert (near.crew, near.first_on) == (heron, date(2027, 6, 9))
    assert (far.crew, far.first_on) == (tern, MONDAY)


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("asked", "words"),
    [
        (
            {"first_day": date(2027, 6, 12)},
            "Tern crew does not go out on Jun 12, 2027: Not a working day.",
        ),
        ({"first_day": date(2027, 7, 1)}, "Canada Day"),
        ({"first_day": date(2027, 12, 3)}, "December is outside the season"),
        ({"first_day": date(2027, 6, 1)}, "Jun 1, 2027 is over. Choose a day from today on."),
        ({"first_day": date(2037, 6, 1)}, "more than three years ahead"),
        ({"week": date(2027, 5, 24)}, "This week is over"),
        (
            {"week": date(2027, 11, 10)},
            "The week of Nov 8, 2027 has no room for this work any more.",
        ),
        ({}, "Choose a day or a week."),
        ({"hours": "0", "first_day": MONDAY}, "how many hours"),
        ({"hours": "400", "first_day": MONDAY}, "too little on the days after it"),
    ],
)
def test_what_cannot_be_is_refused_in_words(tern: Crew, asked: dict[str, Any], words: str) -> None:
    with pytest.raises(NoRoomError) as refusal:
        book(**asked)

    assert words in str(refusal.value)
    assert not Booking.objects.exists()


@pytest.mark.django_db
def test_a_full_day_says_how_much_is_free(tern: Crew) -> None:
    book(first_day=MONDAY)

    with pytest.raises(NoRoomError, match="takes 6 h and Tern crew has 2 h free on Jun 7, 2027"):
        book(first_day=MONDAY)

    assert booked_hours() == [("Tern crew", MONDAY, 6)]


@pytest.mark.django_db
def test_somebody_who_knows_why_may_book_a_saturday(tern: Crew) -> None:
    booking = book(hours="12", first_day=date(2027, 6, 12), on_any_day=True)

    assert [(part.crew_day.day.day, part.hours) for part in booking.days.all()] == [
        (12, 8),
        (14, 4),
    ]


@pytest.mark.django_db
def test_the_same_click_twice_books_once_and_another_day_for_the_same_deck_is_refused(
    tern: Crew,
) -> None:
    deck = DeckFactory(label="Back deck")

    first = book(deck, first_day=MONDAY)

    assert book(deck, first_day=MONDAY) == first
    assert book(deck, week=MONDAY) == first
    with pytest.raises(NoRoomError, match="is booked for Jun 7, 2027 already"):
        book(deck, first_day=date(2027, 6, 8))
    assert booked_hours() == [("Tern crew", MONDAY, 6)]


@pytest.mark.django_db
def test_a_booking_tells_the_apps_above_and_the_history_of_its_offer(
    tern: Crew, owner: User
) -> None:
    told: list[Any] = []

    def hear(*, deck_ids: Any, words: str, now: datetime, **_signal: object) -> None:
        told.append((deck_ids, words, now))

    deck = DeckFactory()
    offer = OfferFactory(site=deck.site)

    work_decided.connect(hear)
    try:
        book(deck, first_day=MONDAY, offer=offer, by=owner)
    finally:
        work_decided.disconnect(hear)

    assert told == [([deck.pk], "Booked for Jun 7, 2027.", NOW)]
    event = OfferEvent.objects.get(offer=offer)
    assert (event.kind, event.note, event.by) == ("booked", "Jun 7, 2027, Tern crew", owner)


@pytest.mark.django_db
def test_decks_of_another_property_and_archived_ones_are_refused(tern: Crew) -> None:
    deck = DeckFactory()
    stranger = DeckFactory()
    usual = {"first_day": MONDAY, "by": None, "now": NOW}

    with pytest.raises(NoRoomError, match="does not stand at"):
        book_visit(site=deck.site, decks=[deck, stranger], hours=Decimal(6), **usual)
    with pytest.raises(NoRoomError, match="at least one deck"):
        book_visit(site=deck.site, decks=[], hours=Decimal(6), **usual)
    with pytest.raises(NoRoomError, match="archived"):
        book(DeckFactory(archived_at=NOW), first_day=MONDAY)


@pytest.fixture
def last_slot(transactional_db: None) -> list[Offer]:
    """One crew, one working day in the week, room for one booking; two offers want it."""
    BusinessFactory()
    CrewFactory(name="Tern crew", works_on=[1])
    return [OfferFactory(site=DeckFactory().site) for _ in range(2)]


@pytest.mark.django_db(transaction=True)
def test_two_people_want_the_last_slot_at_the_same_moment_and_one_is_told(
    last_slot: list[Offer],
) -> None:
    def accept(offer: Offer) -> Booking:
        return book(offer.site.decks.get(), week=MONDAY, offer=offer)

    for _ in range(5):  # so that the two meet in different ways
        outcomes = at_once(*[lambda offer=offer: accept(offer) for offer in last_slot])

        refused = [each for each in outcomes if isinstance(each, NoRoomError)]
        assert len(refused) == 1
        assert "The week of Jun 7, 2027 has no room for this work any more." in str(refused[0])
        assert Booking.objects.count() == 1
        assert booked_hours() == [("Tern crew", MONDAY, 6)]
        Booking.objects.all().delete()
        CrewDay.objects.all().delete()


@pytest.mark.django_db(transaction=True)
def test_two_clicks_on_the_same_offer_at_the_same_moment_book_it_once(
    last_slot: list[Offer],
) -> None:
    offer = last_slot[0]
    deck = last_slot[0].site.decks.get()

    outcomes = at_once(*[lambda: book(deck, week=MONDAY, offer=offer)] * 3)

    assert outcomes == [Booking.objects.get()] * 3
    assert booked_hours() == [("Tern crew", MONDAY, 6)]


@pytest.mark.django_db(transaction=True)
def test_the_database_itself_refuses_an_hour_too_many(
    last_slot: list[Offer], monkeypatch: pytest.MonkeyPatch
) -> None:
    decks = [offer.site.decks.get() for offer in last_slot]
    # As if the lock did nothing: both see the room, and only the constraint stands between them.
    monkeypatch.setattr(bookings.crew_days, "lock_crews", lambda crews: list(crews))

    outcomes = at_once(*[lambda deck=deck: book(deck, first_day=MONDAY) for deck in decks])

    assert sum(isinstance(each, Booking) for each in outcomes) == 1
    assert sum(isinstance(each, NoRoomError) for each in outcomes) == 1
    assert booked_hours() == [("Tern crew", MONDAY, 6)]


def do_anything(random: Random, decks: list[Any], crews: list[Crew]) -> None:
    """One action at random; what is refused changes nothing."""
    there = random.choice([*Booking.objects.all(), None])
    day = MONDAY + timedelta(days=random.randint(0, 11))
    crew = random.choice(crews)
    anybody: dict[str, Any] = {"booking": there, "by": None, "now": NOW}
    actions: list[Any] = [
        lambda: book(random.choice(decks), str(random.randint(1, 30)), first_day=day, crew=crew)
    ]
    if there:
        actions += [
            lambda: move_visit(first_day=day, crew=crew, why="", **anybody),
            lambda: bookings.hold_booking(why="", **anybody),
            lambda: bookings.release_booking(**anybody),
            lambda: bookings.cancel_booking(why="", **anybody),
        ]
    with suppress(bookings.BookingError):
        random.choice(actions)()


@pytest.mark.django_db
@pytest.mark.parametrize("seed", [1, 2])
def test_whatever_is_done_hours_of_days_are_those_of_their_bookings_and_never_too_many(
    tern: Crew, seed: int
) -> None:
    random = Random(seed)
    crews = [tern, CrewFactory(name="Heron crew", hours_a_day=Decimal("12.5"))]
    decks = [DeckFactory(site__town=town) for town in ["Chester", "Digby"] * 4]

    for _ in range(40):
        do_anything(random, decks, crews)

    for row in CrewDay.objects.all():
        assert row.hours_booked == sum(part.hours for part in row.bookings.all()) <= row.hours_open
    assert Booking.objects.count() > 3
    for booking in Booking.objects.all():
        parts = list(booking.days.select_related("crew_day"))
        assert sum(part.hours for part in parts) == (
            0 if booking.state == "cancelled" else booking.hours
        )
        assert {part.crew_day.crew_id for part in parts} <= {booking.crew_id}
        assert not parts or (parts[0].crew_day.day, parts[-1].crew_day.day) == (
            booking.first_on,
            booking.last_on,
        )
