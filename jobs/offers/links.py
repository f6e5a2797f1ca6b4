"""Links that a stranger cannot guess: the token goes to the client, the database keeps only its
hash."""

import secrets

from django.conf import settings

from clients.messaging.message_keys import token_hash

__all__ = ["new_token", "offer_url", "token_hash"]

TOKEN_BYTES = 24  # 192 random bits, 32 characters that are safe in a path


def new_token() -> tuple[str, str]:
    """A fresh token and the SHA-256 of it in hex, which is all that may be stored."""
    token = secrets.token_urlsafe(TOKEN_BYTES)
    return token, token_hash(token)


def offer_url(token: str) -> str:
    """The address of the page on which the client looks at the offer and answers it."""
    return f"{settings.BASE_URL}/o/{token}/"
