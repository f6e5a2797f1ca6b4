"""The terms of an offer: those of the business while it is a draft, frozen from then on."""

from dataclasses import dataclass
from decimal import Decimal

from clients.notation import StrOrPromise, primary_language
from jobs.models import TERM_HEADINGS, Offer, OfferTerms
from jobs.offers.pricing import cents

HUNDRED = Decimal(100)


@dataclass(frozen=True)
class OfferTerm:
    """One part of them."""

    heading: StrOrPromise
    words: str


def current_terms(language: str) -> dict[str, str]:
    """Part → words, in this language or the shorter form of it; never in another one."""
    rows = {row.language: row for row in OfferTerms.objects.all()}
    row = rows.get(language) or rows.get(primary_language(language))
    return row.parts if row else {}


def terms_of_offer(offer: Offer) -> list[OfferTerm]:
    """As the client agrees to them, or agreed; a change order adds none of its own."""
    if offer.original_id:
        return []
    is_draft = offer.state == Offer.State.DRAFT
    kept = current_terms(offer.language) if is_draft else offer.terms
    return [OfferTerm(TERM_HEADINGS[name], kept[name]) for name in TERM_HEADINGS if name in kept]


def deposit_of_offer(offer: Offer) -> Decimal:
    """What is asked when the client accepts, tax included; 0 for none."""
    if offer.deposit_percent:
        share: Decimal = offer.total * offer.deposit_percent / HUNDRED
        return cents(share)
    most: Decimal = max(offer.total, Decimal(0))
    return offer.deposit_amount if offer.deposit_amount < most else most
