"""The texts that come with the program (standard.toml) in each of their languages, the named fields
that texts may use, and whether a text can be used: known fields only, no stray brace, and what
every message of its kind must hold.
"""

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from clients.messaging.models import MessageText
from clients.messaging.unsendable import Unsendable
from clients.models import Channel, traits_of
from clients.notation import primary_language

FALLBACK_LANGUAGE = "en"


@dataclass(frozen=True)
class Wording:
    """A text before its fields are filled in."""

    subject: str
    body: str
    language: str
    is_own: bool = False


@cache
def standard_texts() -> dict[str, Any]:
    return tomllib.loads((Path(__file__).parent / "standard.toml").read_text(encoding="utf-8"))


def text_languages() -> dict[str, str]:
    """Code → its own name, of the languages that the program has texts in."""
    return {code: words.get("name", code) for code, words in standard_texts()["words"].items()}


@cache
def standard_wording(purpose: str, channel: str, language: str) -> Wording | None:
    """The program's text in exactly this language, if there is one."""
    found = standard_texts().get(purpose, {}).get(channel, {}).get(language)
    return Wording(found.get("subject", ""), found["body"].strip("\n"), language) if found else None


def standard_phrases(language: str, group: str) -> Mapping[str, Any]:
    """Phrases that belong together, such as the replies to a word sent back; English where the
    program has no texts in this language."""
    found: Mapping[str, Any] = language_words(language)[group]
    return found


def standard_phrase(language: str, name: str) -> str:
    """A phrase around texts, such as the stop line; English as above."""
    return str(language_words(language)[name])


def language_words(language: str) -> Mapping[str, Any]:
    words = standard_texts()["words"]
    found: Mapping[str, Any] = words.get(primary_language(language), words[FALLBACK_LANGUAGE])
    return found


def missing_texts() -> list[str]:
    """What has no text, as it would stand in standard.toml: for each occasion, channel and language
    of the program, and each word that English has."""
    found = [
        f"{purpose}.{channel}.{language}"
        for purpose in MessageText.Purpose.values
        for channel in Channel.values
        for language in text_languages()
        if not has_standard_wording(purpose, channel, language)
    ]
    english = phrase_names(language_words(FALLBACK_LANGUAGE))
    for language in text_languages():
        there = phrase_names(language_words(language))
        found += [f"words.{language}.{name}" for name in english if name not in there]
    return found


def has_standard_wording(purpose: str, channel: str, language: str) -> bool:
    found = standard_wording(purpose, channel, language)
    return found is not None and bool(found.subject or not traits_of(channel).needs_subject)


def phrase_names(words: Mapping[str, Any], group: str = "") -> list[str]:
    """The names of all phrases that have words, with their group: “replies.stop”."""
    found = []
    for name, value in words.items():
        if isinstance(value, dict):
            found += phrase_names(value, f"{name}.")
        elif value:
            found.append(f"{group}{name}")
    return found


def language_chain(*wanted: str) -> list[str]:
    """The languages to try, each before its shorter form: fr-CA, fr, en-CA, en."""
    found: list[str] = []
    for language in (*wanted, FALLBACK_LANGUAGE):
        for form in (language.replace("_", "-"), primary_language(language)):
            if form and form not in found:
                found.append(form)
    return found


Purpose = MessageText.Purpose
REMINDER_PURPOSES = {Purpose.FIRST, Purpose.OVERDUE, Purpose.SECOND, Purpose.LAST}
MARKETING_PURPOSES = {*REMINDER_PURPOSES, Purpose.OFFER}
VISIT_PURPOSES = {Purpose.BOOKED, Purpose.MOVED, Purpose.HELD, Purpose.CALLED_OFF}
PAGE_PURPOSES = {*REMINDER_PURPOSES, Purpose.PLAN}  # they lead to the client's own page
PLANNED_PURPOSES = {*VISIT_PURPOSES, Purpose.PLAN}
COMING_PURPOSES = {*PLANNED_PURPOSES, Purpose.ON_THE_WAY}
ALL_PURPOSES = set(Purpose)

FIELD_PATTERN = re.compile(r"\{([^{}\n]*)\}")
CONTROL_IN_LINE = re.compile(r"[\x00-\x1f\x7f\u0085\u2028\u2029]")
CONTROL_IN_BLOCK = re.compile(r"[\x00-\x09\x0b-\x1f\x7f\u0085\u2028\u2029]")
OPT_OUT_FIELDS = {"stop_line", "unsubscribe_url"}
UNSUBSCRIBE_FIELD = "{unsubscribe_url}"  # stays as it is: the outbox makes the link of each message
MAX_FIELD_VALUE_LENGTH = 500
MAX_BLOCK_LENGTH = 20_000
PLAIN_CHARACTERS = {  # in the default alphabet of text messages
    "‘": "'",
    "’": "'",
    "‚": "'",
    "“": '"',
    "”": '"',
    "„": '"',
    "«": '"',
    "»": '"',
    "–": "-",
    "—": "-",
    "‑": "-",
    "−": "-",
    "…": "...",
    "\u00a0": " ",
    "\u202f": " ",
    "\u2009": " ",
    "•": "-",
    "·": "-",
    "²": "2",
    "³": "3",
    "`": "'",
    "\t": " ",
}


class TextProblem(Unsendable):
    """A text or a value in it cannot be used; the message names the field and says what to do."""


@dataclass(frozen=True)
class MessageField:
    """One name that may stand in braces."""

    description: str
    sample: str
    purposes: frozenset[str]
    may_be_empty: bool = False  # a line that holds it is then left out
    is_block: bool = False  # may have several lines


def define_field(
    words: str,
    sample: str,
    purposes: set[Purpose] = ALL_PURPOSES,
    *,
    empty: bool = False,
    block: bool = False,
) -> MessageField:
    return MessageField(words, sample, frozenset(map(str, purposes)), empty, block)


SAMPLE_DECKS = (
    "Back deck, 7 Plover Row, Lunenburg\nLast coat: Tidewood Deck Oil, Driftwood; Jun 12, 2025\n"
    "What it needs: a clean and a fresh coat\nBest time: May 2027\n"
    "What we took into account: much walked on, salt from the sea"
)
SAMPLE_CARE = (
    "Oiled with Tidewood Deck Oil, Driftwood, two coats.\nWalk on it after 24 hours, put furniture"
    " back after 5 days."
)
SAMPLE_NOTICE = (
    "The maker asks us to look at every deck that it went on. It is safe to walk on. We come and"
    " look, at no charge."
)
MESSAGE_FIELDS: dict[str, MessageField] = {
    "greeting": define_field("how the client is greeted", "Ottilie Saltonby"),
    "business": define_field("name of the business", "Driftline Deck Care"),
    "legal_name": define_field("legal name of the business", "Driftline Deck Care"),
    "phone": define_field("telephone of the business", "(902) 555-0100", empty=True),
    "email": define_field("mailbox that somebody reads", "office@example.com", empty=True),
    "website": define_field("website of the business", "https://driftline.example.com", empty=True),
    "postal_address": define_field(
        "postal address of the business", "4 Tern Wharf, Lunenburg Nova Scotia B0J 2C0, CA"
    ),
    "find_us": define_field(
        "who we are, short: legal name if it is another, and website or address",
        "https://driftline.example.com",
    ),
    "decks": define_field(
        "the decks, one a paragraph; in a text message or call on one line",
        SAMPLE_DECKS,
        block=True,
    ),
    "due_by": define_field(
        "month that suits the work on the first of them best",
        "May 2027",
        MARKETING_PURPOSES,
        empty=True,
    ),
    "work": define_field(
        "what the deck needs: a recoat, a look first, or a strip",
        "a clean and a fresh coat",
        REMINDER_PURPOSES,
    ),
    "since": define_field(
        "how long ago the last coat was", "over three years", REMINDER_PURPOSES, empty=True
    ),
    "why": define_field("the reasons, in words", "much walked on, salt from the sea", empty=True),
    "step": define_field("number of the reminder", "1", REMINDER_PURPOSES),
    "page_url": define_field(
        "the client's own page: choose a week, ask for a price, say no; in a letter its short"
        " address, where the code is typed",
        "https://decks.example.com/p/K7M2P9XQRT/",
        PAGE_PURPOSES,
        empty=True,
    ),
    "page_code": define_field(
        "the code that the client types at that address",
        "K7M2P-9XQRT",
        PAGE_PURPOSES,
        empty=True,
    ),
    "check_question": define_field(
        "asks the client to look at the deck, where the answer would change what to do",
        "Not sure whether it is time? Three questions on that page tell us whether it can wait.",
        REMINDER_PURPOSES,
        empty=True,
    ),
    "offer_number": define_field("number of the offer", "104", {Purpose.OFFER}),
    "total": define_field("total of the offer, with taxes", "$684.25", {Purpose.OFFER}),
    "plan_price": define_field("price of the visit by the care plan", "$684.25", {Purpose.PLAN}),
    "say_no_by": define_field(
        "last day to say no to the visit", "Tuesday, April 27, 2027", {Purpose.PLAN}
    ),
    "offer_url": define_field(
        "the client's own link to the offer",
        "https://decks.example.com/o/abc/",
        {Purpose.OFFER},
        empty=True,  # on paper, while no client could open it
    ),
    "valid_until": define_field("last day of the offer", "Apr 30, 2027", {Purpose.OFFER}),
    "visit_day": define_field(
        "day or days of the visit", "Tuesday, May 11, 2027", PLANNED_PURPOSES
    ),
    "visit_time": define_field("time of the visit", "about 8:00 a.m.", COMING_PURPOSES, empty=True),
    "crew": define_field("name of the crew", "Tern crew", COMING_PURPOSES, empty=True),
    "care": define_field(
        "what was applied and how to care for it", SAMPLE_CARE, {Purpose.CARE}, block=True
    ),
    "product": define_field(
        "the product that the notice is about", "Tidewood Deck Oil", {Purpose.RECALL}
    ),
    "notice": define_field(
        "what the client has to know and to do",
        SAMPLE_NOTICE,
        {Purpose.RECALL, Purpose.DEFECTS},
        block=True,
    ),
    "report_url": define_field(
        "the client's own link to the report",
        "https://decks.example.com/s/abc/",
        {Purpose.DEFECTS},
        empty=True,
    ),
    "because": define_field(
        "why the client gets this", "you agreed to be reminded", MARKETING_PURPOSES
    ),
    "advertisement": define_field(
        "that it is an advertisement, where the law wants that said",
        "",
        MARKETING_PURPOSES,
        empty=True,
    ),
    "unsubscribe_url": define_field(
        "the client's own link to hear no more", UNSUBSCRIBE_FIELD, MARKETING_PURPOSES
    ),
    "privacy_url": define_field(
        "the page that says what is kept about clients",
        "https://decks.example.com/privacy/",
        empty=True,
    ),
    "stop_line": define_field(
        "how to stop text messages", "Reply STOP to end.", MARKETING_PURPOSES
    ),
}


def fields_of(purpose: str, channel: str) -> dict[str, MessageField]:
    """The fields that a text of this purpose and channel may hold."""
    traits = traits_of(channel)
    leave = OPT_OUT_FIELDS - {traits.opt_out_field}
    if not traits.declares_advertisement:
        leave |= {"advertisement"}
    if traits.on_one_line:
        leave |= {"privacy_url"}
    if traits.is_spoken:
        leave |= {"page_url", "check_question"}
    if not traits.is_by_post:
        leave |= {"page_code"}
    return {
        name: each
        for name, each in MESSAGE_FIELDS.items()
        if purpose in each.purposes and name not in leave
    }


def lacks_client_page(words: Wording, purpose: str, channel: str) -> bool:
    """A reminder that could lead to the client's own page, and does not: as texts did that were
    written before there was one."""
    return "page_url" in fields_of(purpose, channel) and "{page_url}" not in words.body


def clean_values(values: Mapping[str, str]) -> dict[str, str]:
    """The values as they may be put in. Raises `TextProblem` for one that could break a header or a
    page."""
    return {name: clean_value(name, value) for name, value in values.items()}


def clean_value(name: str, value: str) -> str:
    known = MESSAGE_FIELDS.get(name)
    if known is None:
        raise TextProblem(f"There is no field called {{{name}}}.")
    longest, control = (
        (MAX_BLOCK_LENGTH, CONTROL_IN_BLOCK)
        if known.is_block
        else (MAX_FIELD_VALUE_LENGTH, CONTROL_IN_LINE)
    )
    text = value.replace("\r\n", "\n").strip()
    if control.search(text):
        raise TextProblem(
            f"The value of {{{name}}} ({known.description}) holds a line break or a character that"
            " is none."
        )
    if len(text) > longest:
        raise TextProblem(
            f"The value of {{{name}}} ({known.description}) has {len(text)} characters; at most"
            f" {longest} are possible."
        )
    return (
        text if name == "unsubscribe_url" else text.replace(UNSUBSCRIBE_FIELD, "(unsubscribe_url)")
    )


def substitute_typography(text: str) -> str:
    """Typographic characters as text messages have them, plainer; letters stay as they are."""
    return "".join(PLAIN_CHARACTERS.get(character, character) for character in text)


def check_wording(*, purpose: str, channel: str, subject: str, body: str) -> None:
    """Raises `TextProblem` naming the field and what to do."""
    check_subject(subject, purpose, channel)
    check_body(body, purpose, channel)


def check_subject(subject: str, purpose: str, channel: str) -> None:
    check_fields("subject", subject, purpose, channel)
    if "\n" in subject or "\r" in subject or UNSUBSCRIBE_FIELD in subject:
        raise TextProblem("The subject is one line, without the link to unsubscribe.")
    if traits_of(channel).needs_subject and not subject.strip():
        raise TextProblem("An e-mail needs a subject.")


def check_body(body: str, purpose: str, channel: str) -> None:
    check_fields("text", body, purpose, channel)
    if not body.strip():
        raise TextProblem("The text is empty.")
    name = traits_of(channel).opt_out_field
    if name and purpose in MARKETING_PURPOSES and f"{{{name}}}" not in body:
        raise TextProblem(
            f"A reminder or offer by this way must hold {{{name}}}. Put it on a line near the end."
        )


def check_fields(words: str, text: str, purpose: str, channel: str) -> None:
    allowed = fields_of(purpose, channel)
    for name in FIELD_PATTERN.findall(text):
        if name not in allowed:
            raise TextProblem(
                f"The {words} has {{{name[:40]}}}, which is no field here. Choose one of those"
                " listed."
            )
    rest = FIELD_PATTERN.sub("", text)
    for brace in "{}":
        if brace in rest:
            raise TextProblem(
                f"The {words} has a single {brace}. Braces stand in pairs around the name of a"
                " field."
            )
