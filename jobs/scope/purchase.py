"""What all booked work of some weeks takes: the needs of many scopes as one purchase."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

from django.db.models import Q

from clients import display
from clients.models import Business
from jobs.models import Booking, OfferScope
from jobs.scope.needs import Supply, supplied
from jobs.scope.parts import Need, Scope, Wish
from jobs.scope.proposing import propose
from jobs.scope.shelf import shelf

ORDER = ["finish", "stripper", "cleaner", "brightener", "abrasive"]


def booked_until(*, today: date, weeks: int) -> list[Booking]:
    """Bookings that begin within so many weeks and are not over, or wait for the weather; with decks and offers."""
    ahead = Q(state=Booking.State.BOOKED, last_on__gte=today) | Q(state=Booking.State.HELD)
    rows = Booking.objects.filter(ahead, first_on__lt=today + timedelta(weeks=weeks))
    rows = rows.select_related("property__client", "crew", "offer").order_by("first_on", "id")
    return list(rows.prefetch_related("decks", "offer__scopes__product"))


def scopes_of(bookings: Iterable[Booking], *, today: date) -> dict[int, Scope]:
    """The scope of each booked deck; what was agreed in an offer goes before the history."""
    decks = {deck.pk: deck for booking in bookings for deck in booking.decks.all()}
    wishes = {
        scope.deck_id: agreed(scope) for booking in bookings if booking.offer for scope in booking.offer.scopes.all()
    }
    return propose(decks.values(), today=today, wishes=wishes)


def agreed(scope: OfferScope) -> Wish:
    return Wish(scope.work, scope.product, scope.colour, scope.coats, scope.stripper_applications)


def together(scopes: Iterable[Scope], *, today: date) -> list[Need]:
    """One need a product and colour, tins and packs reckoned for the whole."""
    with display.written_for(Business.current()):
        supply = Supply(shelf(today=today))
        pooled = [supplied(need, supply) for need in pool([need for scope in scopes for need in scope.needs])]
    return sorted(pooled, key=lambda need: (ORDER.index(need.what), str(need.product), need.colour))


def pool(needs: Sequence[Need]) -> list[Need]:
    """Litres and pieces added up; a note about one deck says nothing about all."""
    found: dict[tuple[object, ...], Need] = {}
    for need in needs:
        key = (need.product and need.product.pk, need.what, need.colour.casefold())
        sofar = found.get(key) or empty(need)
        found[key] = replace(sofar, litres=sofar.litres + need.litres, pieces=sofar.pieces + need.pieces)
    return list(found.values())


def empty(need: Need) -> Need:
    words = need.words.split(",")[0] if need.product else need.words
    return Need(need.product, need.what, words, litres=Decimal(0), colour=need.colour)
