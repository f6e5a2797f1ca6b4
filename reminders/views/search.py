"""Looking up: what a few words find, as cards of decks."""

from clients.models import Client, Deck
from jobs import search
from reminders.models import Forecast

PAGE_SIZE = 30


def deck_search_results(words: str) -> dict[str, object]:
    found = search.find_decks(words, limit=PAGE_SIZE)
    deck_ids = [hit.deck_id for hit in found.hits if hit.deck_id]
    decks = Deck.objects.with_owner().in_bulk(deck_ids)
    clients = Client.objects.in_bulk([hit.client_id for hit in found.hits if not hit.deck_id])
    return {
        "found": found,
        "cards": deck_cards([decks[deck_id] for deck_id in deck_ids]),
        "clients": [clients[hit.client_id] for hit in found.hits if not hit.deck_id],
        "is_cut_off": len(found.hits) == PAGE_SIZE,
    }


def deck_cards(decks: list[Deck]) -> list[dict[str, object]]:
    """Each deck with its forecast and what went on it, in two queries for all."""
    coats = search.coat_records_by_deck([deck.pk for deck in decks])
    forecasts = {row.deck_id: row for row in Forecast.objects.filter(deck__in=decks)}
    return [
        {"deck": deck, "coats": coats[deck.pk], "forecast": forecasts.get(deck.pk)}
        for deck in decks
    ]
