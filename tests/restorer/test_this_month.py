"""The first page: this month in figures, and the way in for a business that has nothing yet."""

from datetime import date, timedelta

import pytest
from freezegun import freeze_time

from clients.messaging.models import ToDo
from jobs.models import Booking, BookingDay, CrewDay
from reminders.models import Forecast
from tests.factories import (
    ClientFactory,
    CrewFactory,
    DeckFactory,
    MessageFactory,
    OfferFactory,
    PropertyFactory,
)
from tests.reminders.conftest import NOW, coat, coated  # noqa: F401 - a fixture


@pytest.fixture
def page(as_owner):
    def get(client=as_owner):
        with freeze_time(NOW):
            answer = client.get("/")
        assert answer.status_code == 200
        return answer.content.decode()

    return get


def figure(text, label):
    """The number above a label."""
    return int(text.split(f"<span>{label}")[0].rsplit("<strong>", 1)[1].split("<")[0])


def move(deck, day):
    Forecast.objects.filter(deck=deck).update(window_opens_on=day, due_on=day, late_on=day)


def test_a_business_without_decks_is_told_the_three_next_steps(page):
    text = page()

    assert "Three steps to the first forecast" in text
    for address in ("/jobs/products/new/", "/jobs/log/"):
        assert f'href="{address}"' in text


def test_the_figures_count_what_they_say(coated, page):  # noqa: F811
    move(coated(), date(2026, 11, 30))
    move(coated(), date(2026, 10, 31))
    move(coated(), date(2024, 1, 1))
    move(coated(), date(2026, 12, 1))
    coat(DeckFactory(), on=date(2026, 11, 2))
    for state in ("queued", "queued", "failed", "bounced", "unconfirmed"):
        MessageFactory(state=state)

    text = page()

    assert figure(text, "due this month") == 1
    assert figure(text, "still open from earlier") == 2
    assert figure(text, "waiting in the outbox") == 2
    assert figure(text, "need a person") == 3
    assert figure(text, "job logged this month") == 1


def test_towns_stand_in_order_of_decks(coated, page):  # noqa: F811
    for town, decks in (("Chester", 1), ("Digby", 2)):
        for _ in range(decks):
            deck = coated()
            PropertyFactory._meta.model.objects.filter(pk=deck.site_id).update(town=town)
            move(deck, date(2026, 11, 5))

    text = page()

    assert text.index("Digby") < text.index("Chester")
    assert "2 decks" in text


def test_the_crew_sees_work_and_nothing_of_the_outbox(coated, page, crew, as_user):  # noqa: F811
    coated()
    MessageFactory(state="failed", subject="Your deck is due for care by June")

    text = page(as_user(crew))

    assert "Last jobs" in text
    assert "Your deck is due" not in text
    assert "waiting in the outbox" not in text


def test_the_page_asks_the_same_number_of_questions_for_many_jobs(
    coated,  # noqa: F811
    as_owner,
    django_assert_max_num_queries,
):
    for _ in range(9):
        deck = coated()
        move(deck, date(2026, 11, 5))
        MessageFactory(client=deck.site.client, state="failed")

    with freeze_time(NOW), django_assert_max_num_queries(18):
        as_owner.get("/")


def to_do(**fields):
    fields = {
        "kind": "address",
        "key": "number/1",
        "words": "902-555-0142 is a wrong number.",
    } | fields
    return ToDo.objects.create(**fields)


def test_what_only_a_person_can_settle_is_listed_and_goes_when_settled(page, as_owner, owner):
    DeckFactory()
    row = to_do(client=ClientFactory())

    assert "902-555-0142 is a wrong number." in page()
    answer = as_owner.post(f"/outbox/to-do/{row.pk}/settled/", {"back": "/"}, follow=True)

    row.refresh_from_db()
    assert row.done_by == owner
    assert answer.request["PATH_INFO"] == "/"
    assert "902-555-0142" not in page()
    assert "902-555-0142" in as_owner.get("/outbox/to-do/").content.decode()


def test_settling_twice_keeps_the_first_name_and_never_leads_off_the_site(
    as_owner, as_user, office, owner
):
    row = to_do()
    as_owner.post(f"/outbox/to-do/{row.pk}/settled/")
    answer = as_user(office).post(
        f"/outbox/to-do/{row.pk}/settled/", {"back": "https://example.org/"}
    )

    row.refresh_from_db()
    assert row.done_by == owner
    assert answer["Location"] == "/outbox/to-do/"


def test_the_crew_sees_today_and_tomorrow(page, crew, as_user, business):
    crew_row = CrewFactory()
    place = PropertyFactory(street="7 Cormorant Lane")
    DeckFactory(site=place)
    for day, state in ((NOW.date(), "booked"), (NOW.date() + timedelta(days=2), "booked")):
        booking = Booking.objects.create(
            client=place.client,
            site=place,
            crew=crew_row,
            state=state,
            first_on=day,
            last_on=day,
            hours=4,
        )
        free = CrewDay.objects.create(crew=crew_row, day=day, hours_open=8, hours_booked=4)
        BookingDay.objects.create(booking=booking, crew_day=free, hours=4)

    text = page(as_user(crew))

    assert text.count("7 Cormorant Lane") == 1
    assert "<strong>Today</strong>" in text


def test_open_offers_are_counted_until_they_run_out(page):
    DeckFactory()
    OfferFactory(
        number=901,
        state="open",
        sent_at=NOW,
        drafted_on=date(2026, 11, 1),
        valid_until=date(2026, 12, 1),
    )
    OfferFactory(
        number=902,
        state="open",
        sent_at=NOW,
        drafted_on=date(2026, 9, 1),
        valid_until=date(2026, 10, 1),
    )

    assert figure(page(), "offer without an answer") == 1
