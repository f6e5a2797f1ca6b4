"""Decks: look one up by any words, or leaf through them all."""

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from clients.models import Client, Deck
from jobs import search
from reminders.models import Forecast

PAGE_SIZE = 30


@require_GET
def search_decks(request: HttpRequest) -> HttpResponse:
    """The page `decks:search`: the answer to `?q=`, or all current decks in order of client."""
    words = request.GET.get("q", "").strip()
    context = deck_search_results(words) if words else all_decks_page(request.GET.get("page"))
    return render(request, "reminders/search.html", {"words": words, **context})


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


def all_decks_page(number: str | None) -> dict[str, object]:
    page = Paginator(Deck.objects.current().with_owner(), PAGE_SIZE).get_page(number)
    return {"page": page, "cards": deck_cards(list(page.object_list))}


def deck_cards(decks: list[Deck]) -> list[dict[str, object]]:
    """Each deck with its forecast and what went on it, in two queries for all."""
    coats = search.coat_records_by_deck([deck.pk for deck in decks])
    forecasts = {row.deck_id: row for row in Forecast.objects.filter(deck__in=decks)}
    return [
        {"deck": deck, "coats": coats[deck.pk], "forecast": forecasts.get(deck.pk)}
        for deck in decks
    ]
