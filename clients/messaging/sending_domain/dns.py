"""Questions to DNS, each with a time-out; the only place that imports dnspython."""

from collections.abc import Callable

import dns.exception
import dns.resolver

DNS_TIMEOUT_SECONDS = 4.0

DnsQuery = Callable[
    [str, str], list[str]
]  # (name, type) → the texts of the records, none if there are none


class NoAnswerError(Exception):
    """DNS itself did not answer; that says nothing about the domain."""


def query_dns(name: str, kind: str) -> list[str]:
    """The records of a name as text (the strings of a TXT record joined, as RFC 7208 §3.3 says).

    Raises `NoAnswerError` when no server answers in time.
    """
    try:
        answer = dns.resolver.resolve(name, kind, lifetime=DNS_TIMEOUT_SECONDS)
    except (dns.resolver.NXDOMAIN, dns.resolver.NoAnswer):
        return []
    except (dns.exception.DNSException, OSError, ValueError) as error:
        raise NoAnswerError(f"{kind} of {name}: {error}") from error
    if kind == "TXT":
        return [b"".join(record.strings).decode("utf-8", "replace") for record in answer]
    return [record.to_text() for record in answer]
