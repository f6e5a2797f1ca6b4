"""Text as the database can keep it, whatever was sent."""

import re
from dataclasses import fields, is_dataclass, replace
from typing import Any

from django.http import QueryDict

# PostgreSQL's text holds every character of Unicode but U+0000 (its manual, "Character Types"); a
# lone surrogate is no character (Unicode Standard, 3.9, D75) and UTF-8 has no form of it
# (RFC 3629, 3).
UNSTORABLE = re.compile("[\x00\ud800-\udfff]")
REPLACEMENT = "\ufffd"


def storable_text(text: str) -> str:
    """NUL is left out, half a pair of surrogates becomes the replacement character."""
    return UNSTORABLE.sub(lambda found: "" if found[0] == "\x00" else REPLACEMENT, text)


def make_storable(content: Any) -> Any:
    """The same value with all text in it made storable: dataclasses, dicts and lists throughout."""
    if isinstance(content, str):
        return storable_text(content)
    if isinstance(content, dict):
        return {make_storable(key): make_storable(value) for key, value in content.items()}
    if isinstance(content, list | tuple):
        return type(content)(make_storable(value) for value in content)
    if is_dataclass(content) and not isinstance(content, type):
        texts = {
            each.name: storable_text(value)
            for each in fields(content)
            if isinstance(value := getattr(content, each.name), str)
        }
        return replace(content, **texts)
    return content


def storable_fields(query: QueryDict) -> QueryDict:
    """The fields of an address as the database can be asked for them."""
    clean = QueryDict(mutable=True)
    for name, values in query.lists():
        clean.setlist(storable_text(name), [storable_text(value) for value in values])
    return clean
