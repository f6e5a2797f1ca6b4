"""What an overdue deck's first reminder says, and how a client of an old list is greeted."""

from datetime import date

import pytest

from clients.messaging.models import Message
from clients.messaging.texts import standard_phrases
from clients.models.client import name_as_spoken
from reminders.models import Forecast
from reminders.steps.drafts import time_since
from tests.factories import ClientFactory, ConsentFactory, EmailFactory, ReminderStepFactory
from tests.reminders.conftest import TODAY, remind

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("language", ["en", "fr"])
@pytest.mark.parametrize("channel", ["email", "letter"])
def test_an_overdue_deck_has_words_of_its_own_and_no_past_date_in_the_subject(
    coated, language, channel
):
    client = ClientFactory(name="Young, Jack", language=language)
    EmailFactory(client=client)
    ConsentFactory(client=client, channel=channel)
    ReminderStepFactory(number=1, channels=[channel])
    deck = coated(client=client, on=date(2023, 3, 20))
    Forecast.objects.filter(deck=deck).update(
        window_opens_on="2025-01-01",
        half_worn_on="2025-07-01",
        due_on="2025-07-01",
        boards_due_on="2025-07-01",
        late_on="2026-01-01",
    )

    remind(deck, month=TODAY.replace(day=1))

    message = Message.objects.get()
    english = "over three years since its last coat"
    since = english if language == "en" else "plus de trois ans depuis la dernière couche"
    assert since in message.subject
    assert "202" not in message.subject
    assert ("Hello Jack Young," if language == "en" else "Bonjour Jack Young,") in message.text
    for past in ("July 2025", "juillet 2025"):
        assert past not in message.text


def test_a_deck_due_this_month_is_no_overdue_one(coated):
    deck = coated()
    Forecast.objects.filter(deck=deck).update(
        window_opens_on="2026-09-01",
        half_worn_on="2026-11-01",
        due_on=TODAY.replace(day=1),
        boards_due_on=TODAY.replace(day=1),
        late_on="2027-02-01",
    )

    remind(deck, month=TODAY.replace(day=1))

    assert Message.objects.get().subject == "Your deck: next coat in November 2026"


@pytest.mark.parametrize(
    ("day", "words"),
    [
        (date(2026, 10, 26), ""),
        (date(2026, 9, 25), "over 2 months"),
        (date(2025, 11, 26), "over 11 months"),
        (date(2025, 11, 25), "over a year"),
        (date(2023, 11, 26), "over two years"),
        (date(2023, 11, 25), "over three years"),
        (date(2014, 1, 1), "over 12 years"),
    ],
)
def test_how_long_ago_is_said_in_whole_months_and_years(day, words):
    assert time_since(day, date(2026, 11, 25), standard_phrases("en", "since")) == words


@pytest.mark.parametrize(
    ("name", "spoken"),
    [
        ("Young, Jack", "Jack Young"),
        ("Young, Jack & Mary", "Jack & Mary Young"),
        ("de la Cruz, Ana", "Ana de la Cruz"),
        ("Young,Jack", "Jack Young"),
        ("Jack Young", "Jack Young"),
        ("Marlow & Sons, Inc.", "Marlow & Sons, Inc."),
        ("Tern Wharf Ltd, Lunenburg", "Tern Wharf Ltd, Lunenburg"),
        ("St. Mary's Church, Lunenburg", "St. Mary's Church, Lunenburg"),
        ("Young, Jack, Jr.", "Young, Jack, Jr."),
        ("Kelpworth, MD", "Kelpworth, MD"),
        ("Unit 4, Plover Row", "Unit 4, Plover Row"),
        ("Young,", "Young,"),
        (", Jack", ", Jack"),
    ],
)
def test_a_name_of_an_old_list_is_turned_round_where_it_is_a_persons(name, spoken):
    assert name_as_spoken(name) == spoken
