"""SPF (RFC 7208): which servers may send in the name of a domain."""

import re

from clients.messaging.sending_domain.dns import DnsQuery

VERSION = "v=spf1"
MAX_LOOKUPS = 10  # RFC 7208 §4.6.4
MAX_VOID_LOOKUPS = 2  # the same section: questions that find nothing
FOUND_BY = {"a": ("A", "AAAA"), "mx": ("MX",), "exists": ("A",)}
LOOKUP_TERMS = {"include", "a", "mx", "ptr", "exists", "redirect"}  # the same section
INCLUDING = re.compile("include:|redirect=")
MACRO = "%"  # §7


def spf_records(domain: str, ask: DnsQuery) -> list[str]:
    """The SPF records of a domain; more than one is an error (§4.5)."""
    return [
        text
        for text in ask(domain, "TXT")
        if text.lower() == VERSION or text.lower().startswith(VERSION + " ")
    ]


def spf_terms(record: str) -> list[str]:
    return record.split()[1:]


def tested_terms(record: str) -> list[str]:
    """Those that a receiver comes to: what stands behind `all` is never tested (§5.1), and beside
    `all` a redirect counts nowhere (§6.1)."""
    terms = spf_terms(record)
    end = next((at for at, term in enumerate(terms) if bare_term(term) == "all"), None)
    if end is None:
        return terms
    return [term for term in terms[:end] if not bare_term(term).startswith("redirect=")]


def bare_term(term: str) -> str:
    """The term without its qualifier."""
    return term.lstrip("+-~?").lower()


def is_lookup_term(term: str) -> bool:
    """Whether the receiver must ask DNS again for it."""
    return re.split(r"[:/=]", bare_term(term))[0] in LOOKUP_TERMS


def count_lookups(record: str, ask: DnsQuery, depth: int = 0) -> int:
    """How many questions a receiver must ask, those of included records with them;
    cut off well above the limit."""
    asking = [term for term in tested_terms(record) if is_lookup_term(term)]
    count = len(asking)
    for term in asking if depth < MAX_LOOKUPS else []:
        word = bare_term(term)
        if count <= 2 * MAX_LOOKUPS and word.startswith(("include:", "redirect=")):
            inner = spf_records(word.replace("=", ":", 1).split(":", 1)[1], ask)
            count += count_lookups(inner[0], ask, depth + 1) if inner else 0
    return count


def included_domains(record: str) -> list[str]:
    """Those whose records are read with this one; names with macros depend on the sender."""
    words = [bare_term(term) for term in tested_terms(record)]
    named = [re.split("[:=]", word, maxsplit=1)[1] for word in words if INCLUDING.match(word)]
    return [name for name in named if MACRO not in name]


def records_with_domains(domain: str, record: str, ask: DnsQuery) -> dict[str, str]:
    """Domain → its record, of this one and of all that it includes; empty for a domain without
    one. Cut off where the limit of questions is passed anyhow."""
    found = {domain: record}
    waiting = [record]
    while waiting and len(found) <= MAX_LOOKUPS:
        for name in included_domains(waiting.pop(0)):
            if name not in found:
                there = spf_records(name, ask)
                found[name] = there[0] if there else ""
                waiting += there[:1]
    return found


def names_that_find_nothing(domain: str, record: str, ask: DnsQuery) -> list[str]:
    """The hosts of `a`, `mx` and `exists` in a record under which DNS has nothing."""
    empty = []
    for term in tested_terms(record):
        mechanism, _, rest = bare_term(term).partition(":")
        kinds = FOUND_BY.get(mechanism.split("/")[0], ())
        name = rest.split("/")[0] or domain
        if kinds and MACRO not in name and not any(ask(name, kind) for kind in kinds):
            empty.append(name)
    return empty


def final_policy(record: str) -> str:
    """What becomes of servers that are not named:
    `-all`, `~all`, `?all`, `+all`, `redirect`, or nothing."""
    for term in spf_terms(record):
        if bare_term(term) == "all":
            return f"{term[0] if term[0] in '+-~?' else '+'}all"
    return (
        "redirect"
        if any(bare_term(term).startswith("redirect=") for term in spf_terms(record))
        else ""
    )
