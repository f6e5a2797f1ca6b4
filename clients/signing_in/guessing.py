"""Wrong codes and passwords are counted, so that nobody can try them through.

A network has its own count; codes of client pages, which are short, have one of all networks
besides (docs/decisions/0035). Passwords do not: it would let a stranger lock the owner out.
"""

import ipaddress
from dataclasses import dataclass
from datetime import datetime

from django.core.cache import cache

COUNTED_SECONDS = 3600


@dataclass(frozen=True)
class GuessLimit:
    """How many wrong ones are taken within an hour."""

    kind: str
    a_network: int
    in_all: int | None = None

    def is_reached(self, address: str, *, now: datetime) -> bool:
        names = self.counter_names(address, now)
        counts: dict[str, int] = cache.get_many(names)
        return any(counts.get(name, 0) >= limit for name, limit in names.items())

    def note_wrong(self, address: str, *, now: datetime) -> None:
        for name in self.counter_names(address, now):
            if not cache.add(name, 1, COUNTED_SECONDS):
                cache.incr(name)

    def counter_names(self, address: str, now: datetime) -> dict[str, int]:
        """The counters that this guess adds to, with their limits."""
        hour = int(now.timestamp() // COUNTED_SECONDS)
        names = {f"wrong-{self.kind}/{hour}/{network_of(address)}": self.a_network}
        if self.in_all is not None:
            names[f"wrong-{self.kind}/{hour}"] = self.in_all
        return names


PAGE_CODES = GuessLimit("code", a_network=20, in_all=1_000)
ASKED_LINKS = GuessLimit("asked-link", a_network=10)  # right or wrong
PASSWORDS = GuessLimit("password", a_network=60)  # an office shares one address


def network_of(address: str) -> str:
    """One IPv4 address, or the /64 that one household has of IPv6 (RFC 6177)."""
    try:
        known = ipaddress.ip_address(address)
    except ValueError:
        return "unknown"
    length = 32 if known.version == 4 else 64
    return str(ipaddress.ip_network((known, length), strict=False))


def second_step_limit(person: int) -> GuessLimit:
    """Wrong codes of one person, whose password was right before: so few of all networks together
    that six digits cannot be tried through (three are right at a time: 30 an hour find one in
    half a year with chance 1/3). Only somebody who has the password can use them up, and passkeys
    go on working."""
    return GuessLimit(f"second-{person}", a_network=10, in_all=30)
