"""Address cards: vCard 3.0 (RFC 2426), 4.0 (RFC 6350) and the older 2.1, one client a card."""

import re
from collections.abc import Iterator
from typing import Any

import vobject
from vobject.base import ParseError, VObjectError

from jobs.importing.files.delimited import decoded_lines

CARD_HEADER = [
    *("Name", "Company", "Phone", "E-mail", "Street", "Town", "Region", "Postal code", "Country"),
    "Notes",
]
MOBILE_TYPES = {"CELL", "MOBILE", "IPHONE"}
WHOLE_CARD = re.compile(r"^BEGIN:VCARD.*?^END:VCARD[ \t]*$", re.DOTALL | re.MULTILINE | re.I)


def is_cards(content: bytes) -> bool:
    return content.removeprefix(b"\xef\xbb\xbf").lstrip()[:11].upper() == b"BEGIN:VCARD"


def card_lines(content: bytes, remarks: list[str]) -> Iterator[tuple[int, list[str]]]:
    """A header, then a line a card; a card that cannot be read keeps its words as a note."""
    text = "\n".join(decoded_lines(content, remarks))
    yield 1, CARD_HEADER
    for number, found in enumerate(WHOLE_CARD.finditer(text), start=2):
        try:
            card = vobject.readOne(found.group(), allowQP=True)
        except (ParseError, VObjectError, ValueError, IndexError, KeyError):
            remarks.append(f"Card {number - 1} breaks the rules of vCard; its name alone was read.")
            yield number, [broken_name(found.group())]
            continue
        yield number, card_cells(card)


def broken_name(text: str) -> str:
    """What stands behind FN: in a card that breaks the rules."""
    found = re.search(r"^FN[^:\n]*:(.*)$", text, re.MULTILINE | re.I)
    return found.group(1).strip() if found else ""


def card_cells(card: Any) -> list[str]:
    address = next((each.value for each in card.contents.get("adr", ())), None)
    parts = ["street", "city", "region", "code", "country"]
    return [
        card_name(card),
        " ".join(str(each) for each in first_value(card, "org") or []),
        "; ".join(card_phone(each) for each in card.contents.get("tel", ())),
        "; ".join(str(each.value) for each in card.contents.get("email", ())),
        *(one_line(getattr(address, part, "")) for part in parts),
        "; ".join(str(each.value) for each in card.contents.get("note", ())),
    ]


def card_name(card: Any) -> str:
    written = str(first_value(card, "fn") or "").strip()
    return written or str(first_value(card, "n") or "").strip()


def first_value(card: Any, name: str) -> Any:
    return next((each.value for each in card.contents.get(name, ())), None)


def card_phone(line: Any) -> str:
    """The number, with the word that says it is a mobile one."""
    number = str(line.value).removeprefix("tel:").replace(";ext=", " ext ")
    types = {
        word.strip().upper() for each in line.params.get("TYPE", ()) for word in each.split(",")
    }
    types |= {name.upper() for name in getattr(line, "singletonparams", ())}
    return f"{number} cell" if types & MOBILE_TYPES else number


def one_line(value: object) -> str:
    """A part of an address; a list where the card gives several."""
    parts = value if isinstance(value, list) else [value]
    return ", ".join(str(part).strip() for part in parts if part)
