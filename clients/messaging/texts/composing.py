"""Filling a text in for one client: literal replacement, once, line by line; and its HTML.

The HTML is made from the same text: paragraphs, blocks about decks, one button, small print. No
picture but the logo, which goes along and is fetched from nowhere, so nothing is lost with images
off; one column that shrinks to any width; colours for
light and dark in a style sheet, and readable without it. A line of two hyphens begins the small
print.
"""

import logging
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from html import escape

from django.conf import settings
from django.template import loader
from django.utils.safestring import SafeString, mark_safe

from clients import display
from clients.messaging import sms_parts
from clients.messaging.law import AGREED_BASES
from clients.messaging.models import MessageText
from clients.messaging.public_address import why_not_public
from clients.messaging.texts import standard
from clients.messaging.texts.standard import (
    FIELD_PATTERN,
    MESSAGE_FIELDS,
    UNSUBSCRIBE_FIELD,
    TextProblem,
    Wording,
    check_wording,
    clean_values,
    fields_of,
    substitute_typography,
)
from clients.models import Business, traits_of
from clients.notation import phones, primary_language, typography

LOGO_CONTENT_ID = "logo@business"  # RFC 2392: the picture that goes along under this name
LINK_LINE_PATTERN = re.compile(
    r"^(?P<words>.*?)[:.]?\s*\{(?P<name>offer_url|page_url|unsubscribe_url|privacy_url)\}\.?$"
)
BUTTON_FIELDS = {"offer_url", "page_url"}
FIELD_ALONE_PATTERN = re.compile(r"^\s*\{(?P<name>\w+)\}\s*$")
SMALL_PRINT = re.compile(r"^--\s*$", re.MULTILINE)


@dataclass(frozen=True)
class HtmlPart:
    """A paragraph, a block (its first line stands out) or a button."""

    kind: str
    lines: Sequence[SafeString] = field(default_factory=list)
    url: str = ""


def render_html(words: Wording, subject: str, values: Mapping[str, str], business: Business) -> str:
    """The whole page of the message; `{unsubscribe_url}` stays in it for the outbox."""
    filling = FilledFields(values, field_links(values, business))
    said, _, small = SMALL_PRINT.sub("\0", words.body.replace("\r\n", "\n"), count=1).partition(
        "\0"
    )
    context = {
        "language": primary_language(words.language),
        "subject": subject,
        "business": business.name,
        "logo": f"cid:{LOGO_CONTENT_ID}" if business.logo else "",
        "parts": html_parts(said, filling),
        "small": html_parts(small, filling, is_small=True),
    }
    return loader.render_to_string("clients/messages/email.html", context)


@dataclass(frozen=True)
class FilledFields:
    """What goes into the fields, and where those lead that are links."""

    values: Mapping[str, str]
    hrefs: Mapping[str, str]

    def fill_line(self, template: str) -> str:
        return put_values(template, self.values).strip()

    def has_all(self, template: str) -> bool:
        """Something to say, and a value for each field in it."""
        return bool(template.strip()) and all(
            self.values[name] for name in FIELD_PATTERN.findall(template)
        )


def field_links(values: Mapping[str, str], business: Business) -> dict[str, str]:
    """Only what the program itself knows becomes a link, never what somebody typed."""
    links = (*BUTTON_FIELDS, "unsubscribe_url", "privacy_url")
    found = {name: values.get(name, "") for name in links}
    found["website"] = business.website if values.get("website") == business.website else ""
    found["email"] = f"mailto:{values['email']}" if values.get("email") else ""
    found["phone"] = tel_uri(values.get("phone", ""), business.country)
    return {name: href for name, href in found.items() if href}


@lru_cache(maxsize=64)
def tel_uri(phone: str, country: str) -> str:
    """RFC 3966, without an extension; empty if it is no number."""
    try:
        return f"tel:{phones.parse_phone(phone, country).e164.partition(';')[0]}"
    except phones.PhoneError:
        return ""


def html_parts(template: str, filling: FilledFields, *, is_small: bool = False) -> list[HtmlPart]:
    found: list[HtmlPart] = []
    for paragraph in re.split(r"\n\s*\n", template.strip("\n")):
        alone = FIELD_ALONE_PATTERN.match(paragraph)
        if alone and MESSAGE_FIELDS[alone["name"]].is_block:
            found += [
                block_part(text)
                for text in filling.values[alone["name"]].split("\n\n")
                if text.strip()
            ]
        elif not is_small and (button := button_part(paragraph, filling)):
            found.append(button)
        elif lines := [
            html_line(text, filling) for text in paragraph.split("\n") if filling.has_all(text)
        ]:
            found.append(HtmlPart("text", lines))
    return found


def block_part(text: str) -> HtmlPart:
    return HtmlPart(
        "block", [SafeString(escape(each.strip())) for each in text.strip().split("\n")]
    )


def button_part(paragraph: str, filling: FilledFields) -> HtmlPart | None:
    """A line of its own that ends in the link to a page: its words become the button."""
    match = LINK_LINE_PATTERN.match(paragraph)
    if not match or match["name"] not in BUTTON_FIELDS or not match["words"].strip():
        return None
    if not filling.values[match["name"]]:
        return None
    return HtmlPart(
        "button",
        [SafeString(escape(filling.fill_line(match["words"])))],
        filling.values[match["name"]],
    )


def html_line(template: str, filling: FilledFields) -> SafeString:
    """One line with its values escaped; words that lead to a link become the link."""
    match = LINK_LINE_PATTERN.match(template)
    if match and match["words"].strip():
        return html_link(escape(filling.fill_line(match["words"])), filling.values[match["name"]])
    pieces = []
    end = 0
    for each in FIELD_PATTERN.finditer(template):
        pieces += [escape(template[end : each.start()]), html_value(each[1], filling)]
        end = each.end()
    pieces.append(escape(template[end:]))
    return mark_safe("".join(pieces))  # noqa: S308 - each piece is escaped


def html_value(name: str, filling: FilledFields) -> str:
    shown = escape(filling.values[name]).replace("\n", "<br>\n")
    return html_link(shown, filling.hrefs[name]) if name in filling.hrefs else shown


def html_link(shown: str, url: str) -> SafeString:
    whole = ";white-space:nowrap" if url.startswith("tel:") else ""
    href = f'href="{escape(url)}" style="color:#17526d{whole}"'
    return mark_safe(f'<a class="link" {href}>{shown}</a>')  # noqa: S308 - escaped


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
        words = with_privacy_line(words, purpose, channel)
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
            text = substitute_typography(self.set_type(text, words.language, is_short=True))
            return ComposedText(
                subject, text, "", sms_parts.measure_sms(text).parts, words.language
            )
        html = ""
        if traits_of(channel).carries_html:
            with (
                display.override_business(self.business),
                display.in_client_language(words.language),
            ):
                html = display.set_page_type(render_html(words, subject, values, self.business))
        subject, text = (self.set_type(each, words.language) for each in (subject, text))
        return ComposedText(subject, text + "\n", html, 0, words.language)

    def set_type(self, text: str, language: str, *, is_short: bool = False) -> str:
        """As the language sets its marks where the business is."""
        locale = display.locale_for_language(language, self.business)
        if locale.language != "fr":
            return text
        setting = typography.set_french_text_message if is_short else typography.set_french
        return setting(text, locale.territory or "")

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
            "privacy_url": privacy_url(language, business),
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


def with_privacy_line(words: Wording, purpose: str, channel: str) -> Wording:
    """With a last line that leads to the privacy notice, which an owner's wording need not have.
    A text message has no room for it; the page that it leads to has the link."""
    if "privacy_url" not in fields_of(purpose, channel) or "{privacy_url}" in words.body:
        return words
    line = standard.standard_phrase(words.language, "privacy_line")
    return replace(words, body=f"{words.body.rstrip()}\n{line}\n")


def privacy_url(language: str, business: Business) -> str:
    """Empty where no client can open it, so that its line is left out."""
    if why_not_public(settings.BASE_URL):
        return ""
    code = primary_language(language)
    asked = "" if code == primary_language(business.locale) else f"?language={code}"
    return f"{settings.BASE_URL}/privacy/{asked}"


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
                lines.append(put_values(line.rstrip(), values))
    return "\n".join(lines)


def put_values(template: str, values: Mapping[str, str]) -> str:
    """In the place of the names in braces. A value that ends in a full stop (“4:00 p.m.”) and one
    that stands behind it are one."""

    def value_of(match: re.Match[str]) -> str:
        value = values[match[1]]
        rest = template[match.end() :]
        return value[:-1] if rest.startswith(".") and value.endswith(".") else value

    return FIELD_PATTERN.sub(value_of, template)
