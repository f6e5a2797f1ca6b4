"""What somebody had typed when a form could not be taken:
kept so that it can be sent again, never lost."""

import json
from collections.abc import Iterator
from urllib.parse import urlsplit

from django.http import HttpRequest

from clients.notation import INVISIBLE_CHARACTERS, storable_text

MAX_PACKED_LENGTH = 1_000_000  # characters; more is shown to be copied, but not carried along
SECRET_FIELD_PARTS = ("csrfmiddlewaretoken", "password", "kept")
BOOKKEEPING_FIELDS = {
    "TOTAL_FORMS",
    "INITIAL_FORMS",
    "MIN_NUM_FORMS",
    "MAX_NUM_FORMS",
    "pk",
    "kind",
    "place",
    "place_for",
    "opened",
    "decided",
}

FieldPairs = list[tuple[str, str]]


def submitted_fields(request: HttpRequest) -> FieldPairs:
    """The fields of the form without tokens and passwords; nothing if another site sent it."""
    if request.method != "POST" or not is_same_site(request):
        return []
    return [
        (name, value)
        for name, values in request.POST.lists()
        if not is_secret_field(name)
        for value in values
    ]


def is_same_site(request: HttpRequest) -> bool:
    """Sent by a page of ours: else a foreign site could have its words sent again under somebody's
    name."""
    site = request.headers.get("Sec-Fetch-Site")
    origin = request.headers.get("Origin") or request.headers.get("Referer", "")
    return site in {None, "same-origin"} and urlsplit(origin).netloc == request.get_host()


def is_secret_field(name: str) -> bool:
    return any(word in name.lower() for word in SECRET_FIELD_PARTS)


def has_files(request: HttpRequest) -> bool:
    return bool(request.FILES)


def pack_fields(pairs: FieldPairs) -> str:
    """The fields as one text, for a hidden field; empty if it is too much to carry."""
    text = json.dumps(pairs)
    return text if pairs and len(text) <= MAX_PACKED_LENGTH else ""


def unpack_fields(text: str) -> FieldPairs:
    """The fields again; nothing from a text that is not ours."""
    try:
        pairs = json.loads(text) if 0 < len(text) <= MAX_PACKED_LENGTH else []
        return [
            (storable_text(str(name)), storable_text(str(value)))
            for name, value in pairs
            if not is_secret_field(str(name))
        ]
    except (ValueError, TypeError, RecursionError):
        return []


def readable_fields(pairs: FieldPairs) -> Iterator[tuple[str, str]]:
    """What a person typed and might copy; numbers of rows and other bookkeeping are left out."""
    for name, value in pairs:
        last = name.rpartition("-")[2]
        if (
            value.strip()
            and value != "on"
            and last not in BOOKKEEPING_FIELDS
            and not INVISIBLE_CHARACTERS.search(name)
        ):
            yield last.replace("_", " "), value
