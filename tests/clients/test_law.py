"""The law table: its values against the sources named, the stricter of two, and what queueing makes
of them."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from dateutil.relativedelta import relativedelta
from django.db import IntegrityError, transaction
from django.test import Client as Browser
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from clients import display
from clients.actions.clients import ConsentError, ConsentInput, record_consent
from clients.messaging.asking import asked_without, consent_wording
from clients.messaging.law import (
    DAY_KINDS,
    ContractPlace,
    LegalRule,
    LegalRules,
    WithdrawalRight,
    allowed_hours,
    contents,
    contract_language,
    law_table_as_of,
    rule_for,
    table_hours,
    table_withdrawals,
    withdrawal_right,
)
from clients.messaging.law.rules import add_months, table_rules
from clients.messaging.models import Consent, LawRule, Message, TextGateway
from clients.messaging.outbox import Unsendable
from clients.messaging.reach import ContactPurpose, Refusal, Route, route_to
from clients.messaging.texts import compose_text
from clients.models import Business, Client
from clients.models.channel import Channel
from clients.places.public_holidays import HolidayPlace
from tests.factories import (
    ClientFactory,
    ConsentFactory,
    EmailFactory,
    JobFactory,
    PhoneFactory,
    PropertyFactory,
)
from tests.outbox import queue_test_message

pytestmark = pytest.mark.usefixtures("business")
TODAY = date(2026, 11, 25)
NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)
ADDRESS = "Driftline Deck Care\n4 Tern Wharf\nLunenburg\n(902) 555-0100\noffice@example.com"


def rule(country: str, channel: str, sender: str = "") -> Any:
    return rule_for(
        sender_country=sender or country, recipient_country=country, channel=channel, on=TODAY
    )


@pytest.mark.parametrize(
    ("country", "channel", "works_for", "act_within"),
    [
        # AU: Spam Act 2003 s 18 (30 days),
        # classic.austlii.edu.au/au/legis/cth/consol_act/sa200366/s18.html; five business days:
        # acma.gov.au/theACMA/spam-unsubscribe-ability-is-mandatory
        ("AU", "email", 30, 5),
        # NZ: Unsolicited Electronic Messages Act 2007 s 11, legislation.govt.nz DLM405207
        ("NZ", "email", 30, 5),
        # CA: S.C. 2010 c. 23, laws-lois.justice.gc.ca/eng/acts/E-1.6/page-2.html (60 days); 10
        # business days: s. 11(3)
        ("CA", "email", 60, 10),
        # US: 15 USC 7704(a)(3)-(5), Statutes at Large 117/2707 (30 days, 10 business days)
        ("US", "email", 30, 10),
    ],
)
def test_the_table_holds_the_numbers_of_the_acts(
    country: str, channel: str, works_for: int, act_within: int
) -> None:
    found = rule(country, channel)
    assert (found.works_for, found.act_within, found.act_within_is_working_days) == (
        works_for,
        act_within,
        True,
    )


def test_who_may_be_written_to_is_as_the_acts_say() -> None:
    # CASL: existing business relationship two years, crtc.gc.ca/eng/com500/guide.htm; inquiry six
    # months (not checked)
    canada = rule("CA", "email")
    assert canada.consent_expires("customer", date(2025, 3, 31), None) == date(2027, 3, 31)
    assert canada.consent_expires("inquiry", date(2020, 1, 1), date(2026, 8, 31)) == date(
        2027, 2, 28
    )
    assert canada.consent_expires("express", None, date(2010, 1, 1)) is None
    # TCPA, 47 CFR 64.1200: prior express written consent, 8 to 21 at the called party's place;
    # where the state is not known, what all of them leave
    texts = rule("US", "text")
    assert [texts.allows(basis) for basis in ("written", "express", "customer", "none_needed")] == [
        True
    ] + [False] * 3
    assert texts.window_local == {
        "mon_fri": ["10:00", "18:00"],
        "sat": ["10:00", "12:00"],
        "sun_and_public_holidays": "none",
    }
    # CAN-SPAM asks for no consent before the first message
    assert rule("US", "email").allows("none_needed")
    # UK PECR reg. 22: consent or soft opt-in
    assert rule("GB", "email").allows("customer")
    assert not rule("GB", "email").allows("none_needed")


# What a row must hold of its act, by section: bases and their months, contents, days to honour an
# objection, hours.
CASL_CONTENTS = {"name", "contact", "unsubscribe"}
ROWS_BY_SECTION: dict[tuple[str, str], tuple[str, dict[str, Any]]] = {
    # the strictest of the lines below, each of which is in this table
    ("DEFAULT", "email"): ("none", {"bases": {"express"}, "act_within": 0}),
    ("DEFAULT", "text"): ("none", {"bases": {"written"}, "act_within": 0}),
    ("DEFAULT", "letter"): (
        "GDPR Art. 21(2)-(4); Privacy Act 1988 (Cth) Sch. 1, APP 7.2(c), 7.3(c) (secondary)",
        {"has": {"objection", "contact"}, "act_within": 0},
    ),
    ("DEFAULT", "call"): ("none", {"bases": {"express"}, "act_within": 0}),
    ("CA", "email"): (
        "S.C. 2010 c. 23 s. 6(2), 10(9)(a), 10(10), 11(1), 11(3); SOR/2012-36 s. 2(1), 4",
        {
            "bases": {"express", "customer", "inquiry"},
            "months": {"customer": 24, "inquiry": 6},
            "has": CASL_CONTENTS | {"postal_address"},
            "asking": {"name", "postal_address", "contact", "withdrawal"},
            "act_within": 10,
        },
    ),
    ("CA", "text"): (
        "the same; SOR/2012-36 s. 2(2): where it is not practicable, a web page (CRTC 2012-548)",
        {
            "bases": {"express", "customer", "inquiry"},
            "months": {"customer": 24, "inquiry": 6},
            "has": CASL_CONTENTS | {"postal_address_or_website"},
            "asking": {"name", "postal_address", "contact", "withdrawal"},
            "act_within": 10,
        },
    ),
    ("CA", "call"): (
        "CRTC Unsolicited Telecommunications Rules, Part II s. 3, Part III s. 16, 17, 23 to 25",
        {
            "months": {"none_needed": 18, "inquiry": 6},
            "has": {"name", "phone"},
            "act_within": 14,
            "hours": ["09:00", "21:30"],
            "saturday": ["10:00", "18:00"],
            "note": "Register with the operator",
        },
    ),
    ("US", "email"): (
        "15 USC 7704(a)(3), (4), (5)(A)(i)-(iii)",
        {"has": {"postal_address", "unsubscribe", "advertisement"}, "act_within": 10},
    ),
    ("US", "text"): (
        "47 CFR 64.1200(a)(2), (a)(10), (c)(1), (f)(9); the states' below",
        {
            "bases": {"written"},
            "act_within": 10,
            "hours": ["10:00", "18:00"],
            "saturday": ["10:00", "12:00"],
        },
    ),
    ("US", "call"): (
        "47 CFR 64.1200(c)(1), (d)(4), (f)(5); 16 CFR 310.4(b)(1)(iii); the states' below",
        {
            "months": {"none_needed": 18, "inquiry": 3},
            "has": {"name", "phone"},
            "hours": ["10:00", "18:00"],
            "saturday": ["10:00", "12:00"],
        },
    ),
    ("AU", "email"): (
        "Spam Act 2003 s. 16(2), 17, 18; Sch. 2 cl. 2, 6",
        {"bases": {"express", "customer"}, "has": {"legal_name", "contact", "unsubscribe"}},
    ),
    ("AU", "text"): (
        "Spam Act 2003 s. 16(2), 17, 18; Sch. 2 cl. 2, 6",
        {"bases": {"express", "customer"}, "has": {"legal_name", "contact", "unsubscribe"}},
    ),
    ("AU", "call"): (
        "Do Not Call Register Act 2006 s. 11, Sch. 2; Industry Standard 2017 s. 8 (secondary)",
        {
            "bases": {"express", "customer"},
            "hours": ["09:00", "20:00"],
            "saturday": ["09:00", "17:00"],
        },
    ),
    ("NZ", "email"): (
        "Unsolicited Electronic Messages Act 2007 s. 4, 9, 10, 11",
        {"has": {"name", "contact", "unsubscribe"}, "act_within": 5},
    ),
    ("NZ", "text"): (
        "Unsolicited Electronic Messages Act 2007 s. 4, 9, 10, 11",
        {"has": {"name", "contact", "unsubscribe"}, "act_within": 5, "answers": True},
    ),
    ("GB", "email"): (
        "SI 2003/2426 reg. 22(2), 22(3), 23",
        {
            "bases": {"express", "customer", "inquiry"},
            "has": {"name", "contact", "unsubscribe"},
            "if_told": True,
        },
    ),
    ("GB", "text"): (
        "SI 2003/2426 reg. 22(2), 22(3), 23",
        {
            "bases": {"express", "customer", "inquiry"},
            "has": {"name", "contact", "unsubscribe"},
            "if_told": True,
        },
    ),
    ("GB", "call"): (
        "SI 2003/2426 reg. 21(1)(b), 21(3) (28 days, memory), 24",
        {"bases": {"express", "register"}, "has": {"name", "phone"}, "register_days": 28},
    ),
    ("EU", "email"): (
        "Directive 2002/58/EC Art. 13(1), (2), (4)",
        {
            "bases": {"express", "customer"},
            "has": {"name", "contact", "unsubscribe"},
            "if_told": True,
        },
    ),
    ("EU", "text"): (
        "Directive 2002/58/EC Art. 13(1), (2), (4)",
        {
            "bases": {"express", "customer"},
            "has": {"name", "contact", "unsubscribe"},
            "if_told": True,
        },
    ),
    ("EU", "call"): ("Directive 2002/58/EC Art. 13(3)", {"bases": {"express"}}),
    ("DE", "email"): (
        "UWG s. 7(2) no. 2, 7(3)",
        {"bases": {"express"}, "has": {"name", "contact", "unsubscribe"}, "note": "s. 7(3)"},
    ),
    ("DE", "text"): ("UWG s. 7(2) no. 2", {"bases": {"express"}, "has": {"unsubscribe"}}),
    ("DE", "call"): ("UWG s. 7(2) no. 1, 7a", {"bases": {"express"}, "note": "five years"}),
    ("PL", "email"): (
        "Prawo komunikacji elektronicznej art. 398(1) (secondary)",
        {"bases": {"express"}, "has": {"name", "contact", "unsubscribe"}},
    ),
    ("PL", "text"): (
        "Prawo komunikacji elektronicznej art. 398(1) (secondary)",
        {"bases": {"express"}, "has": {"unsubscribe"}},
    ),
    ("PL", "call"): (
        "Prawo komunikacji elektronicznej art. 398(1) (secondary)",
        {"bases": {"express"}, "has": {"name", "phone"}},
    ),
    ("FR", "call"): (
        "Code de la consommation L. 223-1; décret 2022-1313 (secondary)",
        {"bases": {"express"}, "hours": ["14:00", "20:00"], "saturday": None},
    ),
}


def test_each_row_of_the_table_is_tested_by_section() -> None:
    assert {(each.jurisdiction, each.medium) for each in table_rules()} == set(ROWS_BY_SECTION)
    assert all(sections for sections, _wanted in ROWS_BY_SECTION.values())


@pytest.mark.parametrize("row", table_rules(), ids=lambda each: each.code)
def test_a_row_holds_what_its_sections_say(row: LegalRule) -> None:
    _sections, wanted = ROWS_BY_SECTION[row.jurisdiction, row.medium]
    assert set(wanted.get("bases", row.bases)) == row.bases
    assert wanted.get("months", {}).items() <= dict(row.months).items()
    assert wanted.get("has", set()) <= set(row.must_include)
    assert wanted.get("asking", set()) == set(row.asking_must_include)
    assert row.act_within == wanted.get("act_within", row.act_within)
    assert row.register_days == wanted.get("register_days")
    assert row.implied_if_told == wanted.get("if_told", False)
    assert row.reply_required or not wanted.get("answers")
    assert wanted.get("note", "") in row.note
    for name, day in (("hours", "mon_fri"), ("saturday", "sat")):
        if name in wanted:
            assert allowed_hours(row.window_local or {}, day) == wanted[name]


# Hours of a state on a Monday, a Saturday and a Sunday, by section.
EVENING = ["08:00", "20:00"]
LATE = ["09:00", "21:00"]
HOURS_BY_SECTION: dict[str, tuple[str, tuple[list[str] | None, ...]]] = {
    "": ("what KY, PA and RI leave", (["10:00", "18:00"], ["10:00", "12:00"], None)),
    "US": ("47 CFR 64.1200(c)(1): 8 to 21", (["09:00", "20:00"], ["09:00", "20:00"], None)),
    "AL": ("an account (secondary)", (EVENING, EVENING, None)),
    "CT": ("Public Act 23-98 (secondary)", (["09:00", "20:00"],) * 3),
    "FL": ("Fla. Stat. 501.616(6)(a)", (EVENING,) * 3),
    "KY": ("KRS 367.46955 (secondary)", (["10:00", "21:00"],) * 3),
    "LA": ("an account (secondary)", (EVENING, EVENING, None)),
    "MA": ("an account (secondary)", (EVENING,) * 3),
    "MD": ("Stop the Spam Calls Act (secondary)", (EVENING,) * 3),
    "MI": ("an account (secondary)", (LATE,) * 3),
    "MN": ("an account (secondary)", (LATE,) * 3),
    "MS": ("an account (secondary)", (EVENING, EVENING, None)),
    "NJ": ("an account (secondary)", (EVENING,) * 3),
    "NM": ("an account (secondary)", (LATE,) * 3),
    "NV": ("an account (secondary)", (["09:00", "20:00"],) * 3),
    "OK": ("an account (secondary)", (EVENING,) * 3),
    "PA": ("an account (secondary)", (EVENING, ["08:00", "12:00"], None)),
    "RI": ("R.I. Gen. Laws 5-61-2(2), 5-61-3.6", (["09:00", "18:00"], ["10:00", "17:00"], None)),
    "SC": ("S.C. Code 37-21-30 (secondary)", (["08:00", "21:00"],) * 3),
    "TX": ("Bus. & Com. Code 301.051 (secondary)", (LATE, LATE, ["12:00", "21:00"])),
    "WA": ("an account (secondary)", (EVENING,) * 3),
}


def hours_in(state: str, channel: str = "text", sender: str = "US") -> list[Any]:
    window = rule("US", channel, sender=sender).hours_at(HolidayPlace("US", state))
    return [allowed_hours(window, day) for day in DAY_KINDS]


@pytest.mark.parametrize("channel", ["text", "call"])
@pytest.mark.parametrize("state", HOURS_BY_SECTION)
def test_a_state_has_the_hours_of_its_section(state: str, channel: str) -> None:
    _section, wanted = HOURS_BY_SECTION[state]
    asked = {"US": "Oregon"}.get(state, state)  # one without a line of its own

    assert hours_in(asked, channel) == list(wanted)


def test_every_state_of_the_table_is_tested_and_known() -> None:
    regional = {each.jurisdiction.removeprefix("US-"): each for each in table_hours()}

    assert {*regional, ""} == set(HOURS_BY_SECTION)
    assert all(each.act and each.source for each in regional.values())
    assert hours_in("Rhode Island") == hours_in("RI") != hours_in("Florida")


@pytest.mark.parametrize("state", [*HOURS_BY_SECTION, "Oregon", "Atlantis"])
def test_no_state_is_looser_than_the_federal_act_nor_the_unknown_one_than_any(state: str) -> None:
    """47 CFR 64.1200(c)(1): none before 8 or after 21, at the called party's place."""
    for known, unknown in zip(hours_in(state), hours_in(""), strict=True):
        if unknown is not None:
            assert "08:00" <= known[0] <= unknown[0] < unknown[1] <= known[1] <= "21:00"


def test_the_hours_of_a_senders_country_are_kept_in_each_state_too() -> None:
    """Canada's weekdays are 9 to 21:30, its Saturdays 10 to 18 (CRTC rules, Part III s. 23)."""
    assert hours_in("FL", "call", sender="CA")[:2] == [["09:00", "20:00"], ["10:00", "18:00"]]
    assert rule("CA", "call", sender="US").hours_at(HolidayPlace("CA", "NS")) == (
        rule("CA", "call", sender="US").window_local
    )


# What a client may take back, by section: kind, days, days to pay back.
CANCEL = ("cancellation", 10, 15)
RIGHTS_BY_SECTION = {
    "EU": ("Directive 2011/83/EU Art. 9(1), 13(1)", ("withdrawal", 14, 14)),
    "GB": ("SI 2013/3134 reg. 29, 30, 34 (memory)", ("withdrawal", 14, 14)),
    "CA": ("what the rows of the provinces have in common", CANCEL),
    "CA-NS": ("R.S.N.S. 1989, c. 129, s. 2(d); ten days: accounts (secondary)", CANCEL),
    "CA-NB": ("Direct Sellers Act, the commission's account of it (secondary)", CANCEL),
    "CA-PE": ("Direct Sellers Act, the province's account of it (secondary)", CANCEL),
    "CA-NL": ("Consumer Protection and Business Practices Act s. 24 to 26", CANCEL),
    "CA-QC": ("CQLR c. P-40.1, s. 58, 59; r. 3, s. 50.2", CANCEL),
    "CA-ON": ("S.O. 2002, c. 30, Sched. A, s. 43(1)", CANCEL),
    "CA-MB": ("C.C.S.M. c. C200, Part VII (secondary)", CANCEL),
    "CA-SK": ("R.S.S. 1978, c. D-28, s. 22, 23", CANCEL),
    "CA-AB": ("AR 191/99 s. 3; Consumer Protection Act s. 27 (memory)", CANCEL),
    "CA-BC": ("S.B.C. 2004, c. 2, s. 21(1) (secondary)", CANCEL),
}


def test_each_right_of_the_table_is_tested_by_section() -> None:
    assert {row.jurisdiction for row in table_withdrawals()} == set(RIGHTS_BY_SECTION)


@pytest.mark.parametrize("row", table_withdrawals(), ids=lambda row: row.jurisdiction)
def test_a_right_to_take_back_is_as_its_sections_say(row: WithdrawalRight) -> None:
    assert (row.kind, row.days, row.refund_days) == RIGHTS_BY_SECTION[row.jurisdiction][1]
    assert row.certainty in {"good", "secondary", "memory"}
    assert row.source
    assert row.valid_from <= row.checked_on


@pytest.mark.parametrize(
    ("place", "jurisdiction"),
    [
        (("CA", "Nova Scotia"), "CA-NS"),
        (("CA", "N.S."), "CA-NS"),
        (("CA", "Québec"), "CA-QC"),
        (("CA", "Yukon"), "CA"),  # without a row: what the provinces have in common
        (("CA", ""), "CA"),
        (("DE", "Bavaria"), "EU"),
        (("US", "Maine"), None),
        (("", ""), None),
    ],
)
def test_a_right_is_that_of_the_region(place: tuple[str, str], jurisdiction: str | None) -> None:
    found = withdrawal_right([ContractPlace(*place)], on=TODAY)
    assert (found.jurisdiction if found else None) == jurisdiction


def test_of_two_places_the_wider_right_counts() -> None:
    here, there = ContractPlace("CA", "Nova Scotia"), ContractPlace("FR", "")
    found = withdrawal_right([here, there], on=TODAY)
    assert found is not None
    assert (found.jurisdiction, found.days) == ("EU", 14)


def test_quebec_wants_its_language_first() -> None:
    """Charter of the French language, CQLR c. C-11, s. 55 (secondary)."""
    quebec, coast = ContractPlace("CA", "Quebec"), ContractPlace("CA", "Nova Scotia")
    found = contract_language([coast, quebec], on=TODAY)
    assert found is not None
    assert (found.language, found.act) == (
        "fr",
        "Charter of the French language, CQLR c. C-11, s. 55",
    )
    assert contract_language([quebec], on=date(2023, 5, 31)) is None
    assert contract_language([coast], on=TODAY) is None


def test_every_row_says_where_it_is_from_and_when_it_was_checked() -> None:
    for each in table_rules():
        assert each.source
        assert each.act
        assert each.checked_on <= law_table_as_of()
        assert each.certainty in {"good", "secondary", "memory"}
        assert all(each.months[basis] for basis in ("customer", "inquiry") if basis in each.bases)


@pytest.mark.parametrize("channel", list(Channel))
def test_an_unknown_country_has_the_strictest(channel: str) -> None:
    strictest = rule("XK", channel)
    assert strictest.jurisdiction == "DEFAULT"
    for country in ("CA", "US", "AU", "NZ", "GB", "DE", "PL", "IT"):
        other = rule(country, channel)
        assert not strictest.bases - other.bases - {"written", "express"}
        assert strictest.act_within <= other.act_within
        if other.window_local:
            assert strictest.window_local


def test_sender_and_recipient_are_both_kept() -> None:
    found = rule("US", "email", sender="CA")
    assert found.jurisdiction == "US+CA"
    assert sorted(found.bases) == ["customer", "express", "inquiry", "written"]
    assert found.months["customer"] == 24
    assert {"postal_address", "contact", "advertisement"} <= set(found.must_include)
    assert found.works_for == 60
    hours = rule("US", "text", sender="XK").window_local
    assert hours == {
        "mon_fri": ["10:00", "18:00"],
        "sat": ["10:00", "12:00"],
        "sun_and_public_holidays": "none",
    }


@pytest.mark.parametrize(
    ("country", "bases"),
    [
        # PECR 2003 reg. 21: a number on the register is not called without consent
        ("GB", {"express", "register"}),
        # UWG s. 7(2) no. 1; PKE art. 398(1) (secondary)
        ("DE", {"express"}),
        ("PL", {"express"}),
        # Directive 2002/58/EC Art. 13(3), the strictest transpositions (memory)
        ("IT", {"express"}),
        # Code de la consommation L. 223-1 as of 11 August 2026 (secondary)
        ("FR", {"express"}),
        # Do Not Call Register Act 2006: consent, or inferred from an ongoing relationship
        ("AU", {"express", "customer"}),
        ("XK", {"express"}),
        # UTR, 16 CFR 310: an existing business relationship of 18 months
        ("CA", {"none_needed", "express", "customer", "inquiry"}),
        ("US", {"none_needed", "express", "customer", "inquiry"}),
    ],
)
def test_who_may_be_called_is_as_the_acts_say(country: str, bases: set[str]) -> None:
    found = rule(country, "call")
    assert found.bases == bases
    # CRTC UTR Part III; 47 CFR 64.1200(d)(4): who calls, and a number to call back
    assert {"name", "phone"} <= set(found.must_include)


@pytest.mark.parametrize("channel", ["text", "call"])
@pytest.mark.parametrize("day", DAY_KINDS)
def test_the_hours_of_an_unknown_country_lie_inside_all_others(channel: str, day: str) -> None:
    mine = allowed_hours(rule("XK", channel).window_local or {}, day)
    for country in ("CA", "US", "AU", "NZ", "GB", "DE", "FR"):
        theirs = rule(country, channel).window_local
        if theirs and mine is not None:
            other = allowed_hours(theirs, day)
            assert other is not None, country
            assert other[0] <= mine[0] <= mine[1] <= other[1], country


def test_a_letter_says_that_one_may_ask_for_no_more() -> None:
    """GDPR Art. 21(4); Australian Privacy Principle 7.2, 7.3."""
    found = rule("CA", "letter")
    text = f"{ADDRESS} Tidewater Decks 902-555-0100"
    assert "objection" in found.must_include
    assert not contents.OBJECTION_PATTERN.search(text)
    for words in (
        "If you would rather not have letters like this, tell us.",
        "Write if you want no more mail.",
        "si vous préférez ne plus recevoir de telles lettres",
    ):
        assert contents.OBJECTION_PATTERN.search(words)


def test_members_of_the_union_share_their_row() -> None:
    assert rule("IT", "email").jurisdiction == rule("IE", "email").jurisdiction == "EU"


def test_a_customer_alone_is_no_reason_to_write_in_germany_or_poland() -> None:
    """UWG s. 7(3) wants more than a sale; PKE art. 398(1) knows no customers."""
    for channel in ("email", "text"):
        for country in ("DE", "PL"):
            assert rule(country, channel).bases == {"express"}
        assert rule("IT", channel).allows("customer")


@given(st.dates(date(2000, 1, 1), date(2090, 1, 1)), st.integers(0, 200))
def test_months_are_added_as_the_calendar_has_them(day: date, months: int) -> None:
    assert add_months(day, months) == day + relativedelta(months=months)


@given(
    st.sampled_from(["CA", "US", "AU", "NZ", "GB", "DE", "XK"]),
    st.sampled_from(["CA", "US", "AU", "XK"]),
)
def test_the_stricter_of_two_allows_nothing_that_either_forbids(one: str, other: str) -> None:
    table = LegalRules({})
    for channel in Channel:
        alone = [table.rule_of(country, channel, TODAY) for country in (one, other)]
        both = alone[0].stricter(alone[1])
        for basis in ("written", "express", "customer", "inquiry", "none_needed"):
            if both.allows(basis):
                assert all(each.allows(basis) or not each.needs_consent for each in alone)
        assert all(set(each.must_include) <= set(both.must_include) for each in alone)


def test_the_owners_rule_counts_from_its_day() -> None:
    LawRule.objects.create(
        jurisdiction="CA",
        medium="email",
        valid_from=TODAY + timedelta(days=1),
        source="our adviser",
        checked_on=TODAY,
        rules={"bases": ["express"], "must_include": ["name"]},
    )
    assert rule("CA", "email").allows("customer")
    later = LegalRules.load().rule_of("CA", "email", TODAY + timedelta(days=1))
    assert not later.allows("customer")
    assert later.code == "CA email of 2026-11-26, our own"


def canadian(**consent: Any) -> Any:
    place = PropertyFactory()
    EmailFactory(client=place.client)
    if consent:
        ConsentFactory(client=place.client, **consent)
    return place


def ask(client: Any, channel: str = "email", today: date = TODAY) -> Route | Refusal:
    return route_to(client, channel, ContactPurpose.MARKETING, on=today)


def test_an_implied_consent_ends_two_years_after_the_last_job() -> None:
    place = canadian(basis="customer")
    JobFactory(deck__site=place, finished_on=date(2025, 6, 12))

    assert isinstance(ask(place.client, today=date(2027, 6, 12)), Route)
    late = ask(place.client, today=date(2027, 6, 13))
    assert isinstance(late, Refusal)
    assert "CA email of 2014-07-01" in late.why


def test_what_is_not_enough_in_a_country_is_refused_by_name() -> None:
    place = PropertyFactory(country="US")
    PhoneFactory(client=place.client)
    ConsentFactory(client=place.client, channel="text", basis="express")
    assert "not enough there (US+CA text" in ask(place.client, "text").why

    ConsentFactory(client=place.client, channel="text", basis="written")
    assert isinstance(ask(place.client, "text"), Route)


def test_letters_and_calls_need_no_consent_and_honour_an_objection() -> None:
    place = canadian()
    PhoneFactory(client=place.client)
    JobFactory(deck__site=place, finished_on=date(2025, 6, 12))
    letter = ask(place.client, "letter")
    assert isinstance(letter, Route)
    assert (letter.permission.basis, letter.permission.consent()) == ("none_needed", None)
    assert isinstance(ask(place.client, "call"), Route)
    assert "18 months" in ask(place.client, "call", today=date(2026, 12, 13)).why

    for channel in ("letter", "call"):
        ConsentFactory(client=place.client, channel=channel, is_given=False)
        assert ask(place.client, channel) == Refusal("The client withdrew consent.")


def queue(client: Any, **over: Any) -> Message:
    values: dict[str, Any] = {
        "client": client,
        "kind": "reminder",
        "channel": "email",
        "address": "a@example.org",
        "subject": "Your deck",
        "text": ADDRESS + "\n{unsubscribe_url}",
        "key": "k",
        "now": NOW,
    }
    return queue_test_message(**(values | over))


def test_the_rule_is_frozen_and_bounds_the_message() -> None:
    place = canadian(basis="customer")
    JobFactory(deck__site=place, finished_on=date(2024, 12, 1))
    consent = Consent.objects.get()

    message = queue(place.client, consent=consent, basis="customer")

    assert message.law == "CA email of 2014-07-01"
    assert message.expires_at == datetime(2026, 12, 2, tzinfo=Business.objects.get().zone)


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("4 Tern Wharf, Lunenburg 902-555-0100 {unsubscribe_url}", "name of the business"),
        ("Driftline Deck Care 902-555-0100 {unsubscribe_url}", "postal address"),
        (
            "Driftline Deck Care, 4 Tern Wharf, Lunenburg {unsubscribe_url}",
            "telephone, e-mail or website",
        ),
    ],
)
def test_a_text_without_what_the_law_wants_is_refused(
    text: str, word: str, caplog: pytest.LogCaptureFixture
) -> None:
    with pytest.raises(Unsendable, match=word):
        queue(canadian(basis="express").client, text=text)
    assert not Message.objects.exists()
    assert word in caplog.text
    queue(ClientFactory(), kind="service", text="We come on Tuesday.")


def test_a_business_without_an_address_is_told_to_enter_it() -> None:
    Business.objects.update(street="")
    with pytest.raises(Unsendable, match="Enter it under Settings, The business"):
        queue(canadian(basis="express").client)


def test_a_text_message_must_say_how_to_stop() -> None:
    client = PropertyFactory().client
    words = "Driftline Deck Care, 4 Tern Wharf, Lunenburg, 902-555-0100"
    with pytest.raises(Unsendable, match="hear no more"):
        queue(client, channel="text", address="+19025550101", text=words)
    assert queue(
        client, channel="text", address="+19025550101", text=words + " Reply STOP to end."
    ).law


def test_a_name_that_a_text_message_spells_plainer_is_still_the_name() -> None:
    Business.objects.update(
        name="Driftline’s “Deck” Care – East",
        legal_name="",
        website="https://driftline.example.com/",
    )
    given = {"greeting": "Ottilie", "decks": "Back deck", "due_by": "May"}
    written = compose_text(purpose="first", channel="text", language="en", fields=given)
    assert written.text.startswith('Driftline\'s "Deck" Care - East: Back deck')
    queue(PropertyFactory().client, channel="text", address="+19025550101", text=written.text)


def test_where_answers_are_owed_the_sender_must_be_a_number() -> None:
    gateway = TextGateway.objects.create(
        id=1, url="https://sms.example.com/", template={}, sender="DRIFTLINE", is_on=True
    )
    client = PropertyFactory(country="NZ").client
    text = "Driftline Deck Care, 4 Tern Wharf, Lunenburg, 902-555-0100. Reply STOP to end."
    with pytest.raises(Unsendable, match="“DRIFTLINE” is no number"):
        queue(client, channel="text", address="+64215550101", text=text)
    gateway.sender = "+1 902-555-0100"
    gateway.save()
    assert queue(client, channel="text", address="+64215550101", text=text).law.startswith(
        "NZ+CA text"
    )


def test_the_programs_own_words_say_so_by_themselves() -> None:
    Business.objects.update(country="US")
    client = PropertyFactory(country="US").client
    given = {"greeting": "Ottilie", "decks": "Back deck", "due_by": "May"}
    for key, basis, says_so in (
        ("a", "none_needed", True),
        ("b", "customer", True),
        ("c", "express", False),
    ):
        written = compose_text(
            purpose="first", channel="email", language="en", fields=given, basis=basis
        )
        assert ("This message is an advertisement." in written.text) == says_so
        queue(client, text=written.text, basis=basis, key=key)


def test_american_mail_without_agreement_must_say_that_it_advertises() -> None:
    Business.objects.update(country="US")
    client = PropertyFactory(country="US").client
    with pytest.raises(Unsendable, match="advertisement"):
        queue(client)
    message = queue(client, text="Advertisement\n" + ADDRESS + "{unsubscribe_url}")
    assert message.basis == "none_needed"
    assert queue(client, basis="express", key="other").basis == "express"


def test_the_last_look_lets_a_letter_go_without_consent_and_stops_it_after_an_objection() -> None:
    from clients.messaging.outbox.permission import reasons_not_to_send

    client = PropertyFactory().client
    message = queue(
        client,
        channel="letter",
        address="7 Gull Road, Lunenburg",
        text=f"{ADDRESS} No more mail? Tell us.",
        now=timezone.now(),
    )
    business = Business.objects.get()
    assert message.basis == "none_needed"
    assert reasons_not_to_send(business, [message], today=TODAY) == {}

    ConsentFactory(client=client, channel="letter", is_given=False)
    assert reasons_not_to_send(business, [message], today=TODAY) == {
        message.pk: "There is no consent in force."
    }


def british_number() -> Client:
    place = PropertyFactory(country="GB", town="Whitby")
    PhoneFactory(client=place.client)
    Business.objects.update(country="GB")
    return place.client


def looked_up(client: Client, now: datetime = NOW) -> Consent:
    evidence = "Looked up on 25 November 2026"
    entry = ConsentInput("call", True, "register", "", evidence, asked_by="Maud Finlay")
    return record_consent(client=client, entry=entry, by=None, now=now)


def test_a_look_into_the_register_lets_us_call_for_28_days() -> None:
    """SI 2003/2426 reg. 21(1)(b) and (3): the number is not listed, as of 28 days at most."""
    client = british_number()
    assert isinstance(ask(client, "call"), Refusal)
    looked_up(client)
    assert isinstance(ask(client, "call", TODAY + timedelta(days=28)), Route)
    late = ask(client, "call", TODAY + timedelta(days=29))
    assert isinstance(late, Refusal)
    assert "expired" in late.why


def test_a_look_into_the_register_undoes_no_word_of_the_client() -> None:
    client = british_number()
    ConsentFactory(client=client, channel="call", is_given=False)
    with pytest.raises(ConsentError, match="does not undo that"):
        looked_up(client)
    other = british_number()
    looked_up(other)
    ConsentFactory(client=other, channel="email", is_given=False)
    assert ask(other, "call") == Refusal(
        "The client withdrew consent elsewhere, so they are left alone."
    )


def test_a_look_into_the_register_is_for_calls_and_not_for_every_country() -> None:
    with pytest.raises(IntegrityError, match="consent_register_is_of_calls"), transaction.atomic():
        ConsentFactory(channel="email", basis="register")
    place = PropertyFactory(country="DE", town="Lübeck")
    PhoneFactory(client=place.client)
    looked_up(place.client)
    assert "not enough there" in ask(place.client, "call").why


def test_our_own_request_says_what_canada_wants_of_it() -> None:
    """SOR/2012-36 s. 4; S.C. 2010 c. 23 s. 10(1)."""
    business = Business.objects.get()
    canada = rule("CA", "email")
    for language in ("en", "fr"):
        with display.in_client_language(language):
            words = consent_wording(business, Channel.EMAIL, "o…@example.org")
        Business.objects.update(street="1 Elsewhere Lane")  # what was said then was true then
        moved = Business.objects.get()
        assert asked_without(canada, moved, basis="written", wording=words) == []


@pytest.mark.parametrize(
    ("wording", "lacks"),
    [
        (
            "You may e-mail me when my deck is due.",
            ["name", "postal address", "telephone", "taken back"],
        ),
        (
            "Driftline Deck Care, 4 Tern Wharf, Lunenburg, 902-555-0100, may e-mail me.",
            ["taken back"],
        ),
        (f"{ADDRESS}. I may withdraw this at any time.", []),
        (f"{ADDRESS}. Je peux le retirer en tout temps.", []),
    ],
)
def test_what_a_request_for_consent_did_not_say_is_named(wording: str, lacks: list[str]) -> None:
    business = Business.objects.get()
    found = asked_without(rule("CA", "email"), business, basis="express", wording=wording)
    assert len(found) == len(lacks)
    assert all(word in said for word, said in zip(lacks, found, strict=True))
    assert asked_without(rule("CA", "email"), business, basis="customer", wording=wording) == []
    assert asked_without(rule("NZ", "email"), business, basis="express", wording=wording) == []
    assert rule("CA", "email", sender="GB").implied_if_told  # the stricter of both counts


def test_a_consent_that_was_asked_for_in_too_few_words_is_shown_as_such(as_owner: Browser) -> None:
    place = canadian(basis="express", wording="You may e-mail me.", asked_where="phone")
    words = "a word that it can be taken back"
    for address in (f"/clients/{place.client_id}/", "/settings/law/"):
        page = as_owner.get(address).content.decode()
        assert words in page, address
    page = as_owner.get(f"/clients/{place.client_id}/").content.decode()
    assert "on the phone" in page

    with display.in_client_language("en"):
        asked = consent_wording(Business.objects.get(), Channel.EMAIL, "o…@example.org")
    ConsentFactory(client=place.client, basis="written", wording=asked)
    for address in (f"/clients/{place.client_id}/", "/settings/law/"):
        assert f"without {words}" not in as_owner.get(address).content.decode(), address
        assert "Asked without" not in as_owner.get(address).content.decode(), address


def test_the_form_of_a_consent_takes_a_look_into_the_register_for_calls(as_owner: Browser) -> None:
    client = british_number()
    sent = {
        "channel": "call",
        "is_given": "yes",
        "basis": "register",
        "evidence": "Looked up today",
        "asked_by": "Maud",
    }
    wrong = as_owner.post(f"/clients/{client.pk}/consent/", sent | {"channel": "email"})
    assert "looked up for calls only" in wrong.content.decode()
    assert as_owner.post(f"/clients/{client.pk}/consent/", sent).status_code == 302
    assert Consent.objects.get().asked_by == "Maud"
    ConsentFactory(client=client, channel="call", is_given=False)
    refused = as_owner.post(f"/clients/{client.pk}/consent/", sent)
    assert "does not undo that" in refused.content.decode()


def test_the_page_prints_the_hours_of_each_state_with_its_source(as_owner: Browser) -> None:
    page = as_owner.get("/settings/law/").content.decode()

    assert "United States, Rhode Island" in page
    assert "United States, all others" in page
    assert "Monday to Friday 09:00 to 18:00; Saturday 10:00 to 17:00" in page
    assert "Fla. Stat. 501.616(6)(a)" in page
    assert "every day 08:00 to 20:00" in page
    assert "Monday to Saturday 08:00 to 20:00; Sunday and holidays never" in page
