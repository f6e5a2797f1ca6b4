"""Several people remind at the same moment, on real connections."""

from concurrent.futures import ThreadPoolExecutor
from datetime import date
from threading import Barrier

import pytest
from django.db import close_old_connections, connections

from clients.messaging.models import Message
from reminders.models import Reminder
from tests.factories import (
    BusinessFactory,
    ClientFactory,
    ConsentFactory,
    DeckFactory,
    EmailFactory,
    PropertyFactory,
    UserFactory,
)
from tests.reminders.conftest import coat, refresh, remind


@pytest.mark.django_db(transaction=True)
def test_clicks_at_the_same_moment_about_overlapping_decks_remind_once(coated_for_threads):
    """Real connections: each run sees the other's rows only once committed."""
    decks = coated_for_threads
    sets = [decks[:3], decks[1:], [decks[2], decks[0]], decks, decks[::-1], decks[1:3]]
    start = Barrier(len(sets))

    def click(chosen):
        try:
            start.wait()
            return len(remind(*chosen).queued)
        finally:
            connections.close_all()

    with ThreadPoolExecutor(len(sets)) as pool:
        queued = list(pool.map(click, sets))

    assert sum(queued) == Message.objects.count()
    assert sorted(Reminder.objects.values_list("deck_id", flat=True)) == sorted(
        deck.pk for deck in decks
    )
    close_old_connections()


@pytest.fixture
def coated_for_threads(transactional_db):
    BusinessFactory()
    UserFactory()
    decks = []
    for number in range(2):
        client = ClientFactory()
        EmailFactory(client=client)
        ConsentFactory(client=client)
        place = PropertyFactory(client=client)
        for label in ("Back deck", "Landing"):
            deck = DeckFactory(site=place, label=f"{label} {number}")
            coat(deck, on=date(2024, 6, 1), kind="strip")
            decks.append(deck)
    refresh(*decks)
    return decks
