"""What all booked work of some weeks takes: the needs of many scopes as one purchase."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

from django.db.models import Q

from clients import display
from clients.models import Business
from jobs.models import Booking, OfferScope
from jobs.scope.definitions import Need, Override, Scope
from jobs.scope.needs import Supply, need_from_supply
from jobs.scope.proposal import propose_scopes
from jobs.scope.shelf import load_shelf

NEED_ORDER = ["finish", "stripper", "cleaner", "brightener", "abrasive"]


def bookings_within_weeks(*, today: date, weeks: int) -> list[Booking]:
    """Bookings that begin within so many weeks and are not over, or wait for the weather;
    with decks and offers."""
    ahead = Q(state=Booking.State.BOOKED, last_on__gte=today) | Q(state=Booking.State.HELD)
    rows = Booking.objects.filter(ahead, first_on__lt=today + timedelta(weeks=weeks))
    rows = rows.select_related("site__client", "crew", "offer").order_by("first_on", "id")
    return list(rows.prefetch_related("decks", "offer__scopes__product"))


def booked_scopes(bookings: Iterable[Booking], *, today: date) -> dict[int, Scope]:
    """The scope of each booked deck; what was agreed in an offer goes before the history."""
    decks = {deck.pk: deck for booking in bookings for deck in booking.decks.all()}
    overrides = {
        scope.deck_id: override_from_offer(scope)
        for booking in bookings
        if booking.offer
        for scope in booking.offer.scopes.all()
    }
    return propose_scopes(decks.values(), today=today, overrides=overrides)


def override_from_offer(scope: OfferScope) -> Override:
    return Override(
        scope.work,
        scope.product,
        scope.colour,
        scope.coats,
        scope.stripper_applications,
        scope.looks_first,
        without_sanding=bool(scope.steps) and not scope.is_sanded,
        surfaces=scope.surfaces or scope.deck.surfaces,
    )


def purchase_needs(scopes: Iterable[Scope], *, today: date) -> list[Need]:
    """One need a product and colour, tins and packs calculated for the whole."""
    with display.override_business(Business.current()):
        supply = Supply(load_shelf(today=today))
        pooled = [
            need_from_supply(need, supply)
            for need in pool_needs([need for scope in scopes for need in scope.needs])
        ]
    return sorted(
        pooled,
        key=lambda need: (
            need.product.supplier.casefold() if need.product else "",
            NEED_ORDER.index(need.what),
            str(need.product),
            need.colour,
        ),
    )


def pool_needs(needs: Sequence[Need]) -> list[Need]:
    """Litres and pieces added up; a note about one deck says nothing about all."""
    found: dict[tuple[object, ...], Need] = {}
    for need in needs:
        key = (need.product and need.product.pk, need.what, need.colour.casefold())
        sofar = found.get(key) or empty_need(need)
        found[key] = replace(
            sofar, litres=sofar.litres + need.litres, pieces=sofar.pieces + need.pieces
        )
    return list(found.values())


def empty_need(need: Need) -> Need:
    words = need.words.split(",")[0] if need.product else need.words
    return Need(need.product, need.what, words, litres=Decimal(0), colour=need.colour)
