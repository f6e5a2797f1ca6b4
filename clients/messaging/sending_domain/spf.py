"""SPF (RFC 7208): which servers may send in the name of a domain."""

import re

from clients.messaging.sending_domain.dns import Ask

VERSION = "v=spf1"
MOST_LOOKUPS = 10  # RFC 7208 §4.6.4
ASKING = {"include", "a", "mx", "ptr", "exists", "redirect"}  # the same section


def records(domain: str, ask: Ask) -> list[str]:
    """The SPF records of a domain; more than one is an error (§4.5)."""
    return [text for text in ask(domain, "TXT") if text.lower() == VERSION or text.lower().startswith(VERSION + " ")]


def terms(record: str) -> list[str]:
    return record.split()[1:]


def plain(term: str) -> str:
    """The term without its qualifier."""
    return term.lstrip("+-~?").lower()


def is_asking(term: str) -> bool:
    """Whether the receiver must ask DNS again for it."""
    return re.split(r"[:/=]", plain(term))[0] in ASKING


def lookups(record: str, ask: Ask, depth: int = 0) -> int:
    """How many questions a receiver must ask, those of included records with them; cut off well above the limit."""
    asking = [term for term in terms(record) if is_asking(term)]
    count = len(asking)
    for term in asking if depth < MOST_LOOKUPS else []:
        word = plain(term)
        if count <= 2 * MOST_LOOKUPS and word.startswith(("include:", "redirect=")):
            inner = records(word.replace("=", ":", 1).split(":", 1)[1], ask)
            count += lookups(inner[0], ask, depth + 1) if inner else 0
    return count


def ending(record: str) -> str:
    """What becomes of servers that are not named: `-all`, `~all`, `?all`, `+all`, `redirect`, or nothing."""
    for term in terms(record):
        if plain(term) == "all":
            return f"{term[0] if term[0] in '+-~?' else '+'}all"
    return "redirect" if any(plain(term).startswith("redirect=") for term in terms(record)) else ""
