"""The named fields of texts: what each stands for, where it may be used, and what may be put in."""

import re
from collections.abc import Mapping
from dataclasses import dataclass

from clients.messaging.models import MessageText
from clients.messaging.unsendable import Unsendable
from clients.models.channel import Channel

Purpose = MessageText.Purpose
REMINDERS = {Purpose.FIRST, Purpose.SECOND, Purpose.LAST}
MARKETING = {*REMINDERS, Purpose.OFFER}
VISITS = {Purpose.BOOKED, Purpose.MOVED, Purpose.HELD, Purpose.CALLED_OFF}
ANY = set(Purpose)

NAMED = re.compile(r"\{([^{}\n]*)\}")
CONTROL = re.compile(r"[\x00-\x1f\x7f\u0085\u2028\u2029]")
CONTROL_IN_BLOCK = re.compile(r"[\x00-\x09\x0b-\x1f\x7f\u0085\u2028\u2029]")
LINK = "{unsubscribe_url}"  # stays as it is: the outbox makes the link of each message
LONGEST = 500
LONGEST_BLOCK = 20_000


class TextProblem(Unsendable):
    """A text or a value in it cannot be used; the message names the field and says what to do."""


@dataclass(frozen=True)
class Field:
    """One name that may stand in braces."""

    words: str
    sample: str
    purposes: frozenset[str]
    may_be_empty: bool = False  # a line that holds it is then left out
    is_block: bool = False  # may have several lines


def field(words: str, sample: str, purposes: set[Purpose] = ANY, *, empty: bool = False, block: bool = False) -> Field:
    return Field(words, sample, frozenset(map(str, purposes)), empty, block)


DECKS = (
    "Back deck, 7 Plover Row, Lunenburg\nLast coat: Tidewood Deck Oil, Driftwood; Jun 12, 2025\n"
    "Due by about: March 2027\nWhat we reckoned with: much walked on, salt from the sea"
)
CARE = (
    "Oiled with Tidewood Deck Oil, Driftwood, two coats.\nWalk on it after 24 hours, put furniture back after 5 days."
)
FIELDS: dict[str, Field] = {
    "greeting": field("how the client is greeted", "Ottilie Saltonby"),
    "business": field("name of the business", "Driftline Deck Care"),
    "legal_name": field("legal name of the business", "Driftline Deck Care"),
    "phone": field("telephone of the business", "(902) 555-0100", empty=True),
    "email": field("mailbox that somebody reads", "office@example.com", empty=True),
    "website": field("website of the business", "https://driftline.example.com", empty=True),
    "postal_address": field("postal address of the business", "4 Tern Wharf, Lunenburg Nova Scotia B0J 2C0, CA"),
    "find_us": field(
        "who we are, short: legal name if it is another, and website or address", "https://driftline.example.com"
    ),
    "decks": field("the decks, one a paragraph; in a text message or call on one line", DECKS, block=True),
    "due_by": field("month in which the first of them is due", "March 2027", MARKETING, empty=True),
    "why": field("the reasons, in words", "much walked on, salt from the sea", empty=True),
    "step": field("number of the reminder", "1", REMINDERS),
    "offer_number": field("number of the offer", "104", {Purpose.OFFER}),
    "total": field("total of the offer, with taxes", "$684.25", {Purpose.OFFER}),
    "offer_url": field("the client's own link to the offer", "https://decks.example.com/o/abc/", {Purpose.OFFER}),
    "valid_until": field("last day of the offer", "Apr 30, 2027", {Purpose.OFFER}),
    "visit_day": field("day or days of the visit", "Tuesday, May 11, 2027", VISITS),
    "visit_time": field("time of the visit", "8:00 a.m.", VISITS, empty=True),
    "crew": field("name of the crew", "Tern crew", VISITS, empty=True),
    "care": field("what was applied and how to care for it", CARE, {Purpose.CARE}, block=True),
    "because": field("why the client gets this", "you agreed to be reminded", MARKETING),
    "advertisement": field("that it is an advertisement, where the law wants that said", "", MARKETING, empty=True),
    "unsubscribe_url": field("the client's own link to hear no more", LINK, MARKETING),
    "stop_line": field("how to stop text messages", "Reply STOP to end.", MARKETING),
}


def fields_of(purpose: str, channel: str) -> dict[str, Field]:
    """The fields that a text of this purpose and channel may hold."""
    absent = {Channel.EMAIL: {"stop_line"}, Channel.TEXT: {"unsubscribe_url", "advertisement"}}
    leave = absent.get(Channel(channel), {"stop_line", "unsubscribe_url", "advertisement"})
    return {name: each for name, each in FIELDS.items() if purpose in each.purposes and name not in leave}


def checked(values: Mapping[str, str]) -> dict[str, str]:
    """The values as they may be put in. Raises `TextProblem` for one that could break a header or a page."""
    return {name: checked_value(name, value) for name, value in values.items()}


def checked_value(name: str, value: str) -> str:
    known = FIELDS.get(name)
    if known is None:
        raise TextProblem(f"There is no field called {{{name}}}.")
    longest, control = (LONGEST_BLOCK, CONTROL_IN_BLOCK) if known.is_block else (LONGEST, CONTROL)
    text = value.replace("\r\n", "\n").strip()
    if control.search(text):
        raise TextProblem(f"The value of {{{name}}} ({known.words}) holds a line break or a character that is none.")
    if len(text) > longest:
        raise TextProblem(
            f"The value of {{{name}}} ({known.words}) has {len(text)} characters; at most {longest} are possible."
        )
    return text if name == "unsubscribe_url" else text.replace(LINK, "(unsubscribe_url)")
