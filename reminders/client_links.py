"""The address of a client's own page: a token in an e-mail, a code short enough to type elsewhere.

Both are derived from the key of the message, as its link to unsubscribe is (docs/decisions/0006),
so nothing but a keyed hash is kept. The arithmetic of guessing: docs/decisions/0035.
"""

import base64
import re
from dataclasses import dataclass
from datetime import date

from django.conf import settings

from clients.messaging.law import add_months
from clients.messaging.message_keys import derive_key
from clients.messaging.public_address import is_useless_on_paper
from clients.models import Business, traits_of
from reminders.models import ClientLink

# Ten letters and digits of 32, none of which is taken for another: 50 random bits.
CODE_ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
CODE_LENGTH = 10
BITS_PER_LETTER = 5
MISREAD = str.maketrans("OIL", "011")  # as people read and type them
TOKEN_BYTES = 30


@dataclass(frozen=True)
class ClientPageAddress:
    """The secret of one message, and the words that lead to its page."""

    secret: str
    page_hash: str
    url: str
    code: str = ""


def client_page_address(business: Business, key: str, channel: str) -> ClientPageAddress | None:
    """Of the message with this idempotency key; None where somebody speaks instead of writing, and
    on paper while no client could open the address."""
    traits = traits_of(channel)
    if traits.is_spoken or is_useless_on_paper(channel):
        return None
    derived = derive_key(business, "client page", key)
    if traits.carries_html:
        secret = base64.urlsafe_b64encode(derived[:TOKEN_BYTES]).decode()
    else:
        secret = short_code(derived)
    url = f"{settings.BASE_URL}/p/{secret}/"
    code = ""
    if traits.is_by_post:
        url = f"{settings.BASE_URL.partition('://')[2]}/p"
        code = f"{secret[:5]}-{secret[5:]}"
    return ClientPageAddress(secret, hash_secret(business, secret), url, code)


def short_code(derived: bytes) -> str:
    number = int.from_bytes(derived[:8], "big")
    mask = len(CODE_ALPHABET) - 1
    return "".join(
        CODE_ALPHABET[number >> BITS_PER_LETTER * place & mask] for place in range(CODE_LENGTH)
    )


def normalize_code(typed: str) -> str:
    """The code as it was meant: small letters, gaps and the letters that look like digits."""
    return re.sub(r"[\s-]", "", typed).upper().translate(MISREAD)


def is_short_code(secret: str) -> bool:
    """Whether it could be typed, and so could be guessed at."""
    return len(secret) < 2 * CODE_LENGTH


def hash_secret(business: Business, secret: str) -> str:
    """What is kept: an HMAC, for a code alone could be found from a plain hash."""
    known = normalize_code(secret) if is_short_code(secret) else secret
    return derive_key(business, "client page address", known).hex()


def client_link_by_secret(business: Business, secret: str) -> ClientLink | None:
    """The link with its message and client."""
    rows = ClientLink.objects.select_related("message__client")
    return rows.filter(page_hash=hash_secret(business, secret)).first()


def is_client_link_expired(link: ClientLink, business: Business, *, today: date) -> bool:
    """As the link of an offer: the months that the owner set are over, counted from the message;
    or the client was put away."""
    until = add_months(business.today(link.made_at), business.answered_link_months)
    return link.message.client.archived_at is not None or today >= until
