"""Drafting offers: rows of the book → frozen inputs of jobs.offers.pricing → the rows of an offer, not yet saved."""

from jobs.offers.drafting import DraftedOffer, Order, draft
from jobs.offers.inputs import Desk, desk, prices_of
from jobs.offers.waiting import strips_of

__all__ = ["Desk", "DraftedOffer", "Order", "desk", "draft", "prices_of", "strips_of"]
