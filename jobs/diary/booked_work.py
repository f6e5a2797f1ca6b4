"""What a booking is about: the decks with what was offered for each, and how that becomes a job to
log."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

from django.db.models import F

from clients.models import Deck, Property, is_primary_key
from jobs.models import Booking, BookingDay, Crew, Job, Offer, OfferScope

CENT = Decimal("0.01")
DEFAULT_HOURS = Decimal(4)  # hours, where nobody has said how long the work takes


@dataclass(frozen=True)
class BookingRequest:
    """What is to be booked: decks of a property, perhaps by an offer."""

    site: Property
    decks: list[Deck]
    selectable_decks: list[Deck]  # all that could be chosen
    hours: Decimal | None = None
    offer: Offer | None = None

    @property
    def hours_or_default(self) -> Decimal:
        return self.hours or DEFAULT_HOURS


@dataclass(frozen=True)
class BookedDeck:
    """One deck of a booking: what was offered, and the job once it is logged."""

    deck: Deck
    scope: OfferScope | None
    job: Job | None
    amount: Decimal | None  # its share of the price, taxes included
    last: Job | None = None  # what went on last, with its coats


def find_booking_request(*, deck: str = "", offer: str = "") -> BookingRequest | None:
    """By the number of an offer or of a deck, as they stand in an address;
    None if there is no such one."""
    if is_primary_key(offer) and (
        row := Offer.objects.select_related("site__client").filter(pk=offer).first()
    ):
        decks = [scope.deck for scope in row.scopes.select_related("deck__site")]
        return BookingRequest(row.site, decks, decks, row.hours or None, row)
    chosen = (
        Deck.objects.current().with_owner().filter(pk=deck).first()
        if is_primary_key(deck)
        else None
    )
    if chosen is None:
        return None
    there = list(Deck.objects.current().filter(site=chosen.site).select_related("site"))
    last = Booking.objects.filter(decks=chosen).order_by("-first_on").first()
    return BookingRequest(chosen.site, [chosen], there, last.hours if last else None)


def booked_decks(booking: Booking) -> list[BookedDeck]:
    """Its decks in the order of their names."""
    scopes = offered_scope_by_deck(booking)
    jobs = {job.deck_id: job for job in booking.jobs.all()}
    decks = list(booking.decks.all())
    amounts = offer_total_by_deck(booking.offer, decks, scopes) if booking.offer else {}
    return [
        BookedDeck(
            deck,
            scopes.get(deck.pk),
            jobs.get(deck.pk),
            amounts.get(deck.pk),
            Job.objects.last_with_coats(deck),
        )
        for deck in decks
    ]


def booked_deck(booking: Booking, deck: Deck | None) -> BookedDeck | None:
    return next((work for work in booked_decks(booking) if work.deck == deck), None)


def unlogged_decks(booking: Booking) -> list[Deck]:
    logged = booking.jobs.values_list("deck_id", flat=True)
    return list(booking.decks.exclude(pk__in=list(logged)).order_by("label"))


def planned_hours(booking: Booking, deck: Deck) -> Decimal:
    """The share of a deck in the hours of its booking (of the whole crew): by what was offered for
    each, else evenly."""
    scopes = offered_scope_by_deck(booking)
    decks = [row.pk for row in booking.decks.all()]
    own = {pk: scopes[pk].hours if pk in scopes else Decimal(0) for pk in decks}
    whole = sum(own.values(), Decimal(0))
    weights = own if whole > 0 else dict.fromkeys(decks, Decimal(1))
    share = weights.get(deck.pk, Decimal(0)) / sum(weights.values(), Decimal(0))
    return (booking.hours * share).quantize(CENT, ROUND_HALF_UP)


def hours_planned_for_job(job: Job) -> Decimal | None:
    """Of the whole crew; None for a job without a booking."""
    booking = job.bookings.select_related("offer").order_by("id").first()
    return planned_hours(booking, job.deck) if booking else None


def litres_planned_for_job(job: Job) -> dict[int, Decimal]:
    """By the number of a product; nothing for a job without a booking by an offer."""
    booking = job.bookings.select_related("offer").order_by("id").first()
    return planned_litres(booking, job.deck) if booking else {}


@dataclass(frozen=True)
class DeckToLog:
    """A deck that is booked and not logged yet."""

    deck: Deck
    booking: Booking


def decks_to_log(crews: Sequence[Crew], *, day: date) -> list[DeckToLog]:
    """What these crews are booked for on that day and nobody has logged, in order of arrival."""
    rows = Booking.objects.filter(
        pk__in=BookingDay.objects.filter(crew_day__day=day, crew_day__crew__in=crews).values(
            "booking"
        ),
        state=Booking.State.BOOKED,
    )
    rows = rows.order_by(F("arrives_from").asc(nulls_last=True), "id")
    found = []
    for booking in rows.prefetch_related("decks__site__client", "jobs"):
        logged = {job.deck_id for job in booking.jobs.all()}
        left = (deck for deck in booking.decks.all() if deck.pk not in logged)
        found += [DeckToLog(deck, booking) for deck in sorted(left, key=lambda deck: deck.label)]
    return found


def offered_scope_by_deck(booking: Booking) -> dict[int, OfferScope]:
    if not booking.offer:
        return {}
    rows = booking.offer.scopes.select_related("product").prefetch_related("lines")
    return {scope.deck_id: scope for scope in rows}


def offer_total_by_deck(
    offer: Offer, decks: Sequence[Deck], scopes: dict[int, OfferScope]
) -> dict[int, Decimal]:
    """The total of the offer, taxes included, over its decks:
    by the lines of each, to the cent, the rest to the last.

    Lines of no deck, such as travel, are shared in the same proportion; without lines of decks
    everything is, evenly.
    """
    own = {
        deck.pk: (
            sum((line.amount for line in scopes[deck.pk].lines.all()), Decimal(0))
            if deck.pk in scopes
            else Decimal(0)
        )
        for deck in decks
    }
    whole = sum(own.values(), Decimal(0))
    weights = own if whole > 0 else dict.fromkeys(own, Decimal(1))
    whole = sum(weights.values(), Decimal(0))
    found = {
        pk: (offer.total * part / whole).quantize(CENT, ROUND_HALF_UP)
        for pk, part in weights.items()
    }
    last = list(found)[-1]
    found[last] += offer.total - sum(found.values(), Decimal(0))
    return found


def job_form_initial(booking: Booking, work: BookedDeck, *, today: date) -> dict[str, Any]:
    """The form “Log a job” as the booking fills it."""
    finished = min(booking.last_on, today)
    fields: dict[str, Any] = {
        "finished_on": finished,
        "crew": booking.crew.name,
        "amount": work.amount,
        **Job.objects.weather_of_day(finished, booking.crew.name),
    }
    if work.scope:
        fields["kind"] = work.scope.work
    return fields


def coat_form_initial(work: BookedDeck) -> list[dict[str, Any]]:
    """The product rows of the form: the finish, then what else the offer needed. How much went on
    is left to whoever measures; what was planned stands beside the field (`planned_litres`)."""
    scope = work.scope
    if scope is None or scope.product_id is None:
        return []
    surfaces = scope.surfaces or work.deck.surfaces
    finish = {
        "product": str(scope.product_id),
        "colour": scope.colour,
        "surfaces": surfaces,
        "coats": scope.coats,
    }
    others = [need for need in scope.buying if need.get("product") not in (None, scope.product_id)]
    return [
        finish,
        *({"product": str(need["product"]), "surfaces": surfaces, "coats": 1} for need in others),
    ]


def planned_litres(booking: Booking, deck: Deck) -> dict[int, Decimal]:
    """Number of a product → litres for that deck, as the offer calculated them."""
    scope = offered_scope_by_deck(booking).get(deck.pk)
    if scope is None:
        return {}
    found = {need.get("product"): litres_needed(need) for need in scope.buying}
    if scope.product_id:
        found[scope.product_id] = scope.litres
    return {product: litres for product, litres in found.items() if product and litres}


def litres_needed(need: dict[str, Any]) -> Decimal | None:
    return Decimal(str(need.get("litres") or 0)).quantize(CENT, ROUND_HALF_UP) or None
