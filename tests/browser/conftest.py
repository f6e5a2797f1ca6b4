"""A real Chromium on the pages of a real server, signed in as somebody, with axe at hand."""

import os
import shutil
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from django.test import Client
from playwright.sync_api import Browser, BrowserContext, Page, expect, sync_playwright
from pytest_django.live_server_helper import LiveServer

from clients.models import Business, User
from tests.factories import BusinessFactory, UserFactory

CHROMIUM = os.environ.get("CHROMIUM")  # empty if the bootstrap found that something is missing
if CHROMIUM is None:
    CHROMIUM = shutil.which("chromium") or shutil.which("google-chrome") or ""
OPTIONS = [
    "--no-sandbox",
    "--disable-quic",
    "--disable-background-networking",
    "--disable-component-update",
    "--use-fake-device-for-media-stream",  # a camera that shows a test picture
    "--use-fake-ui-for-media-stream",
]
SLOW_PHONES = os.environ.get("RESTORER_SLOW_PHONES") == "1"  # every journey as on an old phone
PHONE = {"width": 390, "height": 844}
DESKTOP = {"width": 1280, "height": 900}
NARROWEST = {"width": 320, "height": 800}
# Playwright keeps an event loop in this thread; Django would then refuse to touch the database.
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
expect.set_options(timeout=15_000)  # a page of a busy machine


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if "/browser/" in str(item.path):
            item.add_marker(pytest.mark.browser)
            if not CHROMIUM:
                item.add_marker(pytest.mark.skip(reason="no Chromium on this machine"))


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=OPTIONS)
        yield browser
        browser.close()


@pytest.fixture
def people(transactional_db: None, with_words: None) -> dict[str, User]:
    """The business and one person of each role (made again:
    a live server's tests empty the tables)."""
    BusinessFactory()
    return {role: UserFactory(username=role, role=role) for role in ("owner", "office", "crew")}


@pytest.fixture
def business(people: dict[str, User]) -> Business:
    return Business.objects.get()


@pytest.fixture
def open_as(
    chromium: Browser, live_server: LiveServer, people: dict[str, User]
) -> Iterator[Callable[..., Page]]:
    """`open_as("owner", "/due/")`: a page of that size, signed in as that role;
    every console error fails the test."""
    contexts: list[BrowserContext] = []
    complaints: list[str] = []

    def open_page(
        role: str,
        path: str,
        *,
        size: dict[str, int] = PHONE,
        scripts: bool = True,
        dark: bool = False,
        may_complain: bool = False,
        worker: bool = False,
    ) -> Page:
        context = chromium.new_context(
            base_url=live_server.url,
            viewport=size,
            java_script_enabled=scripts,
            color_scheme="dark" if dark else "light",
            has_touch=size is PHONE,
            service_workers="allow" if worker else "block",
        )
        contexts.append(context)
        if role:
            context.add_cookies([session_of(people[role], live_server.url)])
        page = context.new_page()
        if SLOW_PHONES and size is PHONE and scripts:
            slow_down(page)
        page.set_default_timeout(30_000)
        page.set_default_navigation_timeout(60_000)  # the first page of a busy machine
        if not may_complain:
            page.on(
                "console",
                lambda message: (
                    complaints.append(message.text) if message.type == "error" else None
                ),
            )
        page.goto(path)
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert complaints == []


def slow_down(page: Page) -> None:
    """A phone of some years ago: its scripts take four times as long."""
    page.context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": 4})


def session_of(user: User, url: str) -> Any:
    client = Client()
    client.force_login(user)
    return {
        "name": settings.SESSION_COOKIE_NAME,
        "value": client.cookies[settings.SESSION_COOKIE_NAME].value,
        "url": url,
    }


def violations(page: Page) -> list[str]:
    """What axe finds wrong on the page (rules of WCAG 2.2 AA and best practice), one line each."""
    results = Axe().run(page).response["violations"]
    return [f"{rule['id']}: {node['html'][:160]}" for rule in results for node in rule["nodes"]]


def look(page: Page, size: dict[str, int], *, dark: bool) -> None:
    """The page that is loaded, in another size or scheme, once it has been drawn so."""
    page.set_viewport_size(size)
    page.emulate_media(color_scheme="dark" if dark else "light", reduced_motion="reduce")
    page.evaluate("() => new Promise(drawn => requestAnimationFrame(() => setTimeout(drawn)))")


# HTML, 3.2.6: an id is unique; two labels once pressed a box of another form.
TWICE = """() => [...document.querySelectorAll('[id]')].map((each) => each.id)
  .filter((id, place, all) => all.indexOf(id) !== place).map((id) => `id ${id} stands twice`)"""
# Bars of actions: all of them in sight, and none higher than 12 % of the window.
FULL_BARS = """() => [...document.querySelectorAll('.action-bar:not(.diary-weeks)')]
  .filter((bar) => bar.scrollWidth > bar.clientWidth + 1 || bar.offsetHeight > 0.12 * innerHeight)
  .map((bar) => `bar ${bar.scrollWidth} of ${bar.clientWidth} px, ${bar.offsetHeight} px high`)"""


def faults_of_both_looks(page: Page) -> list[str]:
    """What is wrong on a phone in light and on a desktop in dark, by axe, and whether the page
    scrolls sideways at 320 CSS pixels (WCAG 2.2, 1.4.10 Reflow). One load serves all."""
    found = []
    for size, dark in ((PHONE, False), (DESKTOP, True)):
        look(page, size, dark=dark)
        found += violations(page)
        if (width := page.evaluate("document.documentElement.scrollWidth")) > size["width"]:
            found.append(f"{width} px wide")
    found += page.evaluate(TWICE)
    for size in (PHONE, NARROWEST):
        look(page, size, dark=False)
        found += page.evaluate(FULL_BARS)
    if (width := page.evaluate("document.documentElement.scrollWidth")) > NARROWEST["width"]:
        found.append(f"{width} px wide")
    return found
