"""Drafting offers: rows of the book → frozen inputs of jobs.offers.pricing → the rows of an offer,
not yet saved."""

from jobs.offers.drafting import DraftedOffer, OfferBrief, draft_offer
from jobs.offers.pricing_inputs import DraftingContext, drafting_context, prices_from_list
from jobs.offers.waiting_cost import strip_scopes

__all__ = [
    "DraftedOffer",
    "DraftingContext",
    "OfferBrief",
    "draft_offer",
    "drafting_context",
    "prices_from_list",
    "strip_scopes",
]
