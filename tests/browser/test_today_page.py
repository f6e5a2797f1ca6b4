"""Today in a real browser: what to do stands above the fold, ten reminders take few presses, and it
works without scripts."""

import re
from collections.abc import Callable
from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from clients.messaging.models import Message, ToDo
from clients.models import User
from jobs.models import Booking
from reminders.actions import refresh_forecasts
from reminders.models import Forecast, Stop
from tests.browser.conftest import DESKTOP, FULL_BARS, PHONE, violations
from tests.business_day import today_there
from tests.factories import CoatFactory, ConsentFactory, CrewFactory, EmailFactory, PhoneFactory

Open = Callable[..., Page]
LAPTOP = {"width": 1280, "height": 800}
DECKS = 21


@pytest.fixture
def book(people: dict[str, User]) -> list[int]:
    """Overdue decks of as many clients who agreed to e-mail, an answer that waits, and
    a crew."""
    today = today_there()
    decks = []
    for number in range(DECKS):
        coat = CoatFactory(
            job__finished_on=today - timedelta(days=1000 + 30 * number),
            job__deck__label="Back deck",
            job__deck__site__client__name=f"Ottilie Saltonby {number}",
        )
        client = coat.job.deck.site.client
        EmailFactory(client=client)
        PhoneFactory(client=client)
        ConsentFactory(client=client)
        decks.append(coat.job.deck_id)
    ToDo.objects.create(kind="answer", key="answer/1", words="Please call me.", client=client)
    CrewFactory(name="Tern crew")
    refresh_forecasts(today=today, now=timezone.now())
    return decks


def rows_above_the_fold(page: Page) -> int:
    return page.evaluate(
        "[...document.querySelectorAll('.today-decks tbody tr')]"
        ".filter(row => row.getBoundingClientRect().bottom <= innerHeight).length"
    )


def test_what_to_do_and_twelve_decks_stand_above_the_fold_of_a_laptop(
    open_as: Open, book: list[int]
) -> None:
    page = open_as("owner", "/", size=LAPTOP)

    head = page.locator(".page-head").inner_text()
    assert "1 to do" in head
    assert f"{DECKS} to remind" in head
    assert rows_above_the_fold(page) >= 12
    heights = page.evaluate(
        "[...document.querySelectorAll('.today-decks tbody tr')]"
        ".map(row => row.getBoundingClientRect().height)"
    )
    assert all(36 <= height <= 44 for height in heights), heights
    expect(page.locator("summary", has_text="Inbox")).to_be_in_viewport()
    expect(page.locator(".tabs").first).to_be_in_viewport()
    # what one transfer may take at most
    body = page.request.get("/").body()
    assert len(body) <= 150_000


@pytest.mark.parametrize("scripts", [True, False], ids=["scripts", "no scripts"])
def test_ten_reminders_take_at_most_six_presses_to_the_end_of_the_preview(
    open_as: Open, book: list[int], scripts: bool
) -> None:
    """All decks but two, a look at the preview, and off they go."""
    page = open_as("office", "/", size=LAPTOP, scripts=scripts)
    presses = 0

    page.get_by_role("link", name=re.compile("^Choose all")).click()
    presses += 1
    chosen = page.locator("input[name=deck]:checked")
    expect(chosen).to_have_count(DECKS)  # the page that was asked for is there
    for box in chosen.all()[:2]:
        box.uncheck()
        presses += 1
    if scripts:
        expect(page.locator(".sum")).to_contain_text(f"{DECKS - 2} households")
    page.get_by_role("button", name="Remind…").click()
    presses += 1
    expect(page.get_by_role("heading", level=1)).to_contain_text(str(DECKS - 2))
    assert not Message.objects.exists()
    with page.expect_navigation():
        page.locator("form:has([name=confirm]) button").first.click()
    presses += 1

    assert presses <= 6
    assert Message.objects.filter(kind="reminder").count() == DECKS - 2


def test_the_bar_of_actions_comes_with_the_first_choice_and_says_what_it_comes_to(
    open_as: Open, book: list[int]
) -> None:
    page = open_as("office", "/", size=LAPTOP)
    bar = page.locator(".when-chosen")
    expect(bar).to_be_hidden()

    page.get_by_label("Ottilie Saltonby 3, Back deck").check()
    expect(bar).to_be_visible()
    expect(page.locator(".sum")).to_contain_text("1 household")
    expect(page.get_by_role("button", name="Not this year")).to_be_visible()  # none is folded here
    page.get_by_label("Choose all on this page").check()
    expect(page.locator(".sum")).to_contain_text(f"{DECKS} households")
    page.get_by_label("Choose all on this page").uncheck()
    expect(bar).to_be_hidden()


def test_without_scripts_a_row_opens_and_decks_are_put_off(open_as: Open, book: list[int]) -> None:
    page = open_as("office", "/", scripts=False)

    page.get_by_role("link", name="Ottilie Saltonby 3", exact=True).click()
    expect(page.locator("tr.opened")).to_contain_text("Late from")
    page.get_by_label("Ottilie Saltonby 3, Back deck").check()
    later = page.get_by_role("button", name="Not this year")
    expect(later).to_be_hidden()
    page.get_by_text("More", exact=True).last.click()  # what has no room opens upwards
    expect(later).to_be_in_viewport(ratio=1)
    later.click()

    expect(page.locator(".tabs").first).to_contain_text("Not this year 1")
    assert Stop.objects.count() == 1


def test_the_inbox_is_answered_on_the_page(open_as: Open, book: list[int]) -> None:
    page = open_as("office", "/", size=PHONE)
    page.locator("summary", has_text="Inbox").click()
    page.get_by_role("button", name="Done: Please call me.").click()

    expect(page.locator("summary", has_text="Inbox")).to_have_count(0)
    assert ToDo.objects.get().done_at


def test_the_key_leads_to_the_field_that_finds_everything(open_as: Open, book: list[int]) -> None:
    page = open_as("crew", "/diary/", size=DESKTOP)

    page.keyboard.press("/")
    page.keyboard.type("otilie saltenby")
    page.keyboard.press("Enter")

    expect(page.get_by_role("link", name=re.compile("Ottilie Saltonby")).first).to_be_visible()
    page.keyboard.press("/")
    page.keyboard.type("a/b")
    assert page.evaluate("document.activeElement.value").endswith("a/b")


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("size", [PHONE, LAPTOP], ids=["phone", "laptop"])
def test_the_page_is_accessible_and_fits_320_pixels_however_it_is_used(
    open_as: Open, book: list[int], size: dict[str, int], dark: bool
) -> None:
    today = today_there()
    row = Forecast.objects.select_related("deck__site").first()
    assert row
    booked = Booking.objects.create(
        client=row.deck.site.client,
        site=row.deck.site,
        crew=CrewFactory(name="Tern crew"),
        first_on=today,
        last_on=today,
        hours=4,
    )
    booked.decks.set([row.deck])
    page = open_as("owner", "/", size=size, dark=dark)

    found = {}
    paths = [
        f"/?tab=all&open={row.deck_id}&sort=-size",
        "/?chosen=all&inbox=open",
        "/?tab=booked",
        "/?q=nobody",
        f"/clients/{row.deck.site.client_id}/",
        "/clients/",
    ]
    for path in paths:
        page.set_viewport_size(size)
        page.goto(path)
        wrong = violations(page)
        # WCAG 2.2, 1.4.10 Reflow: 320 CSS pixels (https://www.w3.org/TR/WCAG22/#reflow).
        page.set_viewport_size({"width": 320, "height": 800})
        if (width := page.evaluate("document.documentElement.scrollWidth")) > 320:
            wrong.append(f"{width} px wide")
        wrong += page.evaluate(FULL_BARS)
        if wrong:
            found[path] = wrong
    assert found == {}
