"""Secrets that the database keeps for the program: sealed with its key, so that a copy of the
database alone does not tell them.

By Fernet of the library `cryptography` (AES and HMAC-SHA256). Its key is derived from SECRET_KEY;
whoever changes that enters the secrets again (docs/decisions/0034).
"""

import base64
import hmac

from cryptography.fernet import Fernet, InvalidToken
from django.conf import settings


class SealError(ValueError):
    """What is kept cannot be opened with this key."""


def fernet() -> Fernet:
    key = hmac.digest(settings.SECRET_KEY.encode(), b"sealing", "sha256")
    return Fernet(base64.urlsafe_b64encode(key))


def seal(secret: str) -> str:
    """Sealed differently each time; what is empty stays empty."""
    return fernet().encrypt(secret.encode()).decode() if secret else ""


def unseal(sealed: str) -> str:
    """The secret again. Raises `SealError` if the key is another or the text was changed."""
    if not sealed:
        return ""
    try:
        return fernet().decrypt(sealed.encode()).decode()
    except InvalidToken as error:
        raise SealError("The secret was sealed with another key. Enter it again.") from error
