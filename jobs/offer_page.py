"""What the client sees of an offer: the same facts for the public page and for the PDF."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date

from django.db.models import QuerySet

from jobs.foretold import Foretold, foretold
from jobs.models import Offer, OfferEvent, OfferLine, OfferScope, Photo

Event = OfferEvent.Kind
State = Offer.State
EXPIRED = "expired"
GONE = {EXPIRED, State.WITHDRAWN, State.REPLACED}  # the link leads to nothing that could still be agreed


@dataclass(frozen=True)
class DeckPart:
    """One deck of an offer: what is to be done on it, its lines, its newest photograph and its forecast."""

    scope: OfferScope
    lines: list[OfferLine]
    photo: Photo | None
    foretold: Foretold | None


@dataclass(frozen=True)
class OfferPage:
    """An offer as it is shown, on the day `today` at the business."""

    offer: Offer
    today: date
    parts: list[DeckPart]
    other_lines: list[OfferLine]

    @property
    def standing(self) -> str:
        """The state as the client understands it: one that ran out is no longer open."""
        return EXPIRED if self.offer.is_expired(today=self.today) else str(self.offer.state)

    @property
    def is_open(self) -> bool:
        return self.standing == State.OPEN

    @property
    def has_tax_inside(self) -> bool:
        return self.offer.tax_mode == self.offer.price_list.TaxMode.INCLUSIVE

    @property
    def sections(self) -> list[tuple[str, list[OfferLine]]]:
        """Lines under the name of their deck, if there are several decks; what belongs to no deck comes last."""
        if len(self.parts) < 2:
            lines = [line for part in self.parts for line in part.lines] + self.other_lines
            return [("", sorted(lines, key=lambda line: line.position))]
        named = [(part.scope.deck.label, part.lines) for part in self.parts]
        return [(name, lines) for name, lines in [*named, ("For the visit", self.other_lines)] if lines]

    @property
    def said(self) -> list[OfferEvent]:
        """Questions and answers, oldest first."""
        return [event for event in self.offer.events.all() if event.kind in {Event.ASKED, Event.ANSWERED}]


def offer_of(token_hash: str) -> Offer | None:
    """The offer behind a link, with everything its page shows; a draft has no page."""
    found = with_all(Offer.objects.filter(token_hash=token_hash).exclude(state=State.DRAFT))
    return found.first()


def with_all(offers: QuerySet[Offer]) -> QuerySet[Offer]:
    """In a fixed number of queries."""
    related = offers.select_related("client", "property", "price_list")
    return related.prefetch_related("scopes__deck__property", "scopes__product", "lines", "taxes", "events")


def offer_page(offer: Offer, *, today: date) -> OfferPage:
    """Put together what is shown. The forecast is told only while it can still help to decide."""
    scopes = list(offer.scopes.all())
    decks = [scope.deck_id for scope in scopes]
    photos = newest_photos(decks)
    told = foretold(decks, today=today) if offer.state in {State.DRAFT, State.OPEN} else {}
    lines = list(offer.lines.all())
    parts = [
        DeckPart(scope, [line for line in lines if line.scope_id == scope.pk], photos.get(scope.deck_id),
                 told.get(scope.deck_id))
        for scope in scopes
    ]  # fmt: skip
    return OfferPage(offer, today, parts, [line for line in lines if line.scope_id is None])


def newest_photos(deck_ids: Collection[int]) -> dict[int, Photo]:
    """The newest photograph of each deck, in one query."""
    rows = Photo.objects.filter(deck__in=deck_ids).order_by("deck_id", "-taken_on", "-id").distinct("deck_id")
    return {photo.deck_id: photo for photo in rows}
