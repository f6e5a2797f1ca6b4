"""Wrong codes are counted, so that nobody can try them through (docs/decisions/0035)."""

import ipaddress
from datetime import datetime

from django.core.cache import cache

MAX_WRONG_A_NETWORK = 20  # codes an hour
MAX_WRONG_IN_ALL = 1_000  # codes an hour, from everywhere together
COUNTED_SECONDS = 3600


def is_guessing_too_much(address: str, *, now: datetime) -> bool:
    """Whether this network, or all together, typed too many wrong codes within the hour."""
    own, total = counter_names(address, now)
    counts: dict[str, int] = cache.get_many([own, total])
    return counts.get(own, 0) >= MAX_WRONG_A_NETWORK or counts.get(total, 0) >= MAX_WRONG_IN_ALL


def note_wrong_code(address: str, *, now: datetime) -> None:
    for name in counter_names(address, now):
        if not cache.add(name, 1, COUNTED_SECONDS):
            cache.incr(name)


def counter_names(address: str, now: datetime) -> tuple[str, str]:
    hour = int(now.timestamp() // COUNTED_SECONDS)
    return f"wrong-code/{hour}/{network_of(address)}", f"wrong-code/{hour}"


def network_of(address: str) -> str:
    """One IPv4 address, or the /64 that one household has of IPv6 (RFC 6177)."""
    try:
        known = ipaddress.ip_address(address)
    except ValueError:
        return "unknown"
    length = 32 if known.version == 4 else 64
    return str(ipaddress.ip_network((known, length), strict=False))
