"""How a post is signed: the open specification Standard Webhooks, its symmetric scheme v1."""

import base64
import hashlib
import hmac
import secrets

PREFIX = "whsec_"
KEY_BYTES = 32  # the specification asks for 24 to 64


def new_signing_secret() -> str:
    return PREFIX + base64.b64encode(secrets.token_bytes(KEY_BYTES)).decode()


def signed_headers(*, secret: str, message_id: str, timestamp: int, body: bytes) -> dict[str, str]:
    """The three headers; the key is what stands behind the prefix, the signature is over
    `id.timestamp.body`."""
    key = base64.b64decode(secret.removeprefix(PREFIX))
    content = f"{message_id}.{timestamp}.".encode() + body
    signature = base64.b64encode(hmac.digest(key, content, hashlib.sha256)).decode()
    return {
        "webhook-id": message_id,
        "webhook-timestamp": str(timestamp),
        "webhook-signature": f"v1,{signature}",
    }
