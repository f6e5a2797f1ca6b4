"""Secrets that the database keeps for the program: sealed with its key, so that a copy of the
database alone does not tell them.

A stream cipher made of a keyed hash (HMAC-SHA256 of a nonce and a counter as its key stream), with
a second key over nonce and text so that a changed one is refused (encrypt, then MAC). The keys are
derived from SECRET_KEY; whoever changes that enters the secrets again (docs/decisions/0034).
"""

import base64
import hmac
import secrets

from django.conf import settings

NONCE_BYTES = 16
TAG_BYTES = 32
BLOCK_BYTES = 32  # of SHA-256


class SealError(ValueError):
    """What is kept cannot be opened with this key."""


def sealing_key(purpose: str) -> bytes:
    return hmac.digest(settings.SECRET_KEY.encode(), f"sealing/{purpose}".encode(), "sha256")


def mask_bytes(content: bytes, nonce: bytes) -> bytes:
    """The content against the key stream of this nonce; done twice it is the content again."""
    key = sealing_key("stream")
    blocks = range(-(-len(content) // BLOCK_BYTES))
    stream = b"".join(hmac.digest(key, nonce + each.to_bytes(4), "sha256") for each in blocks)
    return bytes(one ^ other for one, other in zip(content, stream, strict=False))


def seal(secret: str) -> str:
    """Sealed differently each time; what is empty stays empty."""
    if not secret:
        return ""
    nonce = secrets.token_bytes(NONCE_BYTES)
    masked = nonce + mask_bytes(secret.encode(), nonce)
    tag = hmac.digest(sealing_key("tag"), masked, "sha256")
    return base64.urlsafe_b64encode(tag + masked).decode()


def unseal(sealed: str) -> str:
    """The secret again. Raises `SealError` if the key is another or the text was changed."""
    if not sealed:
        return ""
    try:
        raw = base64.urlsafe_b64decode(sealed)
    except ValueError as error:
        raise SealError("What is kept is no sealed secret.") from error
    tag, masked = raw[:TAG_BYTES], raw[TAG_BYTES:]
    if not hmac.compare_digest(tag, hmac.digest(sealing_key("tag"), masked, "sha256")):
        raise SealError("The secret was sealed with another key. Enter it again.")
    nonce, content = masked[:NONCE_BYTES], masked[NONCE_BYTES:]
    return mask_bytes(content, nonce).decode()
