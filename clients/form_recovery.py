"""What somebody had typed when a form could not be taken: kept so that it can be sent again, never lost."""

import json
from collections.abc import Iterator
from urllib.parse import urlsplit

from django.http import HttpRequest

from clients.emails import INVISIBLE

LONGEST = 1_000_000  # characters; more is shown to be copied, but not carried along
SECRET = ("csrfmiddlewaretoken", "password", "kept")
BOOKKEEPING = {"TOTAL_FORMS", "INITIAL_FORMS", "MIN_NUM_FORMS", "MAX_NUM_FORMS", "pk", "kind", "place", "place_for"}

Pairs = list[tuple[str, str]]


def typed(request: HttpRequest) -> Pairs:
    """The fields of the form without tokens and passwords; nothing if another site sent it."""
    if request.method != "POST" or not is_own(request):
        return []
    return [(name, value) for name, values in request.POST.lists() if not is_secret(name) for value in values]


def is_own(request: HttpRequest) -> bool:
    """Sent by a page of ours: else a foreign site could have its words sent again under somebody's name."""
    site = request.headers.get("Sec-Fetch-Site")
    origin = request.headers.get("Origin") or request.headers.get("Referer", "")
    return site in {None, "same-origin"} and urlsplit(origin).netloc == request.get_host()


def is_secret(name: str) -> bool:
    return any(word in name.lower() for word in SECRET)


def has_files(request: HttpRequest) -> bool:
    return bool(request.FILES)


def pack(pairs: Pairs) -> str:
    """The fields as one text, for a hidden field; empty if it is too much to carry."""
    text = json.dumps(pairs)
    return text if pairs and len(text) <= LONGEST else ""


def unpack(text: str) -> Pairs:
    """The fields again; nothing from a text that is not ours."""
    try:
        pairs = json.loads(text) if 0 < len(text) <= LONGEST else []
        return [(str(name), str(value)) for name, value in pairs if not is_secret(str(name))]
    except (ValueError, TypeError, RecursionError):
        return []


def readable(pairs: Pairs) -> Iterator[tuple[str, str]]:
    """What a person typed and might copy; numbers of rows and other bookkeeping are left out."""
    for name, value in pairs:
        last = name.rpartition("-")[2]
        if value.strip() and value != "on" and last not in BOOKKEEPING and not INVISIBLE.search(name):
            yield last.replace("_", " "), value
