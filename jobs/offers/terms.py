"""The terms of an offer: those of the business while it is a draft, frozen from then on."""

from dataclasses import dataclass
from decimal import Decimal

from clients.notation import StrOrPromise, primary_language
from jobs.models import RIGHT_TO_CANCEL, TERM_HEADINGS, Offer, OfferTerms
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
    kept = kept_terms(offer)
    return [OfferTerm(TERM_HEADINGS[name], kept[name]) for name in TERM_HEADINGS if name in kept]


def prescribed_right(offer: Offer) -> OfferTerm | None:
    """The statement of the right to cancel as the owner has copied it from the law; None if they
    have not."""
    heading, _, words = kept_terms(offer).get(RIGHT_TO_CANCEL, "").partition("\n")
    return OfferTerm(heading.strip(), words.strip()) if heading else None


def kept_terms(offer: Offer) -> dict[str, str]:
    if offer.state == Offer.State.DRAFT:
        return terms_to_keep(offer)
    kept: dict[str, str] = offer.terms
    return kept


def terms_to_keep(offer: Offer) -> dict[str, str]:
    """What a draft will be sent with."""
    current = current_terms(offer.language)
    if offer.original_id:
        return {name: text for name, text in current.items() if name == RIGHT_TO_CANCEL}
    return current


def deposit_of_offer(offer: Offer) -> Decimal:
    """What is asked when the client accepts, tax included; 0 for none."""
    if offer.deposit_percent:
        share: Decimal = offer.total * offer.deposit_percent / HUNDRED
        return cents(share)
    most: Decimal = max(offer.total, Decimal(0))
    return offer.deposit_amount if offer.deposit_amount < most else most
