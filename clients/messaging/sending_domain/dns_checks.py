"""What DNS holds for the sending domain, in words, and the record to enter where something is
missing."""

import base64
import binascii
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from enum import StrEnum

from clients.messaging.sending_domain import spf
from clients.messaging.sending_domain.dns import DnsQuery, NoAnswerError

# an RSA key of 1,024 bits with its wrapping is 162 bytes; 512 bits are 94 (RFC 8301: ≥ 1024)
MIN_KEY_BYTES = 140


class DnsVerdict(StrEnum):
    GOOD = "good"
    MENDABLE = "mendable"
    MISSING = "missing"
    UNKNOWN = "unknown"


@dataclass(frozen=True)
class Finding:
    """One thing that mailbox providers look for."""

    name: str
    host: str
    verdict: DnsVerdict
    explanation: str
    found: str = ""
    record: str = ""


def check_domain(
    sender: str, *, selectors: Sequence[str], bounce: str, ask: DnsQuery
) -> list[Finding]:
    """Look at everything at once; `sender` and `bounce` are domains, `selectors` the names of DKIM
    keys."""
    checks: list[tuple[str, str, Callable[[], Finding]]] = [
        ("SPF", bounce, lambda: check_spf(bounce, ask)),
        *(
            ("DKIM", dkim_host(each, sender), lambda each=each: check_dkim(each, sender, ask))
            for each in selectors
        ),
        ("DMARC", f"_dmarc.{sender}", lambda: check_dmarc(sender, ask)),
        ("Answers", bounce, lambda: check_mx(bounce, ask)),
    ]
    with ThreadPoolExecutor(max_workers=len(checks)) as pool:
        found = list(pool.map(lambda check: run_dns_check(*check), checks))
    return found if selectors else [*found, missing_selector(sender)]


def run_dns_check(name: str, host: str, check: Callable[[], Finding]) -> Finding:
    try:
        return check()
    except NoAnswerError as silent:
        return Finding(
            name,
            host,
            DnsVerdict.UNKNOWN,
            f"DNS did not answer, so nothing is known. Try again later. ({silent})",
        )


def check_spf(domain: str, ask: DnsQuery) -> Finding:
    found = spf.spf_records(domain, ask)
    if not found:
        record = "v=spf1 mx -all"
        words = (
            "No record says which servers may send for you. Ask your mail provider for its"
            " “include”, and enter one."
        )
        return Finding("SPF", domain, DnsVerdict.MISSING, words, "", record)
    text = " / ".join(found)
    if len(found) > 1:
        return Finding(
            "SPF",
            domain,
            DnsVerdict.MENDABLE,
            "There are two records; together they count as an error.",
            text,
        )
    return judge_spf(domain, found[0], ask)


def judge_spf(domain: str, record: str, ask: DnsQuery) -> Finding:
    count = spf.count_lookups(record, ask)
    end = spf.final_policy(record)
    if count > spf.MAX_LOOKUPS:
        words = (
            f"Receivers must ask {count} more questions; beyond {spf.MAX_LOOKUPS} they give up."
            " Take includes out."
        )
        return Finding("SPF", domain, DnsVerdict.MENDABLE, words, record)
    if words := what_is_not_there(domain, record, ask):
        return Finding("SPF", domain, DnsVerdict.MENDABLE, words, record)
    if end in {"+all", "?all", ""}:
        words = "It lets any server send in your name. Let it end in ~all or, better, -all."
        return Finding("SPF", domain, DnsVerdict.MENDABLE, words, record)
    return Finding(
        "SPF",
        domain,
        DnsVerdict.GOOD,
        "It says which servers may send for you and that others may not.",
        record,
    )


def what_is_not_there(domain: str, record: str, ask: DnsQuery) -> str:
    """Domains that are included and have no record (RFC 7208 §5.2, §6.1), names that find nothing
    (§4.6.4); empty where all is in order."""
    records = spf.records_with_domains(domain, record, ask)
    if lost := [name for name, there in records.items() if not there]:
        return (
            f"It includes {', '.join(lost)}, where there is no such record: receivers take the"
            " whole for an error. Take it out."
        )
    void = [
        name
        for place, there in records.items()
        for name in spf.names_that_find_nothing(place, there, ask)
    ]
    if len(void) <= spf.MAX_VOID_LOOKUPS:
        return ""
    return (
        f"Nothing is found under {', '.join(void)}; with more than {spf.MAX_VOID_LOOKUPS} such"
        " names receivers take it for an error. Take them out."
    )


def dkim_host(selector: str, domain: str) -> str:
    return f"{selector}._domainkey.{domain}"


def parse_tags(record: str) -> dict[str, str]:
    """The tag=value list of DKIM and DMARC records (RFC 6376 §3.2)."""
    pairs = (part.partition("=") for part in record.split(";") if "=" in part)
    return {name.strip().lower(): "".join(value.split()) for name, _, value in pairs}


def check_dkim(selector: str, domain: str, ask: DnsQuery) -> Finding:
    host = dkim_host(selector, domain)
    found = [text for text in ask(host, "TXT") if "p" in parse_tags(text)]
    if not found:
        words = (
            "There is no key, so nobody can check a signature. Your mail provider shows the record"
            " to enter here."
        )
        return Finding(
            "DKIM",
            host,
            DnsVerdict.MISSING,
            words,
            "",
            "v=DKIM1; k=rsa; p=(the key your mail provider shows)",
        )
    return judge_dkim(host, found[0])


def judge_dkim(host: str, record: str) -> Finding:
    read = parse_tags(record)
    if not read["p"]:
        return Finding(
            "DKIM",
            host,
            DnsVerdict.MENDABLE,
            "The key was withdrawn (p= is empty): signatures with it fail.",
            record,
        )
    try:
        key = base64.b64decode(read["p"], validate=True)
    except binascii.Error:
        return Finding(
            "DKIM",
            host,
            DnsVerdict.MENDABLE,
            "The key cannot be read; enter it again in one piece.",
            record,
        )
    if read.get("k", "rsa") == "rsa" and len(key) < MIN_KEY_BYTES:
        return Finding(
            "DKIM",
            host,
            DnsVerdict.MENDABLE,
            "The key is too short; make one of 2,048 bits.",
            record,
        )
    return Finding(
        "DKIM",
        host,
        DnsVerdict.GOOD,
        "A key is there for receivers to check signatures with.",
        record,
    )


def missing_selector(domain: str) -> Finding:
    words = (
        "Enter the name of your mail provider’s key (the “selector”) above; without it the key"
        " cannot be found."
    )
    return Finding("DKIM", f"(selector)._domainkey.{domain}", DnsVerdict.UNKNOWN, words)


def parent_domains(domain: str) -> list[str]:
    """The domain and those above it, but for the last label;
    RFC 7489 asks the organisation's own domain too."""
    labels = domain.split(".")
    return [".".join(labels[at:]) for at in range(max(len(labels) - 1, 1))]


def check_dmarc(domain: str, ask: DnsQuery) -> Finding:
    host = f"_dmarc.{domain}"
    for each in parent_domains(domain):
        found = [
            text
            for text in ask(f"_dmarc.{each}", "TXT")
            if text.lower().replace(" ", "").startswith("v=dmarc1")
        ]
        if found:
            return judge_dmarc(f"_dmarc.{each}", found)
    words = (
        "Nothing says what becomes of mail that forges your name. The large mailbox providers want"
        " at least p=none."
    )
    return Finding("DMARC", host, DnsVerdict.MISSING, words, "", "v=DMARC1; p=none")


def judge_dmarc(host: str, found: list[str]) -> Finding:
    text = " / ".join(found)
    if len(found) > 1:
        return Finding(
            "DMARC",
            host,
            DnsVerdict.MENDABLE,
            "There are two records; receivers then use none.",
            text,
        )
    policy = parse_tags(found[0]).get("p", "").lower()
    if policy not in {"none", "quarantine", "reject"}:
        return Finding(
            "DMARC",
            host,
            DnsVerdict.MENDABLE,
            "It has no policy: p= must be none, quarantine or reject.",
            text,
        )
    return Finding(
        "DMARC",
        host,
        DnsVerdict.GOOD,
        f"Mail that forges your name is treated as “{policy}”.",
        text,
    )


def check_mx(domain: str, ask: DnsQuery) -> Finding:
    found = ask(domain, "MX")
    if not found:
        words = (
            "No server takes mail for this domain, so undeliverable messages cannot come back to"
            " you."
        )
        return Finding("Answers", domain, DnsVerdict.MISSING, words, "", "10 (your mail server)")
    if found == ["0 ."]:
        return Finding(
            "Answers",
            domain,
            DnsVerdict.MENDABLE,
            "The domain says that it takes no mail (RFC 7505).",
            found[0],
        )
    return Finding(
        "Answers",
        domain,
        DnsVerdict.GOOD,
        "A server takes mail, so undeliverable messages come back.",
        ", ".join(found),
    )
