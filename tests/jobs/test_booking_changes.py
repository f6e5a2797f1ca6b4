"""Moving, holding, releasing and calling off:
the crew's hours, and what the client is told each time."""

from collections.abc import Iterator
from datetime import UTC, date, datetime
from decimal import Decimal
from email import message_from_bytes
from email.policy import default
from typing import Any

import pytest
from icalendar import Calendar

from clients.messaging.channels.email import SenderIdentity, compose_email
from clients.messaging.models import Message, ToDo
from clients.messaging.outbox.permission import reasons_not_to_send
from clients.messaging.suppression import suppress_address
from clients.models import Business, Channel, User
from jobs.actions import bookings
from jobs.actions.bookings import BookingError, NoRoomError
from jobs.models import Booking, Crew, CrewDay
from tests.factories import (
    BusinessFactory,
    ClientFactory,
    ConsentFactory,
    CrewFactory,
    DeckFactory,
    EmailFactory,
    JobFactory,
    PhoneFactory,
)
from tests.jobs.at_once import at_once
from tests.jobs.diary_days import book_visit, move_visit

NOW = datetime(2027, 6, 2, 12, tzinfo=UTC)  # a Wednesday
MONDAY = date(2027, 6, 7)
TUESDAY = date(2027, 6, 8)
RAIN = bookings.WeatherDay(MONDAY, why="Rain.")
ANYBODY: dict[str, Any] = {"by": None, "now": NOW}


def book(day: date = MONDAY, hours: str = "6", *, told: bool = True, **kwargs: Any) -> Booking:
    deck = DeckFactory(label="Back deck", site__town="Chester", **kwargs)
    if told:
        EmailFactory(client=deck.site.client, value=f"client{deck.pk}@example.org")
    return book_visit(
        site=deck.site,
        decks=[deck],
        hours=Decimal(hours),
        first_day=day,
        **ANYBODY,
    )


def move(booking: Booking, day: date, **asked: Any) -> Booking:
    return move_visit(
        booking=booking, first_day=day, **{"crew": None, "why": "", **ANYBODY, **asked}
    )


def booked_hours() -> dict[date, Decimal]:
    return {row.day: row.hours_booked for row in CrewDay.objects.filter(hours_booked__gt=0)}


def events_of(message: Message) -> Iterator[Any]:
    """The events of the calendar file that goes with a message."""
    return iter(Calendar.from_ical(bytes(message.attachments.get().content)).walk("VEVENT"))


def leave(message: Message) -> None:
    """As if it had gone out."""
    Message.objects.filter(pk=message.pk).update(state="accepted", accepted_at=NOW)


@pytest.fixture
def tern(business: Business) -> Crew:
    return CrewFactory(name="Tern crew", hours_a_day=8)


@pytest.mark.django_db
def test_a_booking_is_told_with_the_booking_for_the_calendar(tern: Crew, owner: User) -> None:
    booking = book()

    message = Message.objects.get()
    assert (message.kind, message.basis, message.state) == ("service", "booking", "queued")
    assert message.subject == "Your deck: we’ll come on Monday, June 7, 2027"
    assert "Back deck, " in message.text
    assert "The crew: Tern crew" in message.text
    assert next(events_of(message))["uid"] == str(booking.uid)
    assert message.attachments.get().media_type == "text/calendar; charset=utf-8; method=PUBLISH"


@pytest.mark.django_db
def test_a_move_frees_the_old_hours_counts_one_up_and_is_told(tern: Crew) -> None:
    booking = book()
    leave(Message.objects.get())

    moved = move(booking, TUESDAY, why="A delivery was late.")

    assert booked_hours() == {TUESDAY: 6}
    assert (moved.sequence, moved.uid, moved.why) == (1, booking.uid, "A delivery was late.")
    told = Message.objects.get(state="queued")
    assert told.subject == "Your deck: moved to Tuesday, June 8, 2027"
    assert "Why: A delivery was late." in told.text
    assert next(events_of(told))["sequence"] == 1


@pytest.mark.django_db
def test_what_nobody_has_read_yet_is_not_corrected_but_replaced(tern: Crew) -> None:
    booking = book()

    move(booking, TUESDAY)

    first, second = Message.objects.order_by("id")
    assert (first.state, first.reply) == (
        "cancelled",
        "The booking was changed before this went out.",
    )
    assert (second.state, second.subject) == (
        "queued",
        "Your deck: we’ll come on Tuesday, June 8, 2027",
    )
    bookings.cancel_booking(booking=booking, why="Sold.", **ANYBODY)
    assert [message.state for message in Message.objects.order_by("id")] == [
        "cancelled",
        "cancelled",
        "queued",  # they may know of the visit by telephone
    ]


@pytest.mark.django_db
def test_moved_to_where_it_is_nothing_changes(tern: Crew) -> None:
    booking = book()

    assert move(booking, MONDAY).sequence == 0
    assert Message.objects.count() == 1


@pytest.mark.django_db
def test_another_crew_on_the_same_day_needs_no_word_to_the_client(tern: Crew) -> None:
    heron = CrewFactory(name="Heron crew", hours_a_day=8)
    booking = book()
    leave(Message.objects.get())

    moved = move(
        booking, booking.first_on, crew=next(crew for crew in (tern, heron) if crew != booking.crew)
    )

    assert (moved.sequence, moved.crew != booking.crew) == (1, True)
    assert Message.objects.count() == 1
    assert booked_hours() == {MONDAY: 6}


@pytest.mark.django_db
def test_a_move_to_a_full_day_is_refused_and_leaves_the_booking_where_it_was(tern: Crew) -> None:
    booking = book()
    book(TUESDAY)

    with pytest.raises(NoRoomError, match="takes 6 h and Tern crew has 2 h free on Jun 8, 2027"):
        move(booking, TUESDAY)

    booking.refresh_from_db()
    assert (booking.first_on, booking.sequence) == (MONDAY, 0)
    assert booked_hours() == {MONDAY: 6, TUESDAY: 6}


@pytest.mark.django_db
def test_longer_work_may_be_moved_over_its_own_days(tern: Crew) -> None:
    booking = book(hours="14")

    move(booking, TUESDAY)
    assert booked_hours() == {TUESDAY: 8, date(2027, 6, 9): 6}
    move(booking, TUESDAY, hours=Decimal(5))
    assert booked_hours() == {TUESDAY: 5}


@pytest.mark.django_db
def test_rain_holds_a_day_keeps_its_hours_and_a_held_booking_is_released_or_moved(
    tern: Crew,
) -> None:
    first = book(hours="4")
    second = book(hours="4")
    for message in Message.objects.all():
        leave(message)

    held = bookings.hold_bookings_of_day(weather=RAIN, **ANYBODY)

    assert {each.pk for each in held} == {first.pk, second.pk}
    assert bookings.hold_bookings_of_day(weather=RAIN, **ANYBODY) == []
    assert booked_hours() == {MONDAY: 8}
    told = Message.objects.filter(state="queued").first()
    assert told
    assert next(events_of(told))["status"] == "TENTATIVE"

    assert bookings.release_booking(booking=first, **ANYBODY).state == "booked"
    assert move(second, TUESDAY).state == "booked"
    assert booked_hours() == {MONDAY: 4, TUESDAY: 4}


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("language", "subject", "said", "unsaid"),
    [
        (
            "en",
            "Your deck: our visit on Monday, June 7, 2027 is postponed by the weather",
            "with a new day",
            "is cancelled",
        ),
        (
            "fr",
            "Votre terrasse : visite du lundi 7 juin 2027 reportée à cause du temps",
            "un nouveau jour",
            "annul",
        ),
    ],
)
def test_held_for_the_weather_is_put_off_not_called_off_in_the_words_of_the_client(
    tern: Crew, language: str, subject: str, said: str, unsaid: str
) -> None:
    booking = book(site__client__language=language)
    leave(Message.objects.get())

    bookings.hold_booking(booking=booking, why="", **ANYBODY)

    told = Message.objects.get(state="queued")
    assert (told.subject, told.kind, told.basis) == (subject, "service", "booking")
    assert said in told.text
    assert unsaid not in told.text
    # CASL, S.C. 2010, c. 23, s. 6(6): a message about a service agreed on is no promotion, so
    # nothing to unsubscribe from; and a line whose field is empty is left out.
    assert not any(
        word in told.text
        for word in ("No more of these", "Ne plus recevoir", "What we know", "savons")
    )


@pytest.mark.django_db
def test_who_was_told_of_the_booking_by_telephone_hears_of_the_weather_all_the_same(
    tern: Crew,
) -> None:
    booking = book(told=False)
    EmailFactory(client=booking.client)

    bookings.hold_booking(booking=booking, why="Rain.", **ANYBODY)

    message = Message.objects.get()
    assert (message.state, message.channel) == ("queued", "email")
    assert "is postponed by the weather" in message.subject


@pytest.mark.django_db
def test_whom_nobody_can_tell_is_a_matter_for_a_person_until_they_are_told(tern: Crew) -> None:
    booking = book(told=False)

    bookings.hold_booking(booking=booking, why="Rain.", **ANYBODY)

    matter = ToDo.objects.open().get()
    assert (matter.kind, matter.client, matter.url) == (
        "tell",
        booking.client,
        f"/diary/{booking.pk}/",
    )
    assert "There is no e-mail address." in matter.words
    EmailFactory(client=booking.client)
    bookings.release_booking(booking=booking, **ANYBODY)
    assert not ToDo.objects.open().exists()


@pytest.mark.django_db
def test_called_off_the_hours_are_free_and_the_calendar_is_told_by_cancel(tern: Crew) -> None:
    booking = book()
    leave(Message.objects.get())

    off = bookings.cancel_booking(booking=booking, why="The house is sold.", **ANYBODY)

    assert booked_hours() == {}
    assert (off.state, off.sequence) == ("cancelled", 1)
    message = Message.objects.get(state="queued")
    assert message.attachments.get().media_type.endswith("method=CANCEL")
    assert next(events_of(message))["status"] == "CANCELLED"
    assert bookings.cancel_booking(booking=booking, why="Again.", **ANYBODY).sequence == 1
    with pytest.raises(BookingError, match="cancelled and can no longer be changed"):
        move(booking, TUESDAY)


@pytest.mark.django_db
def test_without_an_address_nobody_is_told_and_the_diary_is_right_all_the_same(tern: Crew) -> None:
    booking = book(told=False)

    assert move(booking, TUESDAY).first_on == TUESDAY
    assert not Message.objects.exists()


@pytest.mark.django_db
def test_without_an_e_mail_address_somebody_has_to_phone(tern: Crew) -> None:
    deck = DeckFactory()
    PhoneFactory(client=deck.site.client, value="902-555-0142")
    stopped = EmailFactory(client=deck.site.client)
    suppress_address(
        business=Business.objects.get(),
        channel="email",
        address=stopped.value,
        reason="Unsubscribed.",
    )

    book_visit(
        site=deck.site,
        decks=[deck],
        hours=Decimal(6),
        first_day=MONDAY,
        **ANYBODY,
    )

    call = Message.objects.get()
    assert (call.channel, call.kind, call.address) == ("call", "service", "+19025550142")
    assert "that we’ll come on Monday, June 7, 2027" in call.text
    assert not call.attachments.exists()


@pytest.mark.django_db
def test_who_withdrew_from_reminders_and_offers_is_told_of_a_visit_all_the_same(
    tern: Crew,
) -> None:
    client = ClientFactory()
    for channel in Channel:
        ConsentFactory(client=client, channel=channel, is_given=False)

    book(site__client=client)

    mail = Message.objects.get()
    assert (mail.channel, mail.kind, mail.basis) == ("email", "service", "booking")
    business = Business.objects.get()
    assert reasons_not_to_send(business, [mail], today=business.today(NOW)) == {}


@pytest.mark.django_db
def test_a_client_who_reads_french_is_told_in_french(tern: Crew) -> None:
    book(site__client__language="fr")

    assert Message.objects.get().subject == "Votre terrasse : nous venons le lundi 7 juin 2027"


@pytest.mark.django_db
def test_a_booking_is_done_when_each_of_its_decks_has_a_job(tern: Crew) -> None:
    booking = book()
    second = DeckFactory(site=booking.site, label="Steps")
    booking.decks.add(second)
    jobs = [JobFactory(deck=deck, finished_on=MONDAY) for deck in booking.decks.all()]

    assert bookings.record_booking_jobs(booking=booking, jobs=jobs[:1], now=NOW).state == "booked"
    assert bookings.record_booking_jobs(booking=booking, jobs=jobs[1:], now=NOW).state == "done"
    assert booked_hours() == {MONDAY: 6}


@pytest.mark.django_db(transaction=True)
def test_two_bookings_change_places_at_the_same_moment_without_a_jam() -> None:
    BusinessFactory()
    tern = CrewFactory(name="Tern crew")
    heron = CrewFactory(name="Heron crew")
    usual = {"hours": Decimal(4), **ANYBODY}
    one, other = (
        book_visit(site=deck.site, decks=[deck], first_day=MONDAY, crew=crew, **usual)
        for deck, crew in ((DeckFactory(), tern), (DeckFactory(), heron))
    )

    outcomes = at_once(
        lambda: move(one, MONDAY, crew=heron),
        lambda: move(other, MONDAY, crew=tern),
        lambda: move(one, TUESDAY),
    )

    assert [each for each in outcomes if isinstance(each, Exception)] == []
    total = sum(row.hours_booked for row in CrewDay.objects.all())
    assert (
        total == sum(part.hours for each in Booking.objects.all() for part in each.days.all()) == 8
    )


@pytest.mark.django_db
def test_the_mail_as_it_leaves_carries_the_file_with_the_method_it_holds(
    tern: Crew, business: Business
) -> None:
    booking = book()
    leave(Message.objects.get())
    bookings.cancel_booking(booking=booking, why="Sold; gone.", **ANYBODY)

    for message in Message.objects.order_by("id"):
        mail = message_from_bytes(
            compose_email(SenderIdentity.for_business(business), message, now=NOW), policy=default
        )
        part = next(part for part in mail.walk() if part.get_content_type() == "text/calendar")
        whole = Calendar.from_ical(part.get_content())

        # RFC 6047, 2.4: the "method" parameter must be there and be the same as METHOD; "charset"
        # must be there.
        assert part["Content-Type"].params["method"] == whole["method"]
        assert part["Content-Type"].params["charset"].lower() == "utf-8"
        assert part.get_filename() == "visit.ics"
        assert str(whole.walk("VEVENT")[0]["uid"]) == str(booking.uid)
