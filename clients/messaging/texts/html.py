"""The HTML of an e-mail, made from the same text:
paragraphs, blocks about decks, one button, small print.

No pictures, so nothing is lost with images off; one column that shrinks to any width; colours for
light and dark in a style sheet, and readable without it. A line of two hyphens begins the small
print.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from html import escape

from django.template import loader
from django.utils.safestring import SafeString, mark_safe

from clients import phones
from clients.languages import primary_language
from clients.messaging.texts.fields import FIELD_PATTERN, MESSAGE_FIELDS
from clients.messaging.texts.standard import Wording
from clients.models import Business

LINK_LINE_PATTERN = re.compile(
    r"^(?P<words>.*?)[:.]?\s*\{(?P<name>offer_url|unsubscribe_url)\}\.?$"
)
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
        return FIELD_PATTERN.sub(lambda match: self.values[match[1]], template).strip()

    def has_all(self, template: str) -> bool:
        """Something to say, and a value for each field in it."""
        return bool(template.strip()) and all(
            self.values[name] for name in FIELD_PATTERN.findall(template)
        )


def field_links(values: Mapping[str, str], business: Business) -> dict[str, str]:
    """Only what the program itself knows becomes a link, never what somebody typed."""
    found = {name: values.get(name, "") for name in ("offer_url", "unsubscribe_url")}
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
    """A line of its own that ends in the link to the offer: its words become the button."""
    match = LINK_LINE_PATTERN.match(paragraph)
    if not match or match["name"] != "offer_url" or not match["words"].strip():
        return None
    return HtmlPart(
        "button",
        [SafeString(escape(filling.fill_line(match["words"])))],
        filling.values["offer_url"],
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
    return mark_safe("".join([*pieces, escape(template[end:])]))  # noqa: S308 - each piece is escaped


def html_value(name: str, filling: FilledFields) -> str:
    shown = escape(filling.values[name]).replace("\n", "<br>\n")
    return html_link(shown, filling.hrefs[name]) if name in filling.hrefs else shown


def html_link(shown: str, url: str) -> SafeString:
    whole = ";white-space:nowrap" if url.startswith("tel:") else ""
    href = f'href="{escape(url)}" style="color:#17526d{whole}"'
    return mark_safe(f'<a class="link" {href}>{shown}</a>')  # noqa: S308 - escaped
