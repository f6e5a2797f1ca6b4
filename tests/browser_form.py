"""A form of a page as a browser without scripts would send it."""

import re
from html.parser import HTMLParser
from typing import Any

from django.http import QueryDict


class FormReader(HTMLParser):
    """The fields of the first form that posts and has a field of that name."""

    def __init__(self, having: str) -> None:
        super().__init__()
        self.having = having
        self.found: QueryDict | None = None
        self.action = ""
        self.current: QueryDict | None = None
        self.select = self.textarea = ""
        self.action_of_current = self.text = ""
        self.first: str | None = None
        self.has_choice = False
        self.templates = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        values = {name: value or "" for name, value in attrs}
        self.templates += tag == "template"
        if self.templates:
            return
        if tag == "form" and values.get("method") == "post":
            self.current = QueryDict(mutable=True)
            self.action_of_current = values.get("action", "")
        elif self.current is not None and tag in {"input", "select", "option", "textarea"}:
            getattr(self, f"start_{tag}")(values.get("name", ""), values)

    def start_input(self, name: str, values: dict[str, str]) -> None:
        assert self.current is not None
        is_box = values.get("type") in {"checkbox", "radio"}
        is_sent = name and values.get("type") not in {"submit", "file", "button"}
        if is_sent and (not is_box or "checked" in values):
            self.current.appendlist(name, values.get("value", "on" if is_box else ""))

    def start_select(self, name: str, values: dict[str, str]) -> None:
        self.select, self.has_choice, self.first = name, "multiple" in values, None

    def start_option(self, name: str, values: dict[str, str]) -> None:
        assert self.current is not None
        if self.first is None:
            self.first = values.get("value", "")
        if self.select and "selected" in values:
            self.current.appendlist(self.select, values.get("value", ""))
            self.has_choice = True

    def start_textarea(self, name: str, values: dict[str, str]) -> None:
        self.textarea, self.text = name, ""

    def handle_data(self, data: str) -> None:
        if self.textarea:
            self.text += data

    def handle_endtag(self, tag: str) -> None:
        is_inside = bool(self.templates)
        self.templates -= tag == "template"
        if self.current is None or is_inside:
            return
        if tag == "select" and self.select:
            if not self.has_choice and self.first is not None:
                self.current.appendlist(self.select, self.first)
            self.select = ""
        elif tag == "textarea" and self.textarea:
            self.current.appendlist(self.textarea, self.text.removeprefix("\n"))
            self.textarea = ""
        elif tag == "form":
            if self.found is None and self.having in self.current:
                self.found, self.action = self.current, self.action_of_current
            self.current = None


def read_form(html: str, having: str) -> tuple[str, QueryDict]:
    """Its action and what it would send."""
    reader = FormReader(having)
    reader.feed(html)
    assert reader.found is not None, f"no form with {having}"
    return reader.action, reader.found


def opened_form(browser: Any, url: str, having: str) -> tuple[str, QueryDict]:
    """The form of a page that is open in a browser; where it goes, and its fields."""
    action, fields = read_form(browser.get(url).content.decode(), having)
    return action or url, fields


def send(browser: Any, url: str, fields: QueryDict, **typed: Any) -> Any:
    data = fields.copy()
    for name, value in typed.items():
        data[name] = value
    return browser.post(url, data.urlencode(), content_type="application/x-www-form-urlencoded")


def complaints(answer: Any) -> list[str]:
    """The lines of the summary of mistakes, for a message of a test."""
    html = answer.content.decode()
    found = re.search(r'(?s)<div class="notice is-error".*?</div>', html)
    return re.findall(r"(?s)<li>(.*?)</li>", found[0]) if found else []
