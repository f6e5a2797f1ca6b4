"""Whether a text holds what the rule wants in it: name, addresses, a way to hear no more."""

import re
from collections.abc import Callable, Iterable

from clients.messaging.law.rules import AGREED_BASES, LegalRule
from clients.messaging.texts import standard_phrase, substitute_typography, text_languages
from clients.messaging.unsendable import Unsendable
from clients.models import Business, traits_of

STOP_LINE_PATTERN = re.compile(r"\b(STOP|ARR[EÊ]T)\b", re.IGNORECASE)
ADVERTISEMENT_PATTERN = re.compile(r"advert|promotion|publicit", re.IGNORECASE)
OBJECTION_PATTERN = re.compile(
    r"(rather not|no (more|further)|not want|stop)\b.{0,40}\b(letters?|mail|post|hear)\b"
    r"|ne (plus|pas) recevoir|plus de (lettres|courrier)",
    re.IGNORECASE,
)
WITHDRAWAL = "withdrawal"  # of a request for consent alone: that it can be taken back
WHERE_TO_ENTER = "under Settings, The business"


def check_required_contents(
    rule: LegalRule, *, business: Business, text: str, basis: str = ""
) -> None:
    """Raises `Unsendable` naming what is missing.
    `text` still holds ``{unsubscribe_url}`` if it is an e-mail."""
    flat = normalize_wording(text)
    for name in rule.must_include:
        if name == "advertisement" and basis in AGREED_BASES:
            continue
        words, holds, is_known = REQUIRED_CONTENTS[name]
        if not is_known(business):
            raise Unsendable(
                f"By law it has to hold {words}. Enter it {WHERE_TO_ENTER} ({rule.code})."
            )
        if not holds(business, flat, rule.medium):
            raise Unsendable(f"By law it has to hold {words}. Put it into the text ({rule.code}).")


def required_words(name: str) -> str:
    if name == WITHDRAWAL:
        return "a word that it can be taken back"
    return REQUIRED_CONTENTS[name][0]


def missing_contents(names: Iterable[str], business: Business, text: str, medium: str) -> list[str]:
    """Which of these contents a text lacks, in words."""
    flat = normalize_wording(text)
    return [
        required_words(name)
        for name in names
        if not REQUIRED_CONTENTS[name][1](business, flat, medium)
    ]


def normalize_wording(text: str) -> str:
    """One spelling for what a text message had to be written plainer for, and for line breaks and
    capitals."""
    return " ".join(substitute_typography(text).split()).casefold()


def contains_wording(value: str, text: str) -> bool:
    return bool(value) and normalize_wording(value) in text


def has_name(business: Business, text: str, medium: str) -> bool:
    """The name under which it trades will do."""
    return contains_wording(business.name, text) or contains_wording(business.legal_name, text)


def has_legal_name(business: Business, text: str, medium: str) -> bool:
    return contains_wording(business.legal_name or business.name, text)


def has_address(business: Business, text: str, medium: str) -> bool:
    """Street and town, on one line or several."""
    return contains_wording(business.street, text) and (
        not business.town or contains_wording(business.town, text)
    )


def has_phone(business: Business, text: str, medium: str) -> bool:
    """The last seven digits, however they are written."""
    digits = re.sub(r"\D", "", business.phone)[-7:]
    return bool(digits) and digits in re.sub(r"[\s().\-‑/]", "", text)


def has_email(business: Business, text: str, medium: str) -> bool:
    return contains_wording(business.email, text) or contains_wording(business.sender, text)


def has_website(business: Business, text: str, medium: str) -> bool:
    return contains_wording(business.website.partition("://")[2].rstrip("/"), text)


def has_contact(business: Business, text: str, medium: str) -> bool:
    return any(holds(business, text, medium) for holds in (has_phone, has_email, has_website))


def has_address_or_website(business: Business, text: str, medium: str) -> bool:
    return has_address(business, text, medium) or has_website(business, text, medium)


def has_opt_out(business: Business, text: str, medium: str) -> bool:
    """A link in an e-mail, a word to answer with in a text message."""
    return (
        "{unsubscribe_url}" in text
        if traits_of(medium).has_opt_out_link
        else bool(STOP_LINE_PATTERN.search(text)) or has_standard_phrase("stop_line", text)
    )


def says_one_may_object(business: Business, text: str, medium: str) -> bool:
    """“If you would rather not have letters like this”, “no more mail”, or the like."""
    return bool(OBJECTION_PATTERN.search(text))


def is_marked_advertisement(business: Business, text: str, medium: str) -> bool:
    return bool(ADVERTISEMENT_PATTERN.search(text)) or has_standard_phrase("advertisement", text)


def has_standard_phrase(name: str, text: str) -> bool:
    """In any of the languages that come with the program."""
    return any(
        contains_wording(standard_phrase(language, name), text) for language in text_languages()
    )


ContentTest = Callable[[Business, str, str], bool]
BusinessTest = Callable[[Business], object]
REQUIRED_CONTENTS: dict[str, tuple[str, ContentTest, BusinessTest]] = {
    "name": ("the name of the business", has_name, lambda business: business.name),
    "legal_name": (
        "the legal name of the business",
        has_legal_name,
        lambda business: business.name,
    ),
    "postal_address": ("your postal address", has_address, lambda business: business.street),
    "postal_address_or_website": (
        "your postal address or website",
        has_address_or_website,
        lambda business: business.street or business.website,
    ),
    "phone": ("your telephone number", has_phone, lambda business: business.phone),
    "email": ("your e-mail address", has_email, lambda business: business.sender),
    "contact": (
        "your telephone, e-mail or website",
        has_contact,
        lambda business: business.phone or business.sender or business.website,
    ),
    "unsubscribe": ("a way to hear no more", has_opt_out, lambda business: True),
    "objection": (
        "a word that one may ask for no more letters",
        says_one_may_object,
        lambda business: True,
    ),
    "advertisement": (
        "a word that it is an advertisement",
        is_marked_advertisement,
        lambda business: True,
    ),
}
