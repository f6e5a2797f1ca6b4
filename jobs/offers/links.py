"""Links that a stranger cannot guess: the token of an offer goes to the client, and the database
keeps only its hash; that of a report is derived."""

import secrets

from django.conf import settings

from clients.messaging.message_keys import derive_key, token_hash
from clients.messaging.public_address import is_useless_on_paper
from clients.models import Business, is_primary_key
from jobs.models import StructureCheck

__all__ = ["new_token", "offer_url", "report_by_token", "report_url", "token_hash"]

TOKEN_BYTES = 24  # 192 random bits, 32 characters that are safe in a path
REPORT_PROOF_DIGITS = 32  # 128 bits in hex


def new_token() -> tuple[str, str]:
    """A fresh token and the SHA-256 of it in hex, which is all that may be stored."""
    token = secrets.token_urlsafe(TOKEN_BYTES)
    return token, token_hash(token)


def offer_url(token: str, channel: str = "") -> str:
    """The address of the page on which the client looks at the offer and answers it; empty in a
    letter while no client could open it."""
    return "" if is_useless_on_paper(channel) else f"{settings.BASE_URL}/o/{token}/"


def report_url(check: StructureCheck, channel: str = "") -> str:
    """Where a client reads what was found on their deck. Derived, not stored: it is the same
    however often it is sent, and only for who owns the deck now. Empty as `offer_url` is."""
    if is_useless_on_paper(channel):
        return ""
    left = f"{check.pk}-{check.deck.site.client_id}"
    return f"{settings.BASE_URL}/s/{left}-{report_proof(left)}/"


def report_proof(left: str) -> str:
    """128 bits that only this book can make."""
    return derive_key(Business.objects.get(), "report", left).hex()[:REPORT_PROOF_DIGITS]


def report_by_token(token: str) -> StructureCheck | None:
    """The report behind a link; None where the link was made up, or the deck has been sold."""
    left, _, proof = token.rpartition("-")
    pk, _, client = left.partition("-")
    if not (is_primary_key(pk) and is_primary_key(client)):
        return None
    if not secrets.compare_digest(proof.encode(), report_proof(left).encode()):
        return None
    rows = StructureCheck.objects.filter(pk=int(pk), deck__site__client=int(client))
    return rows.with_report().first()
