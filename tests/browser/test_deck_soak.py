"""Hundreds of cuts, lost answers, reloads and double presses over jobs, checks, clients, sign-offs
and photographs: nothing lost, nothing twice. `RESTORER_SOAK=200` makes more than the few rounds
that fit here; `RESTORER_SOAK_SEED` another course."""

import os
import random
import sys
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from playwright.sync_api import Error as PlaywrightError
from playwright.sync_api import Page, Route

from clients.models import Client, Deck, Place
from jobs.models import Job, Photo, SignOff, Visit
from tests.browser.test_without_signal import (
    drafts_on_phone,
    kept,
    on_phone,
    written,
)
from tests.clients.filled import place
from tests.factories import CoatFactory

pytestmark = pytest.mark.slow
ROUNDS = int(os.environ.get("RESTORER_SOAK", "10"))
PATIENCE_SECONDS = 20
SEED = int(os.environ.get("RESTORER_SOAK_SEED", "20261130"))
Open = Callable[..., Page]
LEFT_ON_THE_PHONE = """async () => {
  const db = await new Promise((done) => {
    const asked = indexedDB.open("on-the-deck");
    asked.onsuccess = () => done(asked.result);
  });
  const forms = await new Promise((done) => {
    const asked = db.transaction("forms").objectStore("forms").getAll();
    asked.onsuccess = () => done(asked.result);
  });
  db.close();
  const left = forms.filter((form) => form.state !== "sent");
  const words = (form) => (form.answer ?? "").replace(/<[^>]*>|\\s+/g, " ").slice(0, 3000);
  return left.map((form) => `${form.title}, ${form.state}: ${words(form)}`);
}"""


@pytest.fixture
def deck(people: Any) -> Deck:
    place(1, "Lunenburg", "Nova Scotia", "CA", 44.38, -64.32, "America/Halifax", 2300)
    assert Place.objects.count() == 1
    return CoatFactory(product__name="Tidewood Oil").job.deck


class Soak:
    """A person with a phone on a bad line."""

    def __init__(self, page: Page, deck: Deck, folder: Path) -> None:
        self.chance = random.Random(SEED)
        self.page = page
        self.deck = deck
        self.folder = folder
        self.done: dict[str, list[str]] = {"job": [], "check": [], "client": [], "sign_off": []}
        self.taken: Counter[str] = Counter()
        self.events: Counter[str] = Counter()
        self.is_bad = False
        page.context.route("**/*", self.carry)

    def carry(self, route: Route) -> None:
        """One request over the line: it may not leave, or its answer may not come back."""
        if route.request.method != "POST" or not self.is_bad:
            return route.continue_()
        luck = self.chance.random()
        if luck < 0.25:
            self.events["cut on the way out"] += 1
            return route.abort("connectionreset")
        if luck < 0.5:
            self.events["answer lost"] += 1
            route.fetch(max_redirects=0)
            return route.abort("connectionreset")
        return route.continue_()

    def picture(self, name: str) -> Path:
        image = Image.new("RGB", (320, 240))
        image.putdata([(self.chance.randrange(256),) * 3 for _ in range(320 * 240)])
        image.save(path := self.folder / f"{name}.jpg", "JPEG")
        return path

    def open(self, address: str) -> None:
        self.page.context.set_offline(False)
        self.visit("/diary/")  # the same address again would be a reload
        self.visit(address)
        kept(self.page)

    def visit(self, address: str) -> None:
        """Again, for as long as the page itself moves on: its form was taken."""
        refusals = []
        until = time.monotonic() + PATIENCE_SECONDS
        while time.monotonic() < until:
            try:
                self.page.goto(address)
            except PlaywrightError as error:
                if "ERR_ABORTED" not in str(error) and "interrupted" not in str(error):
                    raise
                refusals.append(f"at {self.page.url}: {error}")
                self.page.wait_for_timeout(100)
            else:
                return
        raise AssertionError(refusals)

    def perhaps_reload(self) -> None:
        if self.chance.random() < 0.4:
            self.events["reload"] += 1
            self.page.context.set_offline(False)
            self.page.reload()
            kept(self.page)

    def perhaps_discard(self, address: str) -> None:
        if self.chance.random() < 0.3:
            self.events["tab discarded"] += 1
            context = self.page.context
            context.set_offline(False)
            self.page.close()
            self.page = context.new_page()
            self.page.set_default_timeout(PATIENCE_SECONDS * 1000)
            self.visit(address)
            kept(self.page)
            self.page.get_by_role("button", name="Take up again").last.click()

    def perhaps_cut(self) -> None:
        if self.chance.random() < 0.5:
            self.events["no signal"] += 1
            self.page.context.set_offline(True)

    def type_words(self, label: str, words: str) -> None:
        box = self.page.get_by_label(label, exact=True).first
        written(self.page, lambda: box.fill(words))

    def take(self, name: str) -> None:
        count = self.chance.randrange(3)
        pictures = [self.picture(f"{name}-{number}") for number in range(count)]
        if pictures:
            self.page.locator("input[type=file]").set_input_files(pictures)
            self.page.get_by_text(f"{count} photo{'s' if count > 1 else ''} kept").wait_for()
            self.taken[name] = count

    def press(self, words: str) -> None:
        """Twice as often as not; then the page is left or not."""
        button = self.page.get_by_role("button", name=words)
        if self.chance.random() < 0.5:
            self.events["pressed twice"] += 1
            button.dblclick(no_wait_after=True)
        else:
            button.click(no_wait_after=True)
        self.until_pressed()
        self.page.wait_for_timeout(self.chance.choice([30, 300, 900]))

    def until_pressed(self) -> None:
        """The press has reached the phone's store, or its page has gone on; who leaves sooner has
        a form that was kept and not pressed."""
        for _ in range(200):
            try:
                if not drafts_on_phone(self.page):
                    return
            except PlaywrightError:
                return
            self.page.wait_for_timeout(20)
        raise AssertionError("never pressed")

    def job(self, name: str) -> None:
        # each on a deck of its own: of one deck, kind and day the book asks
        deck = CoatFactory(job__deck__site=self.deck.site).job.deck
        address = f"/jobs/log/?deck={deck.pk}"
        self.open(address)
        self.page.locator("label", has_text="slight").first.click()
        self.page.get_by_label("Why were you there?").select_option("It was due")
        self.type_words("Notes optional", name)
        self.take(name)
        self.perhaps_reload()
        self.perhaps_discard(address)
        self.perhaps_cut()
        self.press("Log this job")
        self.done["job"].append(name)

    def check(self, name: str) -> None:
        address = f"/jobs/visit/?deck={self.deck.pk}"
        self.open(address)
        self.page.locator("label", has_text="slight").first.click()
        self.type_words("Notes optional", name)
        self.perhaps_reload()
        self.perhaps_discard(address)
        self.perhaps_cut()
        self.press("Save the check")
        self.done["check"].append(name)

    def client(self, name: str) -> None:
        address = "/clients/new/"
        self.open(address)
        self.type_words("Name", name)
        self.type_words("Street and number", f"{name} Lane")
        self.type_words("Town", "Lunenburg")
        self.page.locator("[name=deck-species]").select_option("red_cedar")
        self.page.locator("[name=deck-area_m2]").fill("24")
        self.perhaps_reload()
        self.perhaps_discard(address)
        self.perhaps_cut()
        self.press("Save client and deck")
        self.done["client"].append(name)

    def sign_off(self, name: str) -> None:
        job = CoatFactory().job  # of a client of its own: one signs for all jobs of a day
        address = f"/jobs/{job.pk}/sign-off/"
        self.open(address)
        self.type_words("Your name", name)
        self.perhaps_reload()
        self.perhaps_cut()
        self.press("Sign off")
        self.done["sign_off"].append(name)
        self.back_in_the_crews_hands()

    def back_in_the_crews_hands(self) -> None:
        """The phone shows the sign-off alone until it is taken back."""
        self.page.context.set_offline(False)
        self.is_bad = False
        self.visit("/")
        self.page.get_by_text("For the crew").click()
        self.page.get_by_role("button", name="Back to the job").click()
        self.page.wait_for_url(lambda address: "sign-off" not in address)
        self.is_bad = True


def test_jobs_written_are_jobs_done_and_photos_kept_are_photos_taken(
    open_as: Open, deck: Deck, tmp_path: Path
) -> None:
    page = open_as("crew", "/", may_complain=True)
    page.set_default_timeout(PATIENCE_SECONDS * 1000)
    soak = Soak(page, deck, tmp_path)
    for number in range(ROUNDS):
        soak.is_bad = True
        kind = soak.chance.choice(["job", "job", "job", "check", "client", "sign_off"])
        getattr(soak, kind)(f"Soak {number}")
    soak.is_bad = False
    soak.page.context.set_offline(False)
    soak.visit("/")
    for _ in range(300):
        if on_phone(soak.page) == 0:
            break
        soak.page.wait_for_timeout(200)

    assert soak.page.evaluate(LEFT_ON_THE_PHONE) == []
    assert on_phone(soak.page) == 0
    written_names = {
        "job": list(Job.objects.filter(notes__startswith="Soak").values_list("notes", flat=True)),
        "check": list(
            Visit.objects.filter(notes__startswith="Soak").values_list("notes", flat=True)
        ),
        "client": list(
            Client.objects.filter(name__startswith="Soak").values_list("name", flat=True)
        ),
        "sign_off": list(SignOff.objects.values_list("name", flat=True)),
    }
    photos = Counter(
        Photo.objects.filter(job__notes__startswith="Soak").values_list("job__notes", flat=True)
    )
    met = ", ".join(f"{count} {what}" for what, count in sorted(soak.events.items()))
    sys.stdout.write(f"\n{ROUNDS} forms, {sum(soak.taken.values())} photographs; met: {met}\n")
    assert {kind: sorted(names) for kind, names in written_names.items()} == {
        kind: sorted(names) for kind, names in soak.done.items()
    }
    assert photos == soak.taken
