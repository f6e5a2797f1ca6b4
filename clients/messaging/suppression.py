"""Addresses that asked not to be written to:
only a keyed hash of the normalised address is kept, for good."""

import hmac
import re
import unicodedata
from collections.abc import Iterable
from functools import lru_cache

from django.utils.encoding import punycode

from clients.messaging.models import Suppression
from clients.models import Business, traits_of


@lru_cache(maxsize=256)
def normalize_address(channel: str, address: str) -> str:
    """One spelling for every way of writing an address;
    what is compared and hashed, never what is written to."""
    text = unicodedata.normalize("NFC", re.sub(r"\s+", " ", address).strip()).lower()
    if not traits_of(channel).is_by_mailbox or "@" not in text:
        return text
    local, _, domain = text.rpartition("@")
    return f"{local}@{ascii_domain(domain)}"


def address_spellings(channel: str, address: str) -> set[str]:
    """Ways in which the book may hold the same address, in small letters:
    both forms of a domain (RFC 5891), and letters with their accents joined or apart."""
    same = normalize_address(channel, address)
    local, at, domain = same.rpartition("@")
    written = (
        {same, f"{local}{at}{unicode_domain(domain)}"}
        if at and traits_of(channel).is_by_mailbox
        else {same}
    )
    return {unicodedata.normalize(form, each) for each in written for form in ("NFC", "NFD")}


def unicode_domain(domain: str) -> str:
    """The domain as people read it."""
    try:
        return domain.encode("ascii").decode("idna")
    except UnicodeError:
        return domain


@lru_cache(maxsize=1024)
def ascii_domain(domain: str) -> str:
    """The A-label form of a domain (RFC 5891), or the domain itself if it has none."""
    try:
        return punycode(domain)
    except UnicodeError:
        return domain


def address_hash(business: Business, channel: str, address: str) -> str:
    """HMAC-SHA256 under the key that lives with the data (docs/decisions/0004)."""
    return keyed_hash(business.suppression_key, f"{channel}\0{normalize_address(channel, address)}")


@lru_cache(maxsize=256)  # a sender asks twice about each message
def keyed_hash(key: str, text: str) -> str:
    return hmac.digest(key.encode(), text.encode(), "sha256").hex()


def suppress_address(*, business: Business, channel: str, address: str, reason: str) -> None:
    """Never write to it again by this channel; once is as good as twice."""
    row = Suppression(
        channel=channel, address_hash=address_hash(business, channel, address), reason=reason[:300]
    )
    Suppression.objects.bulk_create([row], ignore_conflicts=True)


def unsuppress_address(*, business: Business, channel: str, address: str) -> bool:
    """Allow it again; only for somebody who has just asked for that in so many words.
    True if it was suppressed."""
    hashed = address_hash(business, channel, address)
    return bool(Suppression.objects.filter(channel=channel, address_hash=hashed).delete()[0])


def suppressed_addresses(*, business: Business, channel: str, addresses: Iterable[str]) -> set[str]:
    """Those of the addresses that are suppressed, as they were given."""
    hashes = {address: address_hash(business, channel, address) for address in addresses}
    found = Suppression.objects.filter(channel=channel, address_hash__in=list(hashes.values()))
    known = set(found.values_list("address_hash", flat=True))
    return {address for address, hashed in hashes.items() if hashed in known}
