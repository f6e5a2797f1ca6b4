"""The deck page: facts, forecast, and the whole history on one page."""

import io
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.core.files.base import ContentFile
from freezegun import freeze_time
from PIL import Image

from clients.messaging.models import Message
from clients.messaging.texts.standard import standard_phrases, text_languages
from jobs.models import Job, Photo
from reminders.forecasting import bridge, curve
from reminders.forecasting.reasons import factors_with_months, ranked_reasons
from reminders.models import Forecast, Reminder
from reminders.timeline import deck_timeline
from tests.factories import BatchFactory, DeckFactory, MessageFactory, VisitFactory
from tests.reminders.conftest import NOW, TODAY, coat, refresh


@pytest.fixture
def page(as_owner):
    def get(deck, client=as_owner):
        with freeze_time(NOW):
            answer = client.get(f"/decks/{deck.pk}/")
        assert answer.status_code == 200
        return answer.content.decode()

    return get


def test_the_page_tells_the_window_in_words_and_draws_it(coated, page):
    deck = coated()
    forecast = deck.forecast

    text = page(deck)

    assert text.count("<h1>") == 1
    for day in (forecast.window_opens_on, forecast.half_worn_on, forecast.late_on):
        assert f'datetime="{day}"' in text
    assert text.count("Worn today") == 1
    assert text.count("One in two worn") == 1
    assert 'class="picture wear-curve"' in text
    assert "less sun than most places" in text


def test_a_deck_without_a_coat_says_what_begins_the_forecast(business, page):
    text = page(DeckFactory())

    assert "No forecast yet" in text
    assert "Nothing logged yet" in text


def test_twenty_years_stand_on_one_page_newest_first(
    coated, page, django_assert_max_num_queries, as_owner
):
    deck = coated(on=date(2006, 6, 1))
    for year in range(2007, 2027):
        job = coat(deck, on=date(year, 6, 1), batch=BatchFactory())
        VisitFactory(deck=deck, visited_on=date(year, 5, 1), overall=year % 6)
        photo(deck, on=date(year, 6, 1), job=job)
        photo(deck, on=date(year, 7, 1))
        said(deck, job)
    refresh(deck)

    with freeze_time(NOW), django_assert_max_num_queries(24):
        text = as_owner.get(f"/decks/{deck.pk}/").content.decode()

    years = [text.index(f"<h3>{year}</h3>") for year in range(2026, 2005, -1)]
    assert years == sorted(years)
    assert text.count("of-job") == 21
    assert text.count("of-visit") == 20
    assert text.count("<img") == 40
    assert text.count("of-message") == 20
    assert "The next job is a strip" in text
    assert "42 coats lie on the boards" in text


def test_a_deck_that_may_be_reminded_asks_little_of_what_is_not_there(
    coated, page, django_assert_max_num_queries, as_owner
):
    """Whether and by what its client can be reached is asked too."""
    deck = coated(on=date(2024, 6, 10), rail_m=12)
    deck.jobs.get().coats_applied.update(surfaces=["boards", "rails"])
    refresh(deck)
    page(deck)

    with freeze_time(NOW), django_assert_max_num_queries(25):
        text = as_owner.get(f"/decks/{deck.pk}/").content.decode()

    assert "first reminder" in text
    assert deck.site.client.contact_points.get().value in text


def photo(deck, *, on, job=None):
    picture = io.BytesIO()
    Image.new("RGB", (8, 6)).save(picture, "JPEG")
    return Photo.objects.create(
        deck=deck,
        job=job,
        taken_on=on,
        image=ContentFile(picture.getvalue(), "steps.jpg"),
        caption="Steps",
    )


def said(deck, job):
    message = MessageFactory(client=deck.site.client, queued_at=NOW - timedelta(days=job.pk % 300))
    Reminder.objects.create(deck=deck, job=job, message=message, channel="email")


def test_messages_about_another_deck_of_the_client_stay_on_its_page(coated):
    mine = coated()
    other = DeckFactory(site=mine.site)
    said(other, coat(other, on=date(2024, 5, 1)))
    MessageFactory(client=mine.site.client, subject="About nothing in particular")

    entries = [
        entry for year in deck_timeline(mine) for entry in year.entries if entry.kind == "message"
    ]

    assert [entry.row.subject for entry in entries] == ["About nothing in particular"]
    assert Message.objects.count() == 2


def test_on_one_day_the_work_stands_above_what_was_found(coated):
    deck = coated(on=date(2025, 6, 1))
    VisitFactory(deck=deck, visited_on=date(2025, 6, 1))

    assert [entry.kind for year in deck_timeline(deck) for entry in year.entries] == [
        "job",
        "visit",
    ]


def test_the_crew_sees_the_history_but_no_money(coated, page, crew, as_user):
    deck = coated()
    Job.objects.filter(deck=deck).update(amount=Decimal("1234.50"), currency="CAD")

    assert "1,234.50" in page(deck)
    shown = page(deck, client=as_user(crew))
    assert "Tidewood Deck Oil" in shown
    assert "1,234" not in shown


def test_notes_cannot_write_into_the_page(coated, page):
    deck = coated(notes="<script>alert(1)</script>")
    Job.objects.filter(deck=deck).update(notes="<img src=x onerror=alert(1)>")

    text = page(deck)

    assert "<script>alert" not in text
    assert "<img src=x" not in text


@pytest.mark.parametrize(
    ("days", "word"),
    [(-1, "Sound"), (0, "Window open"), (60, "Due"), (120, "Late"), (4000, "Late")],
)
def test_the_stage_follows_the_window(coated, page, days, word):
    deck = coated()
    opens = TODAY - timedelta(days=days)
    Forecast.objects.filter(deck=deck).update(
        window_opens_on=opens,
        half_worn_on=opens + timedelta(days=60),
        due_on=opens + timedelta(days=60),
        boards_due_on=opens + timedelta(days=60),
        late_on=opens + timedelta(days=120),
    )

    assert f">{word}</span>" in page(deck)


@pytest.mark.parametrize(
    ("due_after", "boards_after", "said"),
    [
        (60, 60, ""),
        (-30, -30, "the workable week in which upkeep costs least"),
        (150, 150, "the workable week in which upkeep costs least"),
        (-30, 60, "another surface is due before the boards"),
    ],
)
def test_a_due_month_outside_the_window_says_why(coated, page, due_after, boards_after, said):
    deck = coated()
    days = {
        "window_opens_on": 0,
        "half_worn_on": 60,
        "late_on": 120,
        "due_on": due_after,
        "boards_due_on": boards_after,
    }
    Forecast.objects.filter(deck=deck).update(
        **{name: TODAY + timedelta(days=number) for name, number in days.items()}
    )

    due = page(deck).partition("<dt>Due</dt>")[2].partition("</dd>")[0]
    assert due.partition(": ")[2] == said


def test_the_curve_passes_through_the_three_dates_of_the_window(coated):
    """The picture asks the core date by date; the stored window came from its inverse."""
    deck = coated()
    VisitFactory(deck=deck, visited_on=date(2026, 6, 1), overall=1)
    refresh(deck)
    forecast = Forecast.objects.select_related("job", "deck__site").get(deck=deck)

    chances = curve.worn_chances(forecast, forecast.job.finished_on, TODAY)

    days = [bridge.epoch_days(day) for day, chance in chances]
    assert days == sorted(days)
    from reminders.pictures import chance_on

    for day, chance in [
        (forecast.window_opens_on, 0.2),
        (forecast.half_worn_on, 0.5),
        (forecast.late_on, 0.8),
    ]:
        assert chance_on(chances, day) == pytest.approx(chance, abs=0.02)
    assert chance_on(chances, date(2026, 5, 31)) == 0


def test_a_deck_found_worn_has_its_curve_end_at_the_visit(coated, page):
    deck = coated(on=date(2026, 4, 1))
    VisitFactory(deck=deck, visited_on=date(2026, 11, 1), overall=5)
    refresh(deck)

    text = page(deck)

    assert "today 100 %" in text
    assert "grade 5 on Nov 1, 2026" in text


@pytest.mark.usefixtures("business")
def test_reasons_in_words_keep_what_matters():
    found = {"shade": -2.04, "roof": 3.1, "traffic": -0.4, "sun": 1.0, "salt": -0.5, "species": 0.5}

    assert ranked_reasons(found) == [
        "part under a roof +3 months",
        "shade −2 months",
        "less sun than most places +1 month",
        "salt from the sea −0.5 months",
    ]
    assert factors_with_months({"roof": 3.1, "pool": -0.4}) == [
        ("part under a roof", "+3.1"),
        ("pool water", "−0.4"),
    ]


def test_every_factor_of_the_core_has_words():
    from reminders.forecast import FACTORS

    for language in text_languages():
        assert set(standard_phrases(language, "factors")) == set(FACTORS)
