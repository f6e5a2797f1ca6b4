"""Signing in as people do, by the pages; and an authenticator app for tests."""

import re
from datetime import datetime
from typing import Any

import pyotp
from django.test import Client as Browser
from django.urls import reverse

from clients.models import User

PASSWORD = "low tide at seven"
OWN = {"HTTP_ORIGIN": "http://testserver", "HTTP_SEC_FETCH_SITE": "same-origin"}


def type_password(browser: Browser, person: User, **more: str) -> Any:
    fields = {"username": person.username, "password": PASSWORD, **more}
    return browser.post(reverse("sign_in"), fields, **OWN)


def signed_in(person: User, **more: str) -> Any:
    """A browser in which this person has just typed name and password."""
    browser = Browser()
    answer = type_password(browser, person, **more)
    assert answer.status_code == 302
    return browser


def key_on_page(answer: Any) -> str:
    found = re.search(r"<code>([A-Z2-7 ]+)</code>", answer.content.decode())
    assert found
    return found[1].replace(" ", "")


def codes_on_page(answer: Any) -> list[str]:
    return re.findall(r"<code>([a-z2-7-]{19})</code>", answer.content.decode())


def code_of(key: str, moment: datetime) -> str:
    """What the app shows."""
    return pyotp.TOTP(key).at(moment)


def set_up_app(browser: Browser, moment: datetime) -> tuple[str, list[str]]:
    """The key of the app, and the recovery codes that the page shows."""
    key = key_on_page(browser.get(reverse("settings:app")))
    answer = browser.post(reverse("settings:app"), {"code": code_of(key, moment)}, **OWN)
    return key, codes_on_page(answer)
