"""Filling a text in for one client: literal replacement, once, line by line."""

import logging
from collections.abc import Mapping
from dataclasses import dataclass, field

from clients import display
from clients.messaging import sms_parts
from clients.messaging.law.rule import AGREED_BASES
from clients.messaging.models import MessageText
from clients.messaging.texts import html as look
from clients.messaging.texts import standard
from clients.messaging.texts.checking import check_wording
from clients.messaging.texts.fields import (
    FIELD_PATTERN,
    UNSUBSCRIBE_FIELD,
    TextProblem,
    clean_values,
    fields_of,
)
from clients.messaging.texts.standard import Wording
from clients.models import Business
from clients.models.channel import traits_of

logger = logging.getLogger(__name__)


@dataclass(frozen=True)
class ComposedText:
    """The words of a message, ready for `clients.messaging.outbox.queue_message`;
    `parts` of a text message, else 0."""

    subject: str
    text: str
    html: str = ""
    parts: int = 0
    language: str = "en"


@dataclass(frozen=True)
class Texts:
    """All wording in force, read once for as many messages as there are to write."""

    business: Business
    own_wordings: Mapping[tuple[str, str, str], Wording]
    shared_values: dict[tuple[str, str], dict[str, str]] = field(
        default_factory=dict, repr=False, compare=False
    )
    checked_wordings: set[tuple[str, str, str, str]] = field(
        default_factory=set, repr=False, compare=False
    )

    @classmethod
    def load(cls, business: Business | None = None) -> "Texts":
        """Two queries, or one if the business is at hand."""
        rows = MessageText.objects.values_list("purpose", "channel", "language", "subject", "body")
        own = {
            (row[0], row[1], row[2]): Wording(row[3], row[4], row[2], is_own=True) for row in rows
        }
        return cls(business or Business.objects.get(), own)

    def wording(self, purpose: str, channel: str, language: str) -> Wording:
        """In the client's language, else that of the business, else English;
        the owner's before the program's."""
        for code in standard.language_chain(language, self.business.locale):
            if found := self.own_wordings.get(
                (purpose, channel, code)
            ) or standard.standard_wording(purpose, channel, code):
                return found
        raise TextProblem(f"There is no text for {purpose} by {channel}.")

    def write(
        self,
        *,
        purpose: str,
        channel: str,
        language: str,
        fields: Mapping[str, str],
        basis: str = "",
    ) -> ComposedText:
        """As the function `write`."""
        return self.fill(self.wording(purpose, channel, language), purpose, channel, fields, basis)

    def fill(
        self, words: Wording, purpose: str, channel: str, fields: Mapping[str, str], basis: str = ""
    ) -> ComposedText:
        """This wording with these fields, checked again:
        an owner's text may be older than the rules."""
        try:
            self.check(words, purpose, channel)
            values = self.common_values(words.language, basis) | join_block_lines(
                clean_values(fields), channel
            )
            require_fields(words, values, purpose, channel)
        except TextProblem as problem:
            logger.warning("A text was not written (%s by %s): %s", purpose, channel, problem)
            raise
        subject = " ".join(fill_fields(words.subject, values).split())
        text = fill_fields(words.body, values).strip("\n")
        if traits_of(channel).in_sms_parts:
            text = sms_parts.substitute_typography(text)
            return ComposedText(
                subject, text, "", sms_parts.measure_sms(text).parts, words.language
            )
        html = (
            look.render_html(words, subject, values, self.business)
            if traits_of(channel).carries_html
            else ""
        )
        return ComposedText(subject, text + "\n", html, 0, words.language)

    def check(self, words: Wording, purpose: str, channel: str) -> None:
        """Once for each wording."""
        key = (purpose, channel, words.subject, words.body)
        if key not in self.checked_wordings:
            check_wording(purpose=purpose, channel=channel, subject=words.subject, body=words.body)
            self.checked_wordings.add(key)

    def common_values(self, language: str, basis: str) -> dict[str, str]:
        """What is the same in every message; a caller's own value goes before it."""
        if (language, basis) not in self.shared_values:
            self.shared_values[language, basis] = self.build_common_values(language, basis)
        return self.shared_values[language, basis]

    def build_common_values(self, language: str, basis: str) -> dict[str, str]:
        business = self.business
        with display.override_business(business):
            phone = display.format_phone(business.phone)
        found = {
            "business": business.name,
            "legal_name": business.legal_name or business.name,
            "phone": phone,
            "email": business.email or business.sender,
            "website": business.website,
            "postal_address": business.postal_address,
            "find_us": contact_line(business),
            "unsubscribe_url": UNSUBSCRIBE_FIELD,
            "stop_line": standard.standard_phrase(language, "stop_line"),
            "advertisement": (
                standard.standard_phrase(language, "advertisement")
                if must_declare_advertisement(business, basis)
                else ""
            ),
            "because": standard.standard_phrase(
                language, f"because_{basis if basis in BASES_WITH_REASON else 'customer'}"
            ),
        }
        return clean_values(found)


def must_declare_advertisement(business: Business, basis: str) -> bool:
    """CAN-SPAM, 15 USC 7704(a)(5): an advertisement says that it is one unless the reader agreed to
    it before."""
    return business.country == "US" and basis not in AGREED_BASES


def contact_line(business: Business) -> str:
    """What the law of most countries wants in a text message besides the name, as short as it can
    be."""
    legal = business.legal_name if business.legal_name != business.name else ""
    return ", ".join(filter(None, [legal, business.website or business.postal_address]))


BASES_WITH_REASON = {"express", "written", "inquiry", "customer"}


def compose_text(
    *, purpose: str, channel: str, language: str, fields: Mapping[str, str], basis: str = ""
) -> ComposedText:
    """The text of this purpose and channel with these fields, in the client's language if there is
    one.

    Name of the business, its addresses, the stop line and `{unsubscribe_url}` (which the outbox
    replaces) need not be given. `basis` is that of the consent, for the words why the client gets
    this. To write many, `Texts.load()` once and use its `write`. Raises `TextProblem`, an
    `Unsendable`, naming the field.
    """
    return Texts.load().write(
        purpose=purpose, channel=channel, language=language, fields=fields, basis=basis
    )


def join_block_lines(values: Mapping[str, str], channel: str) -> dict[str, str]:
    """In a text message or a call the lines of a block run on."""
    if not traits_of(channel).on_one_line:
        return dict(values)
    return {name: ", ".join(filter(None, value.split("\n"))) for name, value in values.items()}


def require_fields(words: Wording, values: dict[str, str], purpose: str, channel: str) -> None:
    """Every field that the text uses is there, and filled unless it may be empty."""
    known = fields_of(purpose, channel)
    for name in FIELD_PATTERN.findall(words.subject + words.body):
        if not values.setdefault(name, "") and not known[name].may_be_empty:
            raise TextProblem(
                f"The text needs {{{name}}} ({known[name].description}), and nothing was given"
                " for it."
            )


def fill_fields(template: str, values: Mapping[str, str]) -> str:
    """Each name in braces replaced once; a line that holds an empty field is left out."""
    lines: list[str] = []
    for line in template.replace("\r\n", "\n").split("\n"):
        if line.strip() or (lines and lines[-1].strip()):
            names = FIELD_PATTERN.findall(line)
            if all(values[name] for name in names):
                lines.append(FIELD_PATTERN.sub(lambda match: values[match[1]], line.rstrip()))
    return "\n".join(lines)
