"""The sending domain: records judged by RFC 7208 (SPF), 6376 and 8301 (DKIM), 7489 (DMARC) and 7505
(null MX)."""

import base64

import dns.resolver
import pytest

from clients.messaging.sending_domain import NoAnswerError, check_domain, query_dns
from clients.messaging.views import sending_domain as page
from clients.models import Business

LONG_KEY = base64.b64encode(
    b"k" * 294
).decode()  # as long as an RSA key of 2,048 bits with its wrapping
GOOD = {
    ("example.com", "TXT"): ["v=spf1 mx include:_spf.example.net -all", "another record"],
    ("_spf.example.net", "TXT"): ["v=spf1 ip4:192.0.2.0/24 ~all"],
    ("mail1._domainkey.example.com", "TXT"): [f"v=DKIM1; k=rsa; p={LONG_KEY}"],
    ("_dmarc.example.com", "TXT"): ["v=DMARC1; p=quarantine; rua=mailto:dmarc@example.com"],
    ("example.com", "MX"): ["10 mail.example.com."],
}


def found(records, *, sender="example.com", selectors=("mail1",), bounce="example.com"):
    rows = check_domain(
        sender, selectors=selectors, bounce=bounce, ask=lambda *key: records.get(key, [])
    )
    return {row.name: row for row in rows}


def test_a_domain_with_everything_is_as_it_should_be():
    assert {name: str(row.verdict) for name, row in found(GOOD).items()} == dict.fromkeys(
        ["SPF", "DKIM", "DMARC", "Answers"], "good"
    )


def test_what_is_missing_is_named_with_the_record_to_enter():
    rows = found({})

    assert {str(row.verdict) for row in rows.values()} == {"missing"}
    assert rows["SPF"].record.startswith("v=spf1")
    assert rows["DMARC"].record == "v=DMARC1; p=none"
    assert rows["DKIM"].host == "mail1._domainkey.example.com"


@pytest.mark.parametrize(
    ("record", "words"),
    [
        (["v=spf1 -all", "v=spf1 mx -all"], "two records"),  # RFC 7208 §4.5
        (["v=spf1 mx +all"], "any server"),
        (["v=spf1 mx ?all"], "any server"),
        (["v=spf1 mx"], "any server"),  # §4.7: the result is then neutral
        (
            ["v=spf1 " + " ".join(f"a:host{n}.example.com" for n in range(11)) + " -all"],
            "11 more questions",
        ),  # §4.6.4
        (["v=spf10 -all"], "No record"),  # §4.5: the version must be that word
    ],
)
def test_a_faulty_spf_record_is_explained(record, words):
    assert words in found(GOOD | {("example.com", "TXT"): record})["SPF"].explanation


def test_questions_of_included_records_are_counted_and_loops_end():
    """RFC 7208 §4.6.4: include, a, mx, ptr, exists and redirect count, also inside an include;
    ip4 and all do not."""
    loop = {("example.com", "TXT"): ["v=spf1 include:example.com ip4:192.0.2.1 -all"]}

    assert "more questions" in found(GOOD | loop)["SPF"].explanation
    inner = {
        ("_spf.example.net", "TXT"): [
            "v=spf1 " + "exists:x.example.org " * 8 + "ip4:192.0.2.1 -all"
        ],
        ("x.example.org", "A"): ["192.0.2.2"],
    }
    assert str(found(GOOD | inner)["SPF"].verdict) == "good"  # 2 + 8 = 10: just allowed


def test_beside_all_a_redirect_counts_nowhere_and_nothing_behind_it_is_tested():
    """RFC 7208 §5.1 and §6.1."""
    hosts = [f"host{n}.example.com" for n in range(10)]
    ten = " ".join(f"a:{host}" for host in hosts)
    beside = {("example.com", "TXT"): [f"v=spf1 redirect=_spf.example.net {ten} -all a mx"]}
    there = {(host, "A"): ["192.0.2.3"] for host in hosts}
    assert str(found(GOOD | beside | there)["SPF"].verdict) == "good"


def test_names_that_find_nothing_are_counted_and_an_included_domain_must_have_a_record():
    """RFC 7208 §4.6.4 (two void look-ups), §5.2 and §6.1 (none: permerror)."""
    two = {("example.com", "TXT"): ["v=spf1 a:gone.example.com mx:gone.example.org mx -all"]}
    assert str(found(GOOD | two)["SPF"].verdict) == "good"

    inner = {("_spf.example.net", "TXT"): ["v=spf1 a exists:%{i}.example.org -all"]}
    three = {
        ("example.com", "TXT"): [
            "v=spf1 a:gone.example.com/24 mx:gone.example.org include:_spf.example.net -all"
        ]
    }
    told = found(GOOD | two | three | inner)["SPF"]
    assert "gone.example.com, gone.example.org, _spf.example.net" in told.explanation
    assert str(told.verdict) == "mendable"
    there = {("_spf.example.net", "AAAA"): ["2001:db8::1"]}
    assert str(found(GOOD | two | three | inner | there)["SPF"].verdict) == "good"

    lost = {("example.com", "TXT"): ["v=spf1 include:lost.example.net -all"]}
    assert "It includes lost.example.net" in found(GOOD | lost)["SPF"].explanation


@pytest.mark.parametrize(
    ("record", "words"),
    [
        ("v=DKIM1; k=rsa; p=", "withdrawn"),  # RFC 6376 §3.6.1: an empty p= revokes the key
        ("v=DKIM1; p=not base64!", "cannot be read"),
        (
            f"v=DKIM1; p={base64.b64encode(b'k' * 94).decode()}",
            "too short",
        ),  # 512 bits; RFC 8301 §3.2: at least 1024
    ],
)
def test_a_faulty_key_is_explained(record, words):
    assert (
        words
        in found(GOOD | {("mail1._domainkey.example.com", "TXT"): [record]})["DKIM"].explanation
    )


def test_the_policy_of_the_organisation_covers_its_subdomains():
    """RFC 7489 §6.6.3: without a record of its own the organisational domain is asked."""
    rows = found(GOOD, sender="news.example.com", selectors=())

    assert rows["DMARC"].host == "_dmarc.example.com"
    assert "selector" in rows["DKIM"].explanation


def test_a_domain_that_takes_no_mail_is_told_so():
    assert "takes no mail" in found(GOOD | {("example.com", "MX"): ["0 ."]})["Answers"].explanation


def test_silence_of_dns_says_nothing_about_the_domain():
    def silent(name, kind):
        raise NoAnswerError("timed out")

    rows = check_domain("example.com", selectors=["mail1"], bounce="example.com", ask=silent)

    assert {str(row.verdict) for row in rows} == {"unknown"}


def test_a_name_that_does_not_exist_has_no_records_and_a_time_out_is_no_answer(monkeypatch):
    def resolve(name, kind, lifetime):
        raise (
            dns.resolver.NXDOMAIN
            if name == "nowhere.example"
            else dns.resolver.LifetimeTimeout(timeout=4, errors=[])
        )

    monkeypatch.setattr(dns.resolver, "resolve", resolve)

    assert query_dns("nowhere.example", "TXT") == []
    with pytest.raises(NoAnswerError, match=r"TXT of example\.com"):
        query_dns("example.com", "TXT")


@pytest.fixture
def asked(monkeypatch):
    """Every question that the page asks."""
    questions = []

    def ask(*key):
        questions.append(key)
        return GOOD.get(key, [])

    monkeypatch.setattr(page, "dns_query", ask)
    return questions


def test_the_page_keeps_what_it_saw_until_it_is_told_to_look_again(as_owner, asked):
    assert (
        "Enter the name of your mail provider" in as_owner.get("/settings/domain/").content.decode()
    )
    first = len(asked)
    as_owner.get("/settings/domain/")
    assert len(asked) == first

    answer = as_owner.post(
        "/settings/domain/", {"dkim_selectors": " mail1 ,"}, follow=True
    ).content.decode()

    assert Business.objects.get().dkim_selectors == "mail1"
    assert answer.count("As it should be") == 4
    assert len(asked) > first


def test_a_name_of_a_key_that_is_none_is_refused(as_owner, asked):
    answer = as_owner.post(
        "/settings/domain/", {"dkim_selectors": "mail1, my key"}
    ).content.decode()

    assert "“my key” is no name of a key" in answer
    assert Business.objects.get().dkim_selectors == ""


def test_without_a_sender_the_page_says_where_to_enter_one(as_owner, asked):
    Business.objects.update(sender_email="", email="")

    assert "No address to send from yet" in as_owner.get("/settings/domain/").content.decode()
    assert asked == []
