"""Decks: look one up by any words, or leaf through them all."""

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from clients.models import Client, Deck
from jobs import search
from reminders.models import Forecast

A_PAGE = 30


@require_GET
def search_decks(request: HttpRequest) -> HttpResponse:
    """The page `decks:search`: the answer to `?q=`, or all current decks in order of client."""
    words = request.GET.get("q", "").strip()
    context = answer(words) if words else everything(request.GET.get("page"))
    return render(request, "reminders/search.html", {"words": words, **context})


def answer(words: str) -> dict[str, object]:
    found = search.find(words, limit=A_PAGE)
    deck_ids = [hit.deck_id for hit in found.hits if hit.deck_id]
    decks = Deck.objects.with_owner().in_bulk(deck_ids)
    clients = Client.objects.in_bulk([hit.client_id for hit in found.hits if not hit.deck_id])
    return {
        "found": found,
        "cards": cards([decks[deck_id] for deck_id in deck_ids]),
        "clients": [clients[hit.client_id] for hit in found.hits if not hit.deck_id],
        "is_cut_off": len(found.hits) == A_PAGE,
    }


def everything(number: str | None) -> dict[str, object]:
    page = Paginator(Deck.objects.current().with_owner(), A_PAGE).get_page(number)
    return {"page": page, "cards": cards(list(page.object_list))}


def cards(decks: list[Deck]) -> list[dict[str, object]]:
    """Each deck with its forecast and what went on it, in two queries for all."""
    coats = search.coats_of([deck.pk for deck in decks])
    forecasts = {row.deck_id: row for row in Forecast.objects.filter(deck__in=decks)}
    return [{"deck": deck, "coats": coats[deck.pk], "forecast": forecasts.get(deck.pk)} for deck in decks]
