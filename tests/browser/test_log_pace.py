"""How long a phone's page “Log a job” is, and how long a person takes at it.

A screen is 844 CSS pixels of a phone of 390. The pace of a person (common practice, no source):
0.8 s a tap, 0.25 s a key, 0.6 s a swipe; choosing from a list is two taps. What the machine takes
is not counted, but on the bad line of the last test, where it is all that counts."""

import random
import time
from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from django.utils import timezone
from PIL import Image
from playwright.sync_api import Locator, Page, expect

from clients.models import Deck
from jobs.models import CoatApplied, Job, Photo, Product
from tests.browser.conftest import PHONE
from tests.browser.graded_photos import give_examples
from tests.browser.test_without_signal import written
from tests.business_day import today_there
from tests.factories import BatchFactory, CoatFactory, CrewFactory, ProductFactory
from tests.jobs.diary_days import book_visit

Open = Callable[..., Page]

MOST_SCREENS = 2
MOST_SECONDS = 10
SWIPE_PX = 500


class Thumb:
    """One thumb at a page; it counts what it does."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.seconds = 0.0

    def tap(self, target: Locator, taps: int = 1) -> None:
        self.bring_into_view(target)
        self.seconds += 0.8 * taps
        if taps == 1:
            target.tap()

    def bring_into_view(self, target: Locator) -> None:
        expect(target).to_be_visible()
        is_in_view = """(each) => {
          const shown = each.closest('label') ?? each;
          const box = shown.getBoundingClientRect();
          const at = document.elementFromPoint(box.left + box.width / 2, box.top + box.height / 2);
          return Boolean(at && shown.contains(at));
        }"""
        for _ in range(12):
            if target.evaluate(is_in_view):
                return
            below = target.evaluate("(each) => each.getBoundingClientRect().top > 300")
            self.page.evaluate("(by) => window.scrollBy(0, by)", SWIPE_PX if below else -SWIPE_PX)
            self.seconds += 0.6
        raise AssertionError("Nobody finds it by swiping.")

    def write(self, field: Locator, text: str, *, enter: bool = False) -> None:
        self.tap(field)
        field.press_sequentially(text)
        self.seconds += 0.25 * len(text)
        if enter:
            field.press("Enter")
            self.seconds += 0.25

    def choose(self, field: Locator, label: str) -> None:
        self.tap(field, taps=2)
        field.select_option(label)


def screens_of(page: Page) -> float:
    """With the scripts at work, nothing unfolded."""
    page.locator("form[data-keeping]").wait_for()
    height: int = page.evaluate("document.documentElement.scrollHeight")
    return height / PHONE["height"]


@pytest.fixture
def known_deck() -> Deck:
    """A deck of one earlier job, whose oil has stood in two batches since."""
    oil = ProductFactory(name="Tidewood Oil", colours="Driftwood, Walnut")
    coat = CoatFactory(
        product=oil,
        job__deck__label="Back deck",
        job__deck__site__client__name="Ottilie Saltonby",
        job__deck__site__street="2420 Cormorant Lane",
        job__finished_on=today_there() - timedelta(days=500),
        batch=BatchFactory(product=oil, code="TW-0030"),
    )
    CoatFactory(
        product=oil,
        job__finished_on=today_there() - timedelta(days=3),
        batch=BatchFactory(product=oil, code="TW-0031"),
    )
    return coat.job.deck


def test_a_known_deck_is_logged_on_two_screens_in_ten_seconds(
    open_as: Open, known_deck: Deck
) -> None:
    page = open_as("crew", "/jobs/log/")
    thumb = Thumb(page)

    thumb.write(page.get_by_label("Find the deck"), "salto", enter=True)
    thumb.tap(page.get_by_role("link", name="Ottilie Saltonby"))
    assert screens_of(page) <= MOST_SCREENS
    thumb.tap(page.locator("label", has_text="slight").first)
    thumb.choose(page.get_by_label("Why were you there?"), "It was due")
    thumb.tap(page.get_by_role("button", name="TW-0031"))
    thumb.write(page.get_by_label("Used, L"), "3.8")
    thumb.tap(page.get_by_role("button", name="Log this job"))

    page.get_by_role("heading", name="Clean and recoat").wait_for()
    coat = CoatApplied.objects.get(job=Job.objects.latest("id"))
    assert (coat.batch and coat.batch.code, coat.litres) == ("TW-0031", Decimal("3.8"))
    assert coat.colour == "Driftwood"
    assert thumb.seconds <= MOST_SECONDS


def test_a_deck_with_everything_that_needs_a_strip_takes_two_screens_of_the_owner(
    open_as: Open, known_deck: Deck
) -> None:
    """The longest page that a deck with one product has: price, batches, surfaces, the notice, a
    photograph beside each grade."""
    known_deck.rail_m, known_deck.stair_treads, known_deck.screen_m2 = Decimal(9), 5, Decimal(4)
    known_deck.save()
    oil = Product.objects.get()
    for days in (30, 60, 90, 120):
        batch = BatchFactory(product=oil, code=f"TW-26/{days}")
        CoatFactory(
            job__deck=known_deck,
            job__kind="recoat",
            job__finished_on=today_there() - timedelta(days=days),
            product=oil,
            batch=batch,
            coats=2,
            colour="Driftwood",
            surfaces=known_deck.surfaces,
        )
    give_examples(0, 1, 2, 3, 4, 5)
    page = open_as("owner", f"/jobs/log/?deck={known_deck.pk}")

    assert screens_of(page) <= MOST_SCREENS
    expect(page.locator("label", has_text="slight").first.locator("img")).to_be_visible()
    expect(page.get_by_text("This deck needs a strip")).to_be_visible()
    expect(page.get_by_text("Whole deck, Driftwood, 2 coats")).to_be_visible()
    taps = page.get_by_role("group", name="Last batches").get_by_role("button")
    assert taps.evaluate_all("(all) => new Set(all.map((each) => each.offsetTop)).size") == 1


def test_a_booked_deck_stands_first_and_is_logged_in_six_seconds(
    open_as: Open, known_deck: Deck
) -> None:
    today = today_there()
    book_visit(
        site=known_deck.site,
        decks=[known_deck],
        hours=Decimal(6),
        first_day=today,
        crew=CrewFactory(name="Tern crew", hours_a_day=Decimal(12), works_on=list(range(7))),
        on_any_day=True,
        now=timezone.now(),
    )
    page = open_as("crew", "/jobs/log/")
    thumb = Thumb(page)

    booked = page.get_by_role("region", name="Booked today")
    thumb.tap(booked.get_by_role("link", name="Ottilie Saltonby"))
    assert screens_of(page) <= MOST_SCREENS
    thumb.tap(page.locator("label", has_text="slight").first)
    thumb.choose(page.get_by_label("Why were you there?"), "It was due")
    thumb.tap(page.get_by_role("button", name="TW-0031"))
    thumb.tap(page.get_by_role("button", name="Log this job"))

    page.get_by_role("heading", name="Clean and recoat").wait_for()
    job = Job.objects.latest("id")
    assert (job.crew, job.bookings.count()) == ("Tern crew", 1)
    assert thumb.seconds <= 6


# Slow 3G as browsers' tools of development have it: 400 kbit/s both ways, 400 ms a round trip.
SLOW_3G = {
    "offline": False,
    "latency": 400,
    "downloadThroughput": 400_000 / 8,
    "uploadThroughput": 400_000 / 8,
}
MOST_SECONDS_ON_SLOW_3G = 3


def noisy_picture(folder: Path, name: str) -> Path:
    """A JPEG of about 300 kB that cannot be made smaller."""
    chance = random.Random(name)
    image = Image.frombytes("L", (800, 600), chance.randbytes(800 * 600))
    image.save(path := folder / f"{name}.jpg", "JPEG", quality=85)
    return path


@pytest.mark.slow
def test_on_a_slow_line_the_form_is_done_in_three_seconds_and_two_photographs_follow(
    open_as: Open, known_deck: Deck, tmp_path: Path
) -> None:
    page = open_as("crew", f"/jobs/{Job.objects.first().pk}/")  # the frame is in the cache
    page.goto(f"/jobs/log/?deck={known_deck.pk}")
    page.locator("form[data-keeping]").wait_for()
    written(page, lambda: page.get_by_label("Notes").fill("Shut the gate."))
    pictures = [noisy_picture(tmp_path, name) for name in ("first", "second")]
    page.locator("input[type=file]").set_input_files(pictures)
    page.get_by_text("2 photos kept on this phone.").wait_for()
    line = page.context.new_cdp_session(page)
    line.send("Network.enable")
    line.send("Network.emulateNetworkConditions", SLOW_3G)

    began = time.monotonic()
    page.get_by_role("button", name="Log this job").tap()
    page.get_by_role("heading", name="Clean and recoat").wait_for()
    took = time.monotonic() - began

    assert took <= MOST_SECONDS_ON_SLOW_3G
    assert Photo.objects.count() < 2
    page.locator("[data-on-phone]").wait_for()  # the modules come over the slow line, too
    page.locator("[data-on-phone]").wait_for(state="hidden", timeout=90_000)
    assert Photo.objects.filter(job=Job.objects.latest("id")).count() == 2
    assert time.monotonic() - began > 5  # the line was slow
