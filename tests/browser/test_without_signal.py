"""On the deck: what is typed stays on the phone, goes out once by itself, and the day can be read
without a signal. The network is cut in Chromium itself."""

import time
from collections.abc import Callable
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from playwright.sync_api import Page, expect

from clients.models import Business, Deck, User
from jobs.models import Booking, Job, Photo, Visit
from tests.browser.conftest import faults_of_both_looks, session_of, slow_down
from tests.browser.graded_photos import give_examples
from tests.factories import CoatFactory, CrewFactory, ProductFactory, UserFactory
from tests.jobs.diary_days import book_visit

Open = Callable[..., Page]
WHAT_LIES_ON_THE_PHONE = """async () => {
  const there = await indexedDB.databases();
  if (!there.some((each) => each.name === "on-the-deck")) return { forms: [], photos: 0 };
  const db = await new Promise((done, fail) => {
    const asked = indexedDB.open("on-the-deck");
    asked.onsuccess = () => done(asked.result);
    asked.onerror = () => fail(asked.error);
  });
  const all = (name) => new Promise((done) => {
    const asked = db.transaction(name).objectStore(name).getAll();
    asked.onsuccess = () => done(asked.result);
  });
  const forms = (await all("forms")).map((form) => form.state);
  const photos = (await all("photos")).length;
  db.close();
  return { forms, photos };
}"""


def kept(page: Page) -> None:
    """Until the module attends to the forms of the page."""
    page.locator("form[data-keeping]").first.wait_for()


def written(page: Page, deed: Callable[[], Any]) -> None:
    """Do it, and wait until the phone has written it down."""
    before = page.evaluate("document.querySelector('form[data-keeping]').dataset.keptAt ?? '0'")
    deed()
    page.wait_for_function(
        "before => Number(document.querySelector('form[data-keeping]').dataset.keptAt) > before",
        arg=int(before),
    )


def photograph(folder: Path, colour: str, size: tuple[int, int] = (2600, 1300)) -> Path:
    """As a phone makes it, with the place where it was taken (EXIF 2.3, tag 0x8825)."""
    image = Image.new("RGB", size, colour)
    exif = Image.Exif()
    exif[0x010F] = "Tern phone"
    exif[0x8825] = {1: "N", 2: (44.0, 22.0, 48.0)}
    image.save(path := folder / f"{colour}.jpg", "JPEG", exif=exif)
    return path


def cut(page: Page) -> None:
    page.context.set_offline(True)


def mend(page: Page) -> None:
    page.context.set_offline(False)


def wait_until_sent(page: Page) -> None:
    """Nothing lies on the phone any more: what was heard of is deleted a moment later."""
    until = time.monotonic() + 10
    while on_phone(page) and time.monotonic() < until:
        page.wait_for_timeout(100)
    assert on_phone(page) == 0


def on_phone(page: Page) -> int:
    """Forms and photographs that lie on the phone and were not sent."""
    lying: dict[str, Any] = page.evaluate(WHAT_LIES_ON_THE_PHONE)
    return int(lying["photos"]) + sum(state != "sent" for state in lying["forms"])


def drafts_on_phone(page: Page) -> int:
    """Forms that nobody has pressed to send yet."""
    return int(page.evaluate(WHAT_LIES_ON_THE_PHONE)["forms"].count("draft"))


def fill_log(page: Page, litres: str = "3.8", notes: str = "Shut the gate.") -> None:
    page.locator("label", has_text="slight").first.click()
    page.get_by_label("Why were you there?").select_option("It was due")
    page.get_by_label("Batch").first.fill("TW-31")
    page.get_by_label("Used, L").first.fill(litres)
    written(page, lambda: page.get_by_label("Notes").fill(notes))


@pytest.fixture
def deck(people: Any) -> Deck:
    coat = CoatFactory(
        job__deck__site__client__name="Ottilie Saltonby", product__name="Tidewood Oil"
    )
    ProductFactory(name="Bright Tide", kind="brightener", finish_class="", colours="")
    return coat.job.deck


def test_what_was_typed_survives_reload_back_and_a_tab_that_was_closed(
    open_as: Open, deck: Deck, tmp_path: Path
) -> None:
    page = open_as("crew", f"/jobs/log/?deck={deck.pk}")
    kept(page)
    page.get_by_role("button", name="Another product").click()
    page.get_by_label("Product", exact=True).nth(1).select_option(label="Bright Tide (Tidewood)")
    page.get_by_label("Used, L").nth(1).fill("0.4")
    fill_log(page)
    page.locator("input[type=file]").set_input_files(photograph(tmp_path, "sienna"))
    page.get_by_text("1 photo kept on this phone.").wait_for()

    def is_all_there() -> None:
        kept(page)
        expect(page.get_by_label("Notes")).to_have_value("Shut the gate.")
        expect(page.get_by_label("Batch").first).to_have_value("TW-31")
        expect(page.get_by_label("Used, L").nth(1)).to_have_value("0.4")
        expect(page.locator("input[name=overall][value='2']")).to_be_checked()
        expect(page.get_by_text("1 photo kept on this phone.")).to_be_visible()

    page.reload()
    is_all_there()
    page.goto("/clients/new/")
    page.go_back()
    is_all_there()

    context = page.context
    page.close()
    page = context.new_page()
    page.goto(f"/jobs/log/?deck={deck.pk}")
    kept(page)
    expect(page.get_by_label("Notes")).to_have_value("")
    expect(page.get_by_text("Kept on this phone since")).to_be_visible()
    page.get_by_role("button", name="Take up again").click()
    is_all_there()

    page.get_by_role("button", name="Log this job").click()
    page.get_by_role("heading", name="Clean and recoat").wait_for()
    page.locator("[data-on-phone]").wait_for(state="hidden")
    job = Job.objects.latest("id")
    assert (job.notes, job.coats_applied.count()) == ("Shut the gate.", 2)
    photo = Photo.objects.get(job=job)
    assert max(photo.width, photo.height) == 2000
    wait_until_sent(page)


def test_what_is_kept_can_be_thrown_away_and_nothing_is_kept_of_an_untouched_form(
    open_as: Open, deck: Deck
) -> None:
    page = open_as("crew", f"/jobs/visit/?deck={deck.pk}")
    kept(page)
    wait_until_sent(page)
    written(page, lambda: page.get_by_label("Notes").fill("Mould under the planter."))
    page.reload()
    kept(page)
    page.once("dialog", lambda dialog: dialog.accept())
    page.get_by_role("button", name="Throw away").click()
    page.wait_for_load_state()
    kept(page)

    expect(page.get_by_label("Notes")).to_have_value("")
    wait_until_sent(page)


@pytest.mark.parametrize("kind", ["check", "sign-off", "client"])
def test_each_form_of_the_deck_is_kept(open_as: Open, deck: Deck, kind: str) -> None:
    job = deck.jobs.get()
    addresses = {
        "check": f"/jobs/visit/?deck={deck.pk}",
        "sign-off": f"/jobs/{job.pk}/sign-off/",
        "client": "/clients/new/",
    }
    field = "Notes" if kind == "check" else "Your name" if kind == "sign-off" else "Name"
    page = open_as("crew", addresses[kind])
    kept(page)
    box = page.get_by_label(field, exact=kind == "client").first
    written(page, lambda: box.fill("Una Brackwater"))

    page.reload()

    kept(page)
    expect(page.get_by_label(field, exact=kind == "client").first).to_have_value("Una Brackwater")


def test_forms_that_were_saved_without_a_signal_go_out_by_themselves_in_order_and_once(
    open_as: Open, deck: Deck, tmp_path: Path
) -> None:
    page = open_as("crew", f"/jobs/log/?deck={deck.pk}", may_complain=True)
    slow_down(page)
    kept(page)
    fill_log(page)
    page.locator("input[type=file]").set_input_files(
        [photograph(tmp_path, "sienna"), photograph(tmp_path, "tan")]
    )
    page.get_by_text("2 photos kept on this phone.").wait_for()
    cut(page)
    button = page.get_by_role("button", name="Log this job")
    button.dblclick()

    page.get_by_text("Kept on this phone and not sent yet.").wait_for()
    page.get_by_text("Waiting to be sent (1)").wait_for()
    assert Job.objects.count() == 1
    mend(page)

    page.get_by_text("Sent. See it").wait_for()
    page.locator("[data-on-phone]").wait_for(state="hidden")
    job = Job.objects.latest("id")
    assert (Job.objects.count(), job.notes, job.photos.count()) == (2, "Shut the gate.", 2)
    with job.photos.first().image.open("rb") as file:
        assert b"Tern phone" not in file.read()
    wait_until_sent(page)


def test_a_session_that_is_over_keeps_the_form_until_somebody_signs_in_again(
    open_as: Open, deck: Deck, people: dict[str, User], live_server: Any
) -> None:
    page = open_as("crew", f"/jobs/visit/?deck={deck.pk}", may_complain=True)
    kept(page)
    page.locator("label", has_text="slight").first.click()
    written(page, lambda: page.get_by_label("Notes").fill("Mould under the planter."))
    page.context.clear_cookies()

    page.get_by_role("button", name="Save the check").click()

    page.get_by_role("heading", name="Sign in").wait_for()
    assert Visit.objects.filter(notes__contains="planter").count() == 0
    other = UserFactory(username="vane", role="crew")
    page.context.add_cookies([session_of(other, live_server.url)])
    page.goto("/")
    page.get_by_text("1 more of somebody else").wait_for(state="attached")
    assert Visit.objects.filter(notes__contains="planter").count() == 0

    page.context.clear_cookies()
    page.context.add_cookies([session_of(people["crew"], live_server.url)])
    page.goto("/")
    page.get_by_text("The check was recorded").or_(page.locator("[data-on-phone]")).first.wait_for(
        state="attached"
    )
    page.locator("[data-on-phone]").wait_for(state="hidden")
    assert Visit.objects.get(notes__contains="planter").recorded_by == people["crew"]
    wait_until_sent(page)


def test_what_the_book_refuses_comes_back_with_what_was_typed_and_its_words(
    open_as: Open, deck: Deck
) -> None:
    page = open_as("crew", f"/jobs/log/?deck={deck.pk}", may_complain=True)
    kept(page)
    page.locator("summary", has_text="Weather").click()
    written(page, lambda: page.get_by_label("Humidity").fill("150"))
    cut(page)
    page.get_by_role("button", name="Log this job").click()
    page.get_by_text("Kept on this phone and not sent yet.").wait_for()
    mend(page)
    page.get_by_text("To put right (1)").wait_for()

    page.goto("/")
    page.get_by_role("link", name="Open", exact=True).click()

    alert = page.locator('.notice[role="alert"]')
    alert.wait_for()
    assert "Humidity goes from 0 to 100 %." in alert.inner_text()
    kept(page)
    field = page.get_by_label("Humidity")
    expect(field).to_have_value("150")
    written(page, lambda: field.fill("50"))
    page.get_by_role("button", name="Log this job").click()
    page.get_by_role("heading", name="Clean and recoat").wait_for()
    assert Job.objects.latest("id").humidity_percent == 50
    assert Job.objects.count() == 2


def test_signing_out_asks_and_then_forgets_all(open_as: Open, deck: Deck) -> None:
    page = open_as("crew", f"/jobs/visit/?deck={deck.pk}", may_complain=True)
    kept(page)
    written(page, lambda: page.get_by_label("Notes").fill("Mould under the planter."))
    said: list[str] = []

    def answer(dialog: Any) -> None:
        said.append(dialog.message)
        dialog.dismiss() if len(said) == 1 else dialog.accept()

    page.on("dialog", answer)
    page.locator("[data-menu] summary").click()
    page.get_by_role("button", name="Sign out").first.click()
    page.wait_for_timeout(300)
    assert on_phone(page) == 1
    page.get_by_role("button", name="Sign out").first.click()
    page.get_by_role("heading", name="Sign in").wait_for()

    assert "1 form on this phone was not sent." in said[0]
    wait_until_sent(page)


def until(page: Page, question: str, seconds: int = 60) -> None:
    """Ask the page until it says yes."""
    for _ in range(seconds * 5):
        if page.evaluate(question):
            return
        page.wait_for_timeout(200)
    raise AssertionError(question)


def wait_for_day(page: Page) -> None:
    """Until the worker has kept the pages of the day."""
    until(
        page,
        """async () => {
          const there = await indexedDB.databases();
          if (!there.some((each) => each.name === "on-the-deck")) return false;
          const db = await new Promise((done) => {
            const asked = indexedDB.open("on-the-deck");
            asked.onsuccess = () => done(asked.result);
          });
          const at = await new Promise((done) => {
            const asked = db.transaction("facts").objectStore("facts").get("day");
            asked.onsuccess = () => done(asked.result);
          });
          db.close();
          return at > 0;
        }""",
    )


@pytest.fixture
def booking(deck: Deck) -> Booking:
    CrewFactory()
    now = datetime.now(UTC)
    return book_visit(
        site=deck.site,
        decks=[deck],
        hours=Decimal(6),
        first_day=Business.objects.get().today(now),
        on_any_day=True,
        now=now,
    )


SHOWN_PICTURES = """(count) => [...document.querySelectorAll('.of-gradechoices img')]
  .filter((each) => each.complete && each.naturalWidth > 0).length === count"""


def test_the_crews_day_is_read_and_logged_without_a_signal(
    open_as: Open, deck: Deck, booking: Booking
) -> None:
    """Service Workers (W3C), 4.5: the worker answers where the network does not."""
    give_examples(2, 3)
    page = open_as("crew", "/", may_complain=True, worker=True)
    slow_down(page)
    wait_for_day(page)
    cut(page)

    page.reload()
    page.get_by_text("No signal. This page is as of").wait_for()
    page.get_by_role("link", name="Ottilie Saltonby", exact=True).click()
    page.get_by_role("heading", name="Ottilie Saltonby").first.wait_for()
    assert deck.site.street in page.locator("main").inner_text()
    page.get_by_role("link", name="Log this job").click()
    kept(page)
    page.locator("summary", has_text="Photos of these grades").click()
    page.wait_for_function(SHOWN_PICTURES, arg=4)  # two grades, small and large
    fill_log(page)
    page.get_by_role("button", name="Log this job").click()
    page.get_by_text("Kept on this phone and not sent yet.").wait_for()
    page.goto(f"/decks/{deck.pk}/")
    page.get_by_text("Tidewood Oil").first.wait_for()
    page.get_by_text("Waiting to be sent (1)").wait_for()
    page.goto("/outbox/")
    page.get_by_role("heading", name="This page is not on the phone").wait_for()
    page.get_by_text("Waiting to be sent (1)").wait_for()  # its scripts are at work
    assert deck.jobs.count() == 1
    mend(page)

    wait_until_sent(page)
    job = Job.objects.latest("id")
    assert (deck.jobs.count(), job.notes) == (2, "Shut the gate.")
    assert list(booking.jobs.all()) == [job]


def test_two_jobs_from_one_kept_form_are_two_jobs(
    open_as: Open, deck: Deck, booking: Booking
) -> None:
    page = open_as("crew", "/", may_complain=True, worker=True)
    wait_for_day(page)
    cut(page)
    page.goto(f"/jobs/log/?deck={deck.pk}")
    for kind, notes in (("Clean and recoat", "Front half."), ("Repair", "Back half.")):
        kept(page)
        page.locator("label", has_text=kind).first.click()
        fill_log(page, notes=notes)
        page.get_by_role("button", name="Log this job").click()
        page.get_by_text("Kept on this phone and not sent yet.").wait_for()
        page.get_by_role("button", name="Fill in a new one").click()
        expect(page.get_by_label("Notes")).to_have_value("")
    page.get_by_text("Waiting to be sent (2)").wait_for()
    mend(page)

    page.locator("[data-on-phone]").wait_for(state="hidden")
    assert [job.notes for job in Job.objects.order_by("id")][1:] == ["Front half.", "Back half."]


def test_signing_out_leaves_no_page_and_no_form_on_the_phone(
    open_as: Open, deck: Deck, booking: Booking
) -> None:
    """Clear Site Data (W3C): also what no script of ours reaches any more."""
    page = open_as("crew", "/", may_complain=True, worker=True)
    wait_for_day(page)
    page.locator("[data-menu] summary").click()
    page.get_by_role("button", name="Sign out").first.click()
    page.get_by_role("heading", name="Sign in").wait_for()

    until(page, "async () => !(await caches.keys()).includes('pages')")
    wait_until_sent(page)
    until(page, "async () => (await navigator.serviceWorker.getRegistrations()).length === 0")


def test_the_office_keeps_no_list_of_the_whole_book(open_as: Open, booking: Booking) -> None:
    page = open_as("owner", "/", may_complain=True, worker=True)
    wait_for_day(page)

    kept_pages = page.evaluate("""async () => {
      const cache = await caches.open("pages");
      return (await cache.keys()).map((each) => new URL(each.url).pathname);
    }""")

    assert "/" not in kept_pages
    assert f"/diary/{booking.pk}/" in kept_pages
    page.context.set_offline(True)
    page.reload()
    page.get_by_role("heading", name="This page is not on the phone").wait_for()
    page.get_by_role("link", name="Ottilie Saltonby").click()
    page.get_by_text("No signal. This page is as of").wait_for()


def test_it_can_be_put_on_the_first_screen(open_as: Open) -> None:
    """Web Application Manifest (W3C): name, start, display and icons that can be loaded, one of
    them with a safe zone."""
    page = open_as("crew", "/")
    manifest = page.evaluate("""async () => {
      const link = document.querySelector('link[rel="manifest"]');
      const said = await (await fetch(link.href)).json();
      const sizes = await Promise.all(said.icons.map((icon) => new Promise((done) => {
        const image = new Image();
        image.onload = () => done(`${image.naturalWidth}x${image.naturalHeight}`);
        image.src = icon.src;
      })));
      return { ...said, sizes };
    }""")

    assert (manifest["display"], manifest["start_url"], manifest["scope"]) == (
        "standalone",
        "/",
        "/",
    )
    assert manifest["sizes"] == [icon["sizes"] for icon in manifest["icons"]]
    assert {"192x192", "512x512"} <= set(manifest["sizes"])
    assert "maskable" in [icon["purpose"] for icon in manifest["icons"]]


def test_the_worker_sends_with_no_page_open(open_as: Open, deck: Deck, booking: Booking) -> None:
    """Background Sync (WICG): the event that Chromium raises when the network is back."""
    page = open_as("crew", "/", may_complain=True, worker=True)
    wait_for_day(page)
    origin = page.evaluate("location.origin")
    tools = page.context.new_cdp_session(page)
    heard: list[Any] = []
    tools.on(
        "ServiceWorker.workerRegistrationUpdated",
        lambda said: heard.extend(said["registrations"]),
    )
    tools.send("ServiceWorker.enable")
    page.goto(f"/jobs/visit/?deck={deck.pk}")
    kept(page)
    page.locator("label", has_text="slight").first.click()
    written(page, lambda: page.get_by_label("Notes").fill("Mould under the planter."))
    cut(page)
    page.get_by_role("button", name="Save the check").click()
    page.get_by_text("Kept on this phone and not sent yet.").wait_for()

    page.goto("about:blank")
    mend(page)
    tools.send(
        "ServiceWorker.dispatchSyncEvent",
        {
            "origin": origin,
            "registrationId": heard[-1]["registrationId"],
            "tag": "send",
            "lastChance": False,
        },
    )

    for _ in range(100):
        if Visit.objects.filter(notes__contains="planter").exists():
            break
        page.wait_for_timeout(100)
    assert Visit.objects.filter(notes__contains="planter").count() == 1


def test_what_waits_is_said_to_everybody(open_as: Open, deck: Deck) -> None:
    """The list and the lines on a form, by axe (WCAG 2.2 AA), on a phone and a desktop."""
    page = open_as("crew", f"/jobs/log/?deck={deck.pk}", may_complain=True)
    kept(page)
    page.locator("summary", has_text="Weather").click()
    written(page, lambda: page.get_by_label("Humidity").fill("150"))
    page.goto("/clients/new/")
    kept(page)
    written(page, lambda: page.get_by_label("Name", exact=True).fill("Una Brackwater"))
    page.goto(f"/jobs/visit/?deck={deck.pk}")
    kept(page)
    cut(page)
    page.get_by_role("button", name="Save the check").click()
    page.get_by_text("Kept on this phone and not sent yet.").wait_for()
    page.locator("[data-on-phone] summary").click()
    assert "Waiting to be sent (1) · Not finished (2)" in page.locator("main").inner_text()

    assert faults_of_both_looks(page) == []
    mend(page)
    page.get_by_text("To put right (1)").wait_for()
    page.goto(f"/jobs/log/?deck={deck.pk}")
    kept(page)
    expect(page.get_by_role("button", name="Take up again")).to_be_visible()
    assert faults_of_both_looks(page) == []


def test_a_mistake_is_shown_in_its_place_and_the_photograph_stays(
    open_as: Open, deck: Deck, tmp_path: Path
) -> None:
    page = open_as("crew", f"/jobs/log/?deck={deck.pk}")
    kept(page)
    page.locator("summary", has_text="Weather").click()
    page.get_by_label("Humidity").fill("150")
    page.locator("input[type=file]").set_input_files(photograph(tmp_path, "sienna", (800, 600)))
    page.get_by_text("1 photo kept on this phone.").wait_for()
    page.get_by_role("button", name="Log this job").click()
    page.locator('.notice[role="alert"]').wait_for()
    kept(page)

    assert page.locator(".has-errors").get_by_label("Humidity").input_value() == "150"
    expect(page.get_by_text("1 photo kept on this phone.")).to_be_visible()
    written(page, lambda: page.get_by_label("Humidity").fill("50"))
    page.get_by_role("button", name="Log this job").click()
    page.get_by_role("heading", name="Clean and recoat").wait_for()
    page.locator("[data-on-phone]").wait_for(state="hidden")
    assert Photo.objects.get().job == Job.objects.latest("id")
    assert Job.objects.count() == 2
