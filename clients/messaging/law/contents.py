"""Whether a text holds what the rule wants in it: name, addresses, a way to hear no more."""

import re
from collections.abc import Callable

from clients.messaging import sms_parts
from clients.messaging.law.rule import AGREED, Rule
from clients.messaging.unsendable import Unsendable
from clients.models import Business
from clients.models.channel import Channel

STOP = re.compile(r"\b(STOP|ARR[EÊ]T)\b", re.IGNORECASE)
ADVERTISEMENT = re.compile(r"advert|promotion|publicit", re.IGNORECASE)
WHERE = "under Settings, The business"


def check(rule: Rule, *, business: Business, text: str, basis: str = "") -> None:
    """Raises `Unsendable` naming what is missing. `text` still holds ``{unsubscribe_url}`` if it is an e-mail."""
    flat = plain(text)
    for name in rule.must_include:
        if name == "advertisement" and basis in AGREED:
            continue
        words, holds, is_known = WANTED[name]
        if not is_known(business):
            raise Unsendable(f"The law ({rule.code}) wants {words} in it; enter it {WHERE}.")
        if not holds(business, flat, rule.medium):
            raise Unsendable(f"The law ({rule.code}) wants {words} in it. Put it into the text.")


def plain(text: str) -> str:
    """One spelling for what a text message had to be written plainer for, and for line breaks and capitals."""
    return " ".join(sms_parts.plain(text).split()).casefold()


def has(value: str, text: str) -> bool:
    return bool(value) and plain(value) in text


def has_name(business: Business, text: str, medium: str) -> bool:
    """The name under which it trades will do."""
    return has(business.name, text) or has(business.legal_name, text)


def has_legal_name(business: Business, text: str, medium: str) -> bool:
    return has(business.legal_name or business.name, text)


def has_address(business: Business, text: str, medium: str) -> bool:
    """Street and town, on one line or several."""
    return has(business.street, text) and (not business.town or has(business.town, text))


def has_phone(business: Business, text: str, medium: str) -> bool:
    """The last seven digits, however they are written."""
    digits = re.sub(r"\D", "", business.phone)[-7:]
    return bool(digits) and digits in re.sub(r"[\s().\-‑/]", "", text)


def has_email(business: Business, text: str, medium: str) -> bool:
    return has(business.email, text) or has(business.sender, text)


def has_website(business: Business, text: str, medium: str) -> bool:
    return has(business.website.partition("://")[2].rstrip("/"), text)


def has_contact(business: Business, text: str, medium: str) -> bool:
    return any(holds(business, text, medium) for holds in (has_phone, has_email, has_website))


def has_address_or_website(business: Business, text: str, medium: str) -> bool:
    return has_address(business, text, medium) or has_website(business, text, medium)


def has_way_out(business: Business, text: str, medium: str) -> bool:
    """A link in an e-mail, a word to answer with in a text message."""
    return "{unsubscribe_url}" in text if medium == Channel.EMAIL else bool(STOP.search(text))


def says_advertisement(business: Business, text: str, medium: str) -> bool:
    return bool(ADVERTISEMENT.search(text))


Holds = Callable[[Business, str, str], bool]
Knows = Callable[[Business], object]
WANTED: dict[str, tuple[str, Holds, Knows]] = {
    "name": ("the name of the business", has_name, lambda business: business.name),
    "legal_name": ("the legal name of the business", has_legal_name, lambda business: business.name),
    "postal_address": ("your postal address", has_address, lambda business: business.street),
    "postal_address_or_website": (
        "your postal address or website", has_address_or_website, lambda business: business.street or business.website,
    ),
    "phone": ("your telephone number", has_phone, lambda business: business.phone),
    "email": ("your e-mail address", has_email, lambda business: business.sender),
    "contact": (
        "your telephone, e-mail or website", has_contact,
        lambda business: business.phone or business.sender or business.website,
    ),
    "unsubscribe": ("a way to hear no more", has_way_out, lambda business: True),
    "advertisement": ("a word that it is an advertisement", says_advertisement, lambda business: True),
}  # fmt: skip
