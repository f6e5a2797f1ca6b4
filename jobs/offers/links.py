"""Links that a stranger cannot guess: the token of an offer goes to the client, and the database
keeps only its hash; that of a report is signed."""

import secrets

from django.conf import settings
from django.core.signing import BadSignature, Signer

from clients.messaging.message_keys import token_hash
from jobs.models import StructureCheck

__all__ = ["new_token", "offer_url", "report_by_token", "report_url", "token_hash"]

TOKEN_BYTES = 24  # 192 random bits, 32 characters that are safe in a path
REPORT_SIGNER = Signer(salt="what we found on a deck", sep="~")


def new_token() -> tuple[str, str]:
    """A fresh token and the SHA-256 of it in hex, which is all that may be stored."""
    token = secrets.token_urlsafe(TOKEN_BYTES)
    return token, token_hash(token)


def offer_url(token: str) -> str:
    """The address of the page on which the client looks at the offer and answers it."""
    return f"{settings.BASE_URL}/o/{token}/"


def report_url(check: StructureCheck) -> str:
    """Where a client reads what was found on their deck. Signed, not stored: it is the same
    however often it is sent, and only for who owns the deck now."""
    token = REPORT_SIGNER.sign(f"{check.pk}-{check.deck.site.client_id}")
    return f"{settings.BASE_URL}/s/{token}/"


def report_by_token(token: str) -> StructureCheck | None:
    """The report behind a link; None where the link was made up, or the deck has been sold."""
    try:
        pk, client = REPORT_SIGNER.unsign(token).split("-")
    except (BadSignature, ValueError):
        return None
    rows = StructureCheck.objects.select_related("deck__site__client")
    return rows.filter(pk=pk, deck__site__client=client).prefetch_related("defects__photos").first()
