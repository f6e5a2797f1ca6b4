"""Offers that clients have, and what they send from the page of one."""

from datetime import UTC, date, datetime
from typing import Any

from django.test import Client as Browser

from jobs.models import Offer
from jobs.offers import links
from tests.factories import OfferFactory, OfferLineFactory, OfferScopeFactory, OfferTaxFactory

NOW = datetime(2027, 5, 10, 12, tzinfo=UTC)  # a Monday morning in Nova Scotia
WEEK = "2027-05-17"


def sent_offer(**values: Any) -> tuple[Offer, str]:
    """An offer of one deck that the client has, and the address of its page."""
    token, token_hash = links.new_token()
    values = {"is_sent": True, "token_hash": token_hash, "valid_until": date(2027, 6, 1), **values}
    scope = OfferScopeFactory(offer=OfferFactory(**values))
    OfferLineFactory(offer=scope.offer, scope=scope)
    OfferTaxFactory(offer=scope.offer)
    return scope.offer, f"/o/{token}/"


def yes(week: str = WEEK, name: str = "Marlow Pennington") -> dict[str, str]:
    return {"answer": "accept", "accept-week": week, "accept-name": name}


def no(reason: str = "price", words: str = "") -> dict[str, str]:
    return {
        "answer": "decline",
        "decline-reason": reason,
        "decline-words": words,
        "decline-name": "Marlow Pennington",
    }


def question(words: str) -> dict[str, str]:
    return {"answer": "ask", "ask-words": words}


def page_of(browser: Browser, url: str) -> str:
    return " ".join(browser.get(url).content.decode().split())
