"""Rows become histories: what each visit says about the coat that it saw."""

from datetime import date

import numpy as np
import pytest

from jobs.models import Visit
from reminders.forecasting import learning
from tests.factories import DeckFactory, JobFactory, VisitFactory
from tests.reminders.book import simulated_book
from tests.reminders.conftest import TODAY, coat

pytestmark = [pytest.mark.slow, pytest.mark.django_db]


def test_each_visit_is_laid_to_the_coat_that_it_saw(business):
    """What is found on the day of a job was found on the coat before it."""
    deck = DeckFactory()
    first = coat(deck, on=date(2022, 6, 1), kind="strip")
    second = coat(deck, on=date(2024, 6, 1))
    for day, grade in ((date(2023, 6, 1), 1), (date(2024, 6, 1), 4), (date(2025, 6, 1), 2)):
        VisitFactory(deck=deck, visited_on=day, overall=grade)

    found = learning.load_training_data(today=TODAY)

    assert found.job_id.tolist() == [first.pk, second.pk]
    assert found.book.visits.coat.tolist() == [0, 0, 1]
    assert found.book.visits.grade.tolist() == [1, 4, 2]
    assert found.book.ended_on[0] == found.book.coats.coated_on[1]
    assert np.isnan(found.book.ended_on[1])
    assert found.book.coats.deck.tolist() == [deck.pk, deck.pk]


def test_a_wash_or_a_repair_does_not_end_a_coat(business):
    deck = DeckFactory()
    coat(deck, on=date(2023, 6, 1))
    JobFactory(deck=deck, kind="clean", finished_on=date(2024, 6, 1))
    JobFactory(deck=deck, kind="repair", finished_on=date(2024, 7, 1))

    assert np.isnan(learning.load_training_data(today=TODAY).book.ended_on).all()


def test_what_cannot_be_used_is_counted_and_said(business):
    deck = DeckFactory()
    other = DeckFactory()
    VisitFactory(deck=deck, visited_on=date(2019, 1, 1), overall=3)  # no coat yet
    coat(deck, on=date(2022, 6, 1))
    VisitFactory(deck=deck, visited_on=date(2023, 1, 1), overall=None)  # nothing graded
    VisitFactory(deck=deck, visited_on=date(2023, 6, 1), overall=4)
    VisitFactory(deck=deck, visited_on=date(2024, 6, 1), overall=1)  # sound after worn
    JobFactory(deck=other, kind="recoat", finished_on=date(2022, 6, 1))  # with what?
    coat(other, on=date(2024, 6, 1))  # nobody looked at it

    found = learning.load_training_data(today=TODAY)

    assert found.left_out == {
        learning.BEFORE_FIRST_COAT: 1,
        learning.NOT_GRADED: 1,
        learning.FINISH_UNKNOWN: 1,
        learning.NEVER_INSPECTED: 1,
        learning.CONTRADICTORY: 1,
    }


def test_the_future_is_not_learned_from(business):
    deck = DeckFactory()
    coat(deck, on=date(2024, 6, 1))
    VisitFactory(deck=deck, visited_on=date(2025, 6, 1), overall=2)

    assert learning.load_training_data(today=date(2024, 12, 1)).visits == 0
    assert learning.load_training_data(today=date(2024, 1, 1)) is None


def test_the_book_is_read_in_few_queries_whatever_its_size(business, django_assert_max_num_queries):
    simulated_book(decks=12, months=16)

    with django_assert_max_num_queries(3):
        found = learning.load_training_data(today=TODAY)

    assert found.decks == 12
    assert found.visits == Visit.objects.filter(visited_on__lte=TODAY).count()


def test_chunks_join_to_the_same_book(business, monkeypatch):
    simulated_book(decks=7, months=16)
    whole = learning.load_training_data(today=TODAY)
    monkeypatch.setattr(learning, "DECKS_A_QUERY", 2)

    parts = learning.load_training_data(today=TODAY)

    assert parts.book.visits.coat.tolist() == whole.book.visits.coat.tolist()
    assert np.array_equal(parts.book.ended_on, whole.book.ended_on, equal_nan=True)
    assert parts.book.fit_before(25_000).version == whole.book.fit_before(25_000).version
