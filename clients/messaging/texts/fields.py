"""The named fields of texts: what each stands for, where it may be used, and what may be put in."""

import re
from collections.abc import Mapping
from dataclasses import dataclass

from clients.messaging.models import MessageText
from clients.messaging.unsendable import Unsendable
from clients.models.channel import traits_of

Purpose = MessageText.Purpose
REMINDER_PURPOSES = {Purpose.FIRST, Purpose.SECOND, Purpose.LAST}
MARKETING_PURPOSES = {*REMINDER_PURPOSES, Purpose.OFFER}
VISIT_PURPOSES = {Purpose.BOOKED, Purpose.MOVED, Purpose.HELD, Purpose.CALLED_OFF}
ALL_PURPOSES = set(Purpose)

FIELD_PATTERN = re.compile(r"\{([^{}\n]*)\}")
CONTROL_IN_LINE = re.compile(r"[\x00-\x1f\x7f\u0085\u2028\u2029]")
CONTROL_IN_BLOCK = re.compile(r"[\x00-\x09\x0b-\x1f\x7f\u0085\u2028\u2029]")
OPT_OUT_FIELDS = {"stop_line", "unsubscribe_url"}
UNSUBSCRIBE_FIELD = "{unsubscribe_url}"  # stays as it is: the outbox makes the link of each message
MAX_FIELD_VALUE_LENGTH = 500
MAX_BLOCK_LENGTH = 20_000


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
    "Due by about: March 2027\nWhat we reckoned with: much walked on, salt from the sea"
)
SAMPLE_CARE = (
    "Oiled with Tidewood Deck Oil, Driftwood, two coats.\nWalk on it after 24 hours, put furniture"
    " back after 5 days."
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
        "month in which the first of them is due", "March 2027", MARKETING_PURPOSES, empty=True
    ),
    "why": define_field("the reasons, in words", "much walked on, salt from the sea", empty=True),
    "step": define_field("number of the reminder", "1", REMINDER_PURPOSES),
    "offer_number": define_field("number of the offer", "104", {Purpose.OFFER}),
    "total": define_field("total of the offer, with taxes", "$684.25", {Purpose.OFFER}),
    "offer_url": define_field(
        "the client's own link to the offer", "https://decks.example.com/o/abc/", {Purpose.OFFER}
    ),
    "valid_until": define_field("last day of the offer", "Apr 30, 2027", {Purpose.OFFER}),
    "visit_day": define_field("day or days of the visit", "Tuesday, May 11, 2027", VISIT_PURPOSES),
    "visit_time": define_field("time of the visit", "8:00 a.m.", VISIT_PURPOSES, empty=True),
    "crew": define_field("name of the crew", "Tern crew", VISIT_PURPOSES, empty=True),
    "care": define_field(
        "what was applied and how to care for it", SAMPLE_CARE, {Purpose.CARE}, block=True
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
    return {
        name: each
        for name, each in MESSAGE_FIELDS.items()
        if purpose in each.purposes and name not in leave
    }


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
