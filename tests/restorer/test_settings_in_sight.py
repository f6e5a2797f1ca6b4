"""What an owner has to look at in Settings before opening “Advanced”: few entries, few fields.

How it is counted: the overview and every page of Settings that links in sight lead to, from page to
page, in an empty book. A field is a control of a form that posts (a group of ticks or buttons of
one name is one field); what lies in a closed `<details>` or in a `<template>` is not in sight.
A record is no setting: products, people, crews, price lists that exist, lists that were brought in.
"""

from html.parser import HTMLParser
from typing import Any

from django.test import Client as Browser
from django.urls import resolve, reverse

MAX_ENTRIES = 7
MAX_FIELDS = 25
VOID = {"input", "br", "hr", "img", "meta", "link", "col", "source", "wbr", "path", "use"}
RECORDS = {
    "jobs:product_new",
    "settings:add_person",
    "settings:person",
    "settings:set_password",
    "diary:crew_new",
    "clients:customers",
}


class InSight(HTMLParser):
    """Links and fields of `<main>` that are in sight as the page opens."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[tuple[str, dict[str, str | None]]] = []
        self.links: list[str] = []
        self.fields: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        attributes = dict(attrs)
        if self.is_in_sight():
            self.note(tag, attributes)
        if tag not in VOID:
            self.open.append((tag, attributes))

    def handle_endtag(self, tag: str) -> None:
        while self.open and self.open.pop()[0] != tag:
            pass

    def is_in_sight(self) -> bool:
        tags = [tag for tag, _ in self.open]
        is_folded = any(
            tag == "template" or (tag == "details" and "open" not in attributes)
            for tag, attributes in self.open
        )
        return "main" in tags and not is_folded

    def note(self, tag: str, attributes: dict[str, str | None]) -> None:
        if tag == "a" and attributes.get("href"):
            self.links.append(str(attributes["href"]).partition("?")[0])
        is_control = tag in {"select", "textarea"} or (
            tag == "input" and attributes.get("type") not in {"hidden", "submit"}
        )
        forms = [each for name, each in self.open if name == "form"]
        if is_control and forms and forms[-1].get("method") == "post":
            self.fields.add(str(attributes["name"]))


def read_page(browser: Browser, path: str) -> InSight:
    found = InSight()
    found.feed(browser.get(path).content.decode())
    return found


def walk_settings(browser: Browser) -> tuple[list[str], dict[str, set[str]]]:
    """The entries of the overview, and the fields of each page that they lead to."""
    overview = reverse("settings:overview")
    entries = list(dict.fromkeys(read_page(browser, overview).links))
    fields: dict[str, set[str]] = {}
    left = list(entries)
    while left:
        path = left.pop()
        answer = browser.get(path)
        is_here = 'aria-current="page">' in answer.content.decode() and is_setting(path)
        if path in fields or path == overview or not is_here:
            continue
        seen = read_page(browser, path)
        fields[path] = seen.fields
        left += [link for link in seen.links if link.startswith("/settings/")]
    return entries, fields


def is_setting(path: str) -> bool:
    return resolve(path).view_name not in RECORDS


def test_settings_show_at_most_25_fields_in_at_most_7_entries(
    as_owner: Browser, business: Any
) -> None:
    entries, fields = walk_settings(as_owner)

    counts = {path: sorted(names) for path, names in fields.items() if names}
    assert len(entries) <= MAX_ENTRIES, entries
    assert sum(len(names) for names in counts.values()) <= MAX_FIELDS, counts
