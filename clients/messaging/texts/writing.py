"""Filling a text in for one client: literal replacement, once, line by line."""

import logging
from collections.abc import Mapping
from dataclasses import dataclass, field

from clients import display
from clients.messaging import sms_parts
from clients.messaging.law.rule import AGREED
from clients.messaging.models import MessageText
from clients.messaging.texts import look, standard
from clients.messaging.texts.checking import check
from clients.messaging.texts.fields import LINK, NAMED, TextProblem, checked, fields_of
from clients.messaging.texts.standard import Wording
from clients.models import Business
from clients.models.channel import Channel

logger = logging.getLogger(__name__)


@dataclass(frozen=True)
class Written:
    """A message ready for `clients.messaging.outbox.queue_message`; `parts` of a text message, else 0."""

    subject: str
    text: str
    html: str
    parts: int
    language: str


@dataclass(frozen=True)
class Texts:
    """All wording in force, read once for as many messages as there are to write."""

    business: Business
    own: Mapping[tuple[str, str, str], Wording]
    ours: dict[tuple[str, str], dict[str, str]] = field(default_factory=dict, repr=False, compare=False)
    sound: set[tuple[str, str, str, str]] = field(default_factory=set, repr=False, compare=False)

    @classmethod
    def load(cls, business: Business | None = None) -> "Texts":
        """Two queries, or one if the business is at hand."""
        rows = MessageText.objects.values_list("purpose", "channel", "language", "subject", "body")
        own = {(row[0], row[1], row[2]): Wording(row[3], row[4], row[2], is_own=True) for row in rows}
        return cls(business or Business.objects.get(), own)

    def wording(self, purpose: str, channel: str, language: str) -> Wording:
        """In the client's language, else that of the business, else English; the owner's before the program's."""
        for code in standard.chain(language, self.business.locale):
            if found := self.own.get((purpose, channel, code)) or standard.wording(purpose, channel, code):
                return found
        raise TextProblem(f"There is no text for {purpose} by {channel}.")

    def write(
        self, *, purpose: str, channel: str, language: str, fields: Mapping[str, str], basis: str = ""
    ) -> Written:
        """As the function `write`."""
        return self.fill(self.wording(purpose, channel, language), purpose, channel, fields, basis)

    def fill(self, words: Wording, purpose: str, channel: str, fields: Mapping[str, str], basis: str = "") -> Written:
        """This wording with these fields, checked again: an owner's text may be older than the rules."""
        try:
            self.check(words, purpose, channel)
            values = self.common(words.language, basis) | spoken(checked(fields), channel)
            needed(words, values, purpose, channel)
        except TextProblem as problem:
            logger.warning("A text was not written (%s by %s): %s", purpose, channel, problem)
            raise
        subject = " ".join(fill(words.subject, values).split())
        text = fill(words.body, values).strip("\n")
        if channel == Channel.TEXT:
            text = sms_parts.plain(text)
            return Written(subject, text, "", sms_parts.measure(text).parts, words.language)
        html = look.as_html(words, subject, values, self.business) if channel == Channel.EMAIL else ""
        return Written(subject, text + "\n", html, 0, words.language)

    def check(self, words: Wording, purpose: str, channel: str) -> None:
        """Once for each wording."""
        key = (purpose, channel, words.subject, words.body)
        if key not in self.sound:
            check(purpose=purpose, channel=channel, subject=words.subject, body=words.body)
            self.sound.add(key)

    def common(self, language: str, basis: str) -> dict[str, str]:
        """What is the same in every message; a caller's own value goes before it."""
        if (language, basis) not in self.ours:
            self.ours[language, basis] = self.reckon(language, basis)
        return self.ours[language, basis]

    def reckon(self, language: str, basis: str) -> dict[str, str]:
        business = self.business
        with display.written_for(business):
            phone = display.phone(business.phone)
        found = {
            "business": business.name, "legal_name": business.legal_name or business.name,
            "phone": phone, "email": business.email or business.sender,
            "website": business.website, "postal_address": business.postal_address,
            "find_us": find_us(business), "unsubscribe_url": LINK,
            "stop_line": standard.word(language, "stop_line"),
            "advertisement": standard.word(language, "advertisement") if must_say_so(business, basis) else "",
            "because": standard.word(language, f"because_{basis if basis in BASES else 'customer'}"),
        }  # fmt: skip
        return checked(found)


def must_say_so(business: Business, basis: str) -> bool:
    """CAN-SPAM, 15 USC 7704(a)(5): an advertisement says that it is one unless the reader agreed to it before."""
    return business.country == "US" and basis not in AGREED


def find_us(business: Business) -> str:
    """What the law of most countries wants in a text message besides the name, as short as it can be."""
    legal = business.legal_name if business.legal_name != business.name else ""
    return ", ".join(filter(None, [legal, business.website or business.postal_address]))


BASES = {"express", "written", "inquiry", "customer"}


def write(*, purpose: str, channel: str, language: str, fields: Mapping[str, str], basis: str = "") -> Written:
    """The text of this purpose and channel with these fields, in the client's language if there is one.

    Name of the business, its addresses, the stop line and `{unsubscribe_url}` (which the outbox replaces) need not be
    given. `basis` is that of the consent, for the words why the client gets this. To write many, `Texts.load()` once
    and use its `write`. Raises `TextProblem`, an `Unsendable`, naming the field.
    """
    return Texts.load().write(purpose=purpose, channel=channel, language=language, fields=fields, basis=basis)


def spoken(values: Mapping[str, str], channel: str) -> dict[str, str]:
    """In a text message or a call the lines of a block run on."""
    if channel not in {Channel.TEXT, Channel.CALL}:
        return dict(values)
    return {name: ", ".join(filter(None, value.split("\n"))) for name, value in values.items()}


def needed(words: Wording, values: dict[str, str], purpose: str, channel: str) -> None:
    """Every field that the text uses is there, and filled unless it may be empty."""
    known = fields_of(purpose, channel)
    for name in NAMED.findall(words.subject + words.body):
        if not values.setdefault(name, "") and not known[name].may_be_empty:
            raise TextProblem(f"The text needs {{{name}}} ({known[name].words}), and nothing was given for it.")


def fill(template: str, values: Mapping[str, str]) -> str:
    """Each name in braces replaced once; a line that holds an empty field is left out."""
    lines: list[str] = []
    for line in template.replace("\r\n", "\n").split("\n"):
        if line.strip() or (lines and lines[-1].strip()):
            names = NAMED.findall(line)
            if all(values[name] for name in names):
                lines.append(NAMED.sub(lambda match: values[match[1]], line.rstrip()))
    return "\n".join(lines)
