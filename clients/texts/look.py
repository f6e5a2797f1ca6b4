"""The HTML of an e-mail, made from the same text: paragraphs, blocks about decks, one button, small print.

No pictures, so nothing is lost with images off; one column that shrinks to any width; colours for light and dark in a
style sheet, and readable without it. A line of two hyphens begins the small print.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from html import escape

from django.template import loader
from django.utils.safestring import SafeString, mark_safe

from clients.models import Business
from clients.texts.fields import FIELDS, NAMED
from clients.texts.standard import Wording, primary

LINKS = ("offer_url", "unsubscribe_url")
LEADING_TO = re.compile(r"^(?P<words>.*?)[:.]?\s*\{(?P<name>offer_url|unsubscribe_url)\}\.?$")
ALONE = re.compile(r"^\s*\{(?P<name>\w+)\}\s*$")
SMALL_PRINT = re.compile(r"^--\s*$", re.MULTILINE)


@dataclass(frozen=True)
class Part:
    """A paragraph, a block (its first line stands out) or a button."""

    kind: str
    lines: Sequence[SafeString] = field(default_factory=list)
    url: str = ""


def as_html(words: Wording, subject: str, values: Mapping[str, str], business: Business) -> str:
    """The whole page of the message; `{unsubscribe_url}` stays in it for the outbox."""
    said, _, small = SMALL_PRINT.sub("\0", words.body.replace("\r\n", "\n"), count=1).partition("\0")
    context = {
        "language": primary(words.language), "subject": subject, "business": business.name,
        "parts": parts_of(said, values), "small": parts_of(small, values, is_small=True),
    }  # fmt: skip
    return loader.render_to_string("clients/messages/email.html", context)


def parts_of(template: str, values: Mapping[str, str], *, is_small: bool = False) -> list[Part]:
    found: list[Part] = []
    for paragraph in re.split(r"\n\s*\n", template.strip("\n")):
        alone = ALONE.match(paragraph)
        if alone and FIELDS[alone["name"]].is_block:
            found += [block(text) for text in values[alone["name"]].split("\n\n") if text.strip()]
        elif not is_small and (button := button_of(paragraph, values)):
            found.append(button)
        elif lines := [line(text, values) for text in paragraph.split("\n") if filled(text, values)]:
            found.append(Part("text", lines))
    return found


def block(text: str) -> Part:
    return Part("block", [SafeString(escape(each.strip())) for each in text.strip().split("\n")])


def button_of(paragraph: str, values: Mapping[str, str]) -> Part | None:
    """A line of its own that ends in the link to the offer: its words become the button."""
    match = LEADING_TO.match(paragraph)
    if not match or match["name"] != "offer_url" or not match["words"].strip():
        return None
    return Part("button", [SafeString(escape(put_in(match["words"], values)))], values["offer_url"])


def line(template: str, values: Mapping[str, str]) -> SafeString:
    """One line with its values escaped; words that lead to a link become the link."""
    match = LEADING_TO.match(template)
    if match and match["words"].strip():
        return link(escape(put_in(match["words"], values)), values[match["name"]])
    pieces, end = [], 0
    for each in NAMED.finditer(template):
        pieces += [escape(template[end : each.start()]), piece(each[1], values[each[1]])]
        end = each.end()
    return mark_safe("".join([*pieces, escape(template[end:])]))  # noqa: S308 - each piece is escaped


def piece(name: str, value: str) -> str:
    shown = escape(value).replace("\n", "<br>\n")
    return str(link(shown, value)) if name in LINKS or (name == "website" and is_web(value)) else shown


def link(shown: str, url: str) -> SafeString:
    return mark_safe(f'<a class="link" href="{escape(url)}" style="color:#17526d">{shown}</a>')  # noqa: S308 - escaped


def is_web(value: str) -> bool:
    return value.startswith(("https://", "http://"))


def put_in(template: str, values: Mapping[str, str]) -> str:
    return NAMED.sub(lambda match: values[match[1]], template).strip()


def filled(template: str, values: Mapping[str, str]) -> bool:
    return bool(template.strip()) and all(values[name] for name in NAMED.findall(template))
