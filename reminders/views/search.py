"""Looking up: what words, years, work and filters find, as cards of decks."""

from typing import Any

from django.http import HttpRequest

from clients.models import Client, Deck
from clients.pages import business_today, current_user
from jobs import search
from jobs.models import Booking, Job, Offer
from reminders.forms.look_up import LookUpForm
from reminders.models import Forecast

PAGE_SIZE = 30
LAST_PAGE = 30  # of a look-up; who wants more adds a word
LINES_OF_A_CARD = 4


def look_up_page(request: HttpRequest, form: LookUpForm) -> dict[str, Any]:
    number = page_number(request)
    found = search.find_decks(
        form.words,
        limit=PAGE_SIZE + 1,
        offset=(number - 1) * PAGE_SIZE,
        filters=form.filters,
        today=business_today(request),
    )
    hits = found.hits[:PAGE_SIZE]
    decks = Deck.objects.with_owner().in_bulk([hit.deck_id for hit in hits if hit.deck_id])
    clients = Client.objects.in_bulk([hit.client_id for hit in hits if not hit.deck_id])
    is_last = len(found.hits) <= PAGE_SIZE or number == LAST_PAGE
    return {
        "found": found,
        "is_asked": True,
        "cards": deck_cards([decks[hit.deck_id] for hit in hits if hit.deck_id], found.asked),
        "clients": [clients[hit.client_id] for hit in hits if not hit.deck_id],
        "offers": offers_asked_for(found.asked) if current_user(request).may_send else [],
        "page_before": number - 1,
        "page_after": None if is_last else number + 1,
        "query": address_without_page(request),
    }


def page_number(request: HttpRequest) -> int:
    """Of the address; the first if it is none."""
    text = request.GET.get("page", "")
    return min(max(1, int(text)), LAST_PAGE) if text.isdecimal() and len(text) < 5 else 1


def address_without_page(request: HttpRequest) -> str:
    """What was asked for, without empty fields, so that the address can be kept."""
    chosen = request.GET.copy()
    chosen.pop("page", None)
    for name in [name for name, value in chosen.items() if not value]:
        del chosen[name]
    return chosen.urlencode()


def offers_asked_for(asked: search.AskedDecks) -> list[Offer]:
    """The newest revision of each number that was asked for."""
    numbers = [int(part.value) for part in asked.of_topic(search.Topic.OFFER)]
    if not numbers:
        return []
    rows = Offer.objects.filter(number__in=numbers).select_related("client")
    return list(rows.order_by("number", "-revision").distinct("number"))


def deck_cards(decks: list[Deck], asked: search.AskedDecks) -> list[dict[str, Any]]:
    """Each deck with its forecast, its next booking and what went on it, in three queries for
    all."""
    coats = search.coat_records_by_deck([deck.pk for deck in decks])
    rows = Forecast.objects.filter(deck__in=decks).only("deck", "due_on", "window_opens_on")
    forecasts = {row.deck_id: row for row in rows}
    bookings = Booking.objects.next_by_deck([deck.pk for deck in decks])
    return [
        {
            "deck": deck,
            "is_archived": bool(deck.archived_at or deck.site.client.archived_at),
            "lines": card_lines(search.split_history(coats[deck.pk], asked)),
            "count": len(coats[deck.pk]),
            "forecast": forecasts.get(deck.pk),
            "booking": bookings.get(deck.pk),
        }
        for deck in decks
    ]


def card_lines(history: search.AnsweringHistory) -> list[dict[str, Any]]:
    """The lines that answer first, then the newest."""
    return [
        {
            "coat": record,
            "work": Job.Kind(record.kind).label,
            "is_match": place < len(history.matching),
        }
        for place, record in enumerate(history.lines[:LINES_OF_A_CARD])
    ]
