"""The words by which somebody is asked whether we may write: what for, by which way, who we are
and where, and that it can be taken back.

Canada wants the purpose, the name and the mailing address of who asks, a telephone number, e-mail
or web address, and a word that consent can be withdrawn (S.C. 2010 c. 23, s. 10(1);
SOR/2012-36, s. 4). It is said everywhere.
"""

import re
from functools import cache

from django.conf import settings
from django.utils.translation import gettext, gettext_noop, override

from clients import display
from clients.messaging.law import AGREED_BASES, IMPLIED_BASES, LegalRule, contents
from clients.models import Business, Channel, traits_of

WHO_ASKS = gettext_noop("Asked by {who}. I can take this back at any time.")
UNTOLD_CUSTOMER = "Existing customer; nothing was said about messages."
TOLD_CUSTOMER = "Existing customer; told when the address was taken that they may refuse."
CHANCE_TO_REFUSE = "a word, when the address was taken, that they may refuse"
WITHDRAWAL_PATTERN = re.compile(
    r"tak\w+ (this|it|that|my \w+) back|withdr[ae]w|revo[kc]|unsubscribe|at any time|\bSTOP\b"
    r"|retirer|en tout temps|à tout moment|désabonn",
    re.IGNORECASE,
)


def consent_wording(business: Business, channel: Channel, address: str) -> str:
    """The whole text that is agreed to, in the language in force; `address` as it is shown."""
    agreed = str(traits_of(channel).consent_wording)
    return f"{agreed.format(business=business.name, address=address)} {identity_words(business)}"


def identity_words(business: Business) -> str:
    reach = ", ".join(
        filter(None, [display.format_phone(business.phone), business.email, business.website])
    )
    who = ", ".join(
        filter(None, [business.legal_name or business.name, business.postal_address, reach])
    )
    return gettext(WHO_ASKS).format(who=who)


def customer_wording(rule: LegalRule) -> str:
    """What is kept of somebody who is said to be a customer, or said to have been told."""
    return TOLD_CUSTOMER if rule.implied_if_told else UNTOLD_CUSTOMER


def asked_without(rule: LegalRule, business: Business, *, basis: str, wording: str) -> list[str]:
    """What the law wants to be said to somebody who is asked to agree, or who is a customer, and
    these words lack; empty for our own wording, which says all of it with the address of its
    day."""
    if basis in IMPLIED_BASES:
        return [CHANCE_TO_REFUSE] if rule.implied_if_told and wording == UNTOLD_CUSTOMER else []
    if basis not in AGREED_BASES or not rule.asking_must_include or is_our_wording(wording):
        return []
    named = [name for name in rule.asking_must_include if name != contents.WITHDRAWAL]
    missing = contents.missing_contents(named, business, wording, rule.medium)
    if contents.WITHDRAWAL in rule.asking_must_include and not WITHDRAWAL_PATTERN.search(wording):
        missing.append(contents.required_words(contents.WITHDRAWAL))
    return missing


def is_our_wording(wording: str) -> bool:
    """Whether it holds the sentence by which we say who asks, in any of our languages."""
    return any(before in wording and after in wording for before, after in our_sentences())


@cache
def our_sentences() -> list[tuple[str, str]]:
    """What stands before and after our name in each language; the page of the law asks for each
    consent in the book."""
    found = []
    for language, _name in settings.LANGUAGES:
        with override(language):
            before, _, after = gettext(WHO_ASKS).partition("{who}")
        found.append((before, after))
    return found
