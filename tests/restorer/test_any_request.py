"""Every page of the invented book, asked with what no page expects: never a fault of ours.

The pages are found as a browser finds them, by links and forms from Today on, one for each named
address. What is sent: Unicode's corners (its Standard, 3.9 and 23.7), ISO 8601's first and last
years, numbers beyond PostgreSQL's bigint and IEEE 754's double, and what is no upload (RFC 7578).
"""

import os
import re
from collections.abc import Iterator
from html.parser import HTMLParser
from typing import Any

import pytest
from django.core.management import call_command
from django.test import Client as Browser
from django.urls import Resolver404, resolve
from django.utils.http import urlencode

from clients.models import User

pytestmark = [pytest.mark.django_db, pytest.mark.slow]

ODD_VALUES = [
    "\x00",
    "a\x00b",
    "\ud800",
    "\ufffe\u202e\U0010ffff",
    "0001-01-01",
    "9999-12-31",
    "-1",
    str(2**63),
    "1" + "0" * 310,
    "1e400",
    "NaN",
    "½",
    "javascript:alert(1)",
    "//example.org/",
    "[]",
    "{" * 5_000,
]
ODD_QUERIES = ["q", "back", "next", "month", "from", "to", "page", "sort", "town", "view", "deck"]
ENDS_SOMETHING = re.compile("sign-out|backup/now|lists/.*/undo|export")
MAX_PAGES = 400


class PageReader(HTMLParser):
    """Links, and forms with their fields."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.links: list[str] = []
        self.forms: list[tuple[str, str, set[str]]] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = {name: value or "" for name, value in attrs}
        if tag == "a" and found.get("href", "").startswith("/"):
            self.links.append(found["href"].partition("#")[0])
        if tag == "form":
            method = found.get("method", "get").lower()
            self.forms.append((method, found.get("action", ""), set()))
        if tag in {"input", "select", "textarea", "button"} and self.forms and found.get("name"):
            self.forms[-1][2].add(found["name"])


def name_of(address: str) -> str:
    try:
        return resolve(address.partition("?")[0]).view_name
    except Resolver404:
        return ""


def pages_of_the_book(browser: Browser) -> Iterator[tuple[str, PageReader]]:
    """One page for each named address that a link or a form leads to."""
    waiting = ["/"]
    seen: set[str] = set()
    while waiting and len(seen) < MAX_PAGES:
        address = waiting.pop(0)
        name = name_of(address)
        if not name or name in seen or ENDS_SOMETHING.search(address):
            continue
        seen.add(name)
        answer = browser.get(address)
        text = "" if answer.streaming else answer.content.decode(errors="replace")
        reader = PageReader(text if "html" in answer.get("Content-Type", "") else "")
        yield address, reader
        waiting += reader.links + [action for _, action, _ in reader.forms if action]
        waiting += [answer["Location"]] if answer.has_header("Location") else []


def some_values(turn: int) -> list[str]:
    """Four of them, others for each page; all of them with ODD_REQUESTS=all (four minutes)."""
    if os.environ.get("ODD_REQUESTS") == "all":
        return ODD_VALUES
    return [ODD_VALUES[(4 * turn + step) % len(ODD_VALUES)] for step in range(4)]


def odd_requests(
    address: str, reader: PageReader, turn: int
) -> Iterator[tuple[str, str, dict[str, Any]]]:
    path = address.partition("?")[0]
    for value in some_values(turn):
        names = ODD_QUERIES + sorted(set.union(set(), *(form[2] for form in reader.forms)))[:20]
        query = urlencode({name: value.encode("utf-8", "surrogatepass") for name in names})
        yield "get", f"{path}?{query}", {}
    for method, action, fields in reader.forms:
        if method == "post" and not ENDS_SOMETHING.search(action or path):
            for value in some_values(turn):
                body = {name: value.encode("utf-8", "surrogatepass") for name in fields}
                yield "post", action or path, {"data": body}
            whole = urlencode(dict.fromkeys(fields, "x"))
            yield (
                "post",
                action or path,
                {
                    "data": f'--b\r\nContent-Disposition: form-data; name="photos"\r\n\r\n{whole}',
                    "content_type": "multipart/form-data; boundary=b",
                },
            )
            yield "post", action or path, {"data": "{}", "content_type": "multipart/form-data"}


def test_no_page_breaks_whatever_is_sent_to_it() -> None:
    call_command("load_places", verbosity=0)
    call_command("load_demo_book", verbosity=0)
    browser = Browser(raise_request_exception=False)
    browser.force_login(User.objects.get(username="maren"))
    pages = list(pages_of_the_book(browser))
    assert len(pages) > 80

    broken = {}
    for turn, (address, reader) in enumerate(pages):
        for method, target, options in odd_requests(address, reader, turn):
            answer = getattr(browser, method)(target, **options)
            if answer.status_code >= 500:
                broken[(method, name_of(target), answer.exc_info[1].__class__)] = (target, options)
    assert broken == {}
