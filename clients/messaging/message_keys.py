"""What is derived from a message's idempotency key:
its Message-ID and the token of its unsubscribe link.

Both can be computed again on any host at any time, so neither a random token nor a link is kept in
the clear (docs/decisions/0006). The key that they hang on lives with the data and outlasts a
changed SECRET_KEY.
"""

import base64
import hashlib
import hmac
import re

from django.conf import settings

from clients.messaging.models import Message
from clients.messaging.suppression import ascii_domain
from clients.models import Business

UNSUBSCRIBE_TOKEN = re.compile(r"[A-Za-z0-9_-]{40}")  # as `unsubscribe_token` makes them


def derive_key(business: Business, purpose: str, key: str) -> bytes:
    """256 bits that cannot be guessed without the business's key; purposes do not mix."""
    return hmac.digest(business.suppression_key.encode(), f"{purpose}\0{key}".encode(), "sha256")


def make_message_id(business: Business, key: str, *, sending: int = 1) -> str:
    """RFC 5322, 3.6.4. The same row keeps its id on any machine retry;
    a person's deliberate re-send gets a new one."""
    left = derive_key(business, "message-id", key).hex()[:32]
    suffix = f".{sending}" if sending > 1 else ""
    return f"<{left}{suffix}@{sending_domain(business)}>"


def sending_domain(business: Business) -> str:
    domain = business.sender.rpartition("@")[2] or "localhost"
    return ascii_domain(domain)


def sending_number(of_message_id: str) -> int:
    """Which deliberate sending an id stands for: 1, then 2 after the first "send again"."""
    left = of_message_id.strip("<>").rpartition("@")[0]
    suffix = left.rpartition(".")[2]
    return int(suffix) if "." in left and suffix.isdigit() else 1


def unsubscribe_token(business: Business, key: str) -> str:
    """240 bits, 40 characters that are safe in a path."""
    return base64.urlsafe_b64encode(derive_key(business, "unsubscribe", key)[:30]).decode()


def is_whole_unsubscribe_token(token: str) -> bool:
    """Whether it has the form of one: a link that was cut short has not, whoever's it was."""
    return UNSUBSCRIBE_TOKEN.fullmatch(token) is not None


def token_hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def unsubscribe_url(token: str) -> str:
    return f"{settings.BASE_URL}/u/{token}/"


def unsubscribe_link(business: Business, message: Message) -> str:
    """The unsubscribe link of a message that has one, else nothing."""
    if not message.unsubscribe_hash:
        return ""
    return unsubscribe_url(unsubscribe_token(business, message.idempotency_key))
