"""A check by the client: asked where the answer would change what to do, kept as theirs, read by
the forecast with its own doubt."""

from datetime import date, timedelta
from io import BytesIO
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client as Browser
from freezegun import freeze_time
from PIL import Image

from clients.messaging.models import ToDo
from clients.models import Business, Deck
from jobs.models import Photo, Visit
from jobs.scope import propose_scopes
from reminders.actions import refresh_forecasts
from reminders.forecasting import client_check_worth
from reminders.forecasting.learning import load_training_data
from reminders.models import ClientAnswer, Forecast
from tests.factories import CoatFactory, JobFactory, VisitFactory
from tests.reminders.client_pages import (
    NOW,
    TODAY,
    due_deck,
    page_url,
    press,
    remind_of,
    text_of,
)

SOUND = {"beading": "beads", "greying": "no", "flaking": "no"}
WORN = {"beading": "soaks", "greying": "all", "flaking": "no"}


@pytest.fixture(autouse=True)
def _clock(business: Business) -> Any:
    with freeze_time(NOW, ignore=["psycopg", "concurrent"]):
        yield


def coated_on(deck: Deck, day: date) -> Deck:
    deck.jobs.update(finished_on=day)
    return deck


@pytest.fixture
def deck(business: Business) -> Deck:
    """Fifteen months after its coat: nobody knows whether it can wait."""
    return coated_on(due_deck(), date(2026, 2, 10))


@pytest.fixture
def url(deck: Deck) -> str:
    return page_url(remind_of(deck))


def picture() -> SimpleUploadedFile:
    out = BytesIO()
    Image.new("RGB", (80, 60), "#8d6f52").save(out, "JPEG")
    return SimpleUploadedFile("deck.jpg", out.getvalue(), content_type="image/jpeg")


def test_it_is_asked_where_the_answer_would_change_what_to_do_and_nowhere_else(
    client: Browser, deck: Deck, url: str
) -> None:
    assert client_check_worth([deck.pk], today=TODAY)[deck.pk] > 0.03
    assert "Answer for Back deck" in text_of(client.get(url))

    coated_on(deck, date(2027, 4, 20))  # fresh: whatever they say, nothing is to be done
    assert client_check_worth([deck.pk], today=TODAY) == {}
    assert "Answer for Back deck" not in text_of(client.get(url))
    coated_on(deck, date(2015, 4, 20))  # long gone
    assert client_check_worth([deck.pk], today=TODAY) == {}


def test_the_reminder_asks_for_a_look_only_where_it_is_worth_something(deck: Deck) -> None:
    asked = "Three questions on that page tell us whether it can wait."

    assert asked in remind_of(deck).text
    long_gone = coated_on(due_deck(label="Landing"), date(2015, 4, 20))
    assert asked not in remind_of(long_gone).text


def test_what_a_strip_costs_in_this_book_decides_what_an_answer_is_worth(deck: Deck) -> None:
    before = client_check_worth([deck.pk], today=TODAY)
    for kind, amount in (("recoat", 600), ("strip", 3600)):
        for n in range(3):
            JobFactory(
                deck__area_m2=20,
                kind=kind,
                amount=amount,
                currency="CAD",
                finished_on=date(2026, 6, 1) + timedelta(days=n),
            )

    assert client_check_worth([deck.pk], today=TODAY) != before


@pytest.mark.parametrize(("answers", "grade", "is_later"), [(SOUND, 0, True), (WORN, 4, False)])
def test_three_answers_become_a_check_of_theirs_and_the_forecast_is_refreshed(
    client: Browser, deck: Deck, url: str, answers: dict[str, str], grade: int, is_later: bool
) -> None:
    before = Forecast.objects.get(deck=deck)
    look = f"{url}look/{deck.pk}/"
    assert "Pour a little water on the boards" in text_of(client.get(look))

    assert client.post(look, answers | {"photo": picture()}).status_code == 302
    assert client.post(look, answers | {"photo": picture()}).status_code == 302  # pressed twice

    visit = Visit.objects.get()
    assert (visit.deck, visit.visited_on, visit.observer) == (deck, TODAY, "client")
    assert (visit.grade, visit.found_by, visit.recorded_by) == (grade, "Ottilie Saltonby", None)
    photo = Photo.objects.get()
    assert (photo.deck, photo.moment, photo.taken_on) == (deck, "found", TODAY)
    after = Forecast.objects.get(deck=deck)
    assert (after.due_on > before.due_on) is is_later
    assert 0.0 < after.chance_worn < 1.0  # believed, not known
    assert after.sound_on is None
    page = text_of(client.get(url))
    assert "Back deck: you told us on May 10, 2027. Thank you." in page
    assert "Answer for Back deck" not in page
    to_do = ToDo.objects.get()
    assert to_do.words.startswith("Ottilie Saltonby looked at Back deck, 7 Plover Row: water ")
    assert to_do.url == f"/decks/{deck.pk}/"


@pytest.mark.parametrize(
    ("sent", "words"),
    [
        ({}, "Choose what fits best."),
        (SOUND | {"flaking": "yes"}, "Select a valid choice."),
        (
            SOUND | {"photo": SimpleUploadedFile("a.jpg", b"no picture")},
            "This is no picture that we can read.",
        ),
    ],
)
def test_an_answer_that_is_missing_or_no_picture_is_said_and_nothing_is_kept(
    client: Browser, deck: Deck, url: str, sent: dict[str, Any], words: str
) -> None:
    answer = client.post(f"{url}look/{deck.pk}/", sent)

    assert answer.status_code == 422
    assert words in text_of(answer)
    assert not Visit.objects.exists()
    assert not ClientAnswer.objects.exists()


def test_a_link_asks_about_its_own_decks_only(client: Browser, deck: Deck, url: str) -> None:
    other = CoatFactory().job.deck

    assert client.get(f"{url}look/{other.pk}/").status_code == 404
    assert client.post(f"{url}look/{other.pk}/", SOUND).status_code == 404
    assert not Visit.objects.exists()


def test_what_we_found_ourselves_stands_above_what_a_client_saw(deck: Deck) -> None:
    ours = VisitFactory(deck=deck, visited_on=date(2027, 5, 1), overall=1)
    refresh_forecasts(deck_ids=[deck.pk], today=TODAY, now=NOW)
    before = Forecast.objects.get(deck=deck)
    VisitFactory(deck=deck, visited_on=date(2027, 4, 1), overall=4, observer="client")
    refresh_forecasts(deck_ids=[deck.pk], today=TODAY, now=NOW)

    after = Forecast.objects.get(deck=deck)
    assert after.sound_on == ours.visited_on
    assert (after.due_on, after.chance_worn) == (before.due_on, before.chance_worn)


def test_a_clients_look_decides_no_work_and_is_learned_from_as_theirs(deck: Deck) -> None:
    VisitFactory(deck=deck, visited_on=TODAY, overall=None, flaking=5, observer="client")

    assert propose_scopes([deck], today=TODAY)[deck.pk].work == "recoat"
    learned = load_training_data(today=TODAY)
    assert learned.book.visits.by_client.tolist() == [True]
    VisitFactory(deck=deck, visited_on=TODAY, overall=None, flaking=5)
    assert propose_scopes([deck], today=TODAY)[deck.pk].work == "strip"


def test_who_sold_the_house_is_asked_nothing(client: Browser, url: str) -> None:
    press(client, url, "sold")

    assert "Answer for" not in text_of(client.get(url))
