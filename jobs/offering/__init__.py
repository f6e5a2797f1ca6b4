"""Drafting offers: rows of the book → frozen inputs of jobs.pricing → the rows of an offer, not yet saved."""

from jobs.offering.drafting import DraftedOffer, Order, draft
from jobs.offering.inputs import Desk, desk, prices_of
from jobs.offering.waiting import strips_of

__all__ = ["Desk", "DraftedOffer", "Order", "desk", "draft", "prices_of", "strips_of"]
