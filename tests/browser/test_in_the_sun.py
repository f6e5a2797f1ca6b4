"""On the deck, in the sun, with one thumb: how large what is pressed is, how far text stands out,
how much of a phone the bars cover, and lines of long words or of two directions."""

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.utils import timezone
from playwright.sync_api import Page, expect

from clients.models import Business, Deck
from jobs.models import Job, SignOff
from jobs.offers import links
from reminders.actions import queue_reminders, refresh_forecasts
from reminders.steps import ReminderRequest
from tests.browser.conftest import DESKTOP, NARROWEST, PHONE, look
from tests.business_day import today_there
from tests.factories import (
    CoatFactory,
    ConsentFactory,
    CrewFactory,
    EmailFactory,
    OfferFactory,
    OfferLineFactory,
    OfferScopeFactory,
    PhoneFactory,
    PhotoFactory,
    ReminderStepFactory,
    VisitFactory,
)
from tests.jobs.diary_days import book_visit
from tests.reminders.client_pages import page_url

Open = Callable[..., Page]

# 24 letters and more, and lines of both directions (invented names).
LONG = "Kunststofffensterbaugesellschaft Donaudampfschifffahrt"
LONG_WORD = "Donaudampfschifffahrtselektrizitaetenhauptbetriebswerkbauunter"  # 62
ARABIC = "سعاد القحطانى"

# WCAG 2.2, 2.5.5 asks for 44 × 44 CSS pixels, and 2.5.8 for 24 × 24: the first is held on a phone,
# the second on a desk. The exceptions, and no other, are those of 2.5.8: *inline* (a link in a
# sentence, as high as its line); *spacing*: a circle of that diameter on the middle of what is
# smaller touches no other target and no other such circle; *equivalent*: the weeks and months of
# two pictures, which a field beside Earlier and Later, or Month before and after, opens too. What
# a label presses counts with it.
SMALL_TARGETS = """(least) => {
  const left = '.visually-hidden, [inert], .skip, .season svg, .month-strip svg';
  const shown = (each) => each.checkVisibility({opacityProperty: false, visibilityProperty: true})
    && each.getClientRects().length && !each.closest(left);
  const found = [];
  const marks = 'a[href], button, summary, select, textarea, input:not([type=hidden])';
  for (const each of document.querySelectorAll(marks)) {
    if (!shown(each) || each.disabled) continue;
    const boxes = [each, ...(each.labels ?? [])].filter(shown)
      .map((one) => one.getBoundingClientRect());
    const pressed = each.matches('[type=checkbox], [type=radio]') ? boxes : boxes.slice(0, 1);
    const box = {
      left: Math.min(...pressed.map((b) => b.left)),
      right: Math.max(...pressed.map((b) => b.right)),
      top: Math.min(...pressed.map((b) => b.top)),
      bottom: Math.max(...pressed.map((b) => b.bottom)),
    };
    found.push({each, box, wide: box.right - box.left, high: box.bottom - box.top});
  }
  const isSmall = (one) => one.wide < least - 0.5 || one.high < least - 0.5;
  const middle = (b) => [(b.left + b.right) / 2, (b.top + b.bottom) / 2];
  const apart = ([x, y], b) => Math.hypot(Math.max(b.left - x, 0, x - b.right),
    Math.max(b.top - y, 0, y - b.bottom));
  const isInline = (one) => {
    if (!one.each.matches('a') || getComputedStyle(one.each).display !== 'inline') return false;
    const block = one.each.closest('p, dd, li, td, th, figcaption, h2, h3');
    if (!block) return false;
    const rest = block.cloneNode(true);
    rest.querySelectorAll('a, button, .visually-hidden').forEach((part) => part.remove());
    return /[\\p{L}\\p{N}]/u.test(rest.textContent);
  };
  return found.filter((one) => isSmall(one) && !isInline(one) && found.some((other) => {
    if (other.each.contains(one.each) || one.each.contains(other.each)) return false;
    const here = middle(one.box);
    const there = middle(other.box);
    return apart(here, other.box) < least / 2
      || (isSmall(other) && Math.hypot(here[0] - there[0], here[1] - there[1]) < least);
  })).map((one) => `${Math.round(one.wide)} x ${Math.round(one.high)}: `
    + one.each.outerHTML.slice(0, 110));
}"""

# Share of the window under what stays in place while the page moves, in per cent.
COVERED = """() => {
  const bars = [...document.querySelectorAll('body *')].filter((each) => {
    const style = getComputedStyle(each);
    return ['fixed', 'sticky'].includes(style.position) && each.checkVisibility()
      && !each.closest('details:not([open]) > :not(summary)');
  });
  const stays = bars.filter((each) => {
    const {top} = each.getBoundingClientRect();
    window.scrollBy(0, 40);
    const still = Math.abs(each.getBoundingClientRect().top - top) < 1;
    window.scrollBy(0, -40);
    return still;
  });
  let covered = 0;
  for (let y = 1; y < innerHeight; y += 2) {
    const at = stays.flatMap((each) => [each, ...each.querySelectorAll('*')])
      .filter((each) => each.checkVisibility({contentVisibilityAuto: true})
        && !each.closest('details:not([open]) > :not(summary)'))
      .map((each) => each.getBoundingClientRect()).filter((b) => b.top <= y && y < b.bottom);
    if (!at.length) continue;
    const left = Math.max(0, Math.min(...at.map((b) => b.left)));
    const right = Math.min(innerWidth, Math.max(...at.map((b) => b.right)));
    covered += 2 * (right - left);
  }
  return 100 * covered / (innerWidth * innerHeight);
}"""


@pytest.fixture
def job(business: Business) -> Job:
    """A deck of long names with work, a look, a photograph, a booking of today and an offer."""
    today = today_there()
    coat = CoatFactory(
        job__deck__label="Donaudampfschifffahrtsterrasse",
        job__deck__site__client__name=LONG,
        job__deck__site__street=f"7 {LONG.split()[0]} Row",
        job__finished_on=today - timedelta(days=560),
        job__notes=ARABIC,
        product__name="Rakotoarivelonandriamihantainaoil",
    )
    deck = coat.job.deck
    VisitFactory(deck=deck)
    PhotoFactory(deck=deck, job=coat.job, caption="The steps, finished")
    owner = deck.site.client
    EmailFactory(client=owner, value="a.rather.long.address.for.a.small.telephone@example.org")
    PhoneFactory(client=owner, value="902-555-0142")
    ConsentFactory(client=owner)
    ReminderStepFactory(number=1, channels=["email"])
    refresh_forecasts(today=today, now=timezone.now())
    return coat.job


@pytest.fixture
def pages(job: Job) -> dict[str, str]:
    """The pages of a crew's day and of a client, by what they are."""
    deck = job.deck
    crew = CrewFactory(name=f"Tern {LONG_WORD}", hours_a_day=Decimal(12), works_on=list(range(7)))
    now = timezone.now()
    booking = book_visit(
        site=deck.site,
        decks=[deck],
        hours=Decimal(6),
        first_day=today_there(),
        crew=crew,
        on_any_day=True,
        now=now,
    )
    token, token_hash = links.new_token()
    offer = OfferFactory(
        is_sent=True,
        site=deck.site,
        token_hash=token_hash,
        drafted_on=today_there(),
        valid_until=today_there() + timedelta(days=30),
    )
    OfferLineFactory(offer=offer, scope=OfferScopeFactory(offer=offer, deck=deck))
    booking.notes = f"{ARABIC}, gate 4711"
    booking.save(update_fields=["notes"])
    other = due_for_reminder(deck)
    asked = ReminderRequest(today_there() + timedelta(days=900), [other.pk], at_once=True)
    return {
        "diary": "/diary/",
        "booking": f"/diary/{booking.pk}/",
        "choose a deck": "/jobs/log/",
        "log a job": f"/jobs/log/?deck={deck.pk}&booking={booking.pk}",
        "a job": f"/jobs/{job.pk}/",
        "check": f"/jobs/visit/?deck={deck.pk}",
        "deck": f"/decks/{deck.pk}/",
        "client": f"/clients/{deck.site.client_id}/",
        "new client": "/clients/new/",
        "offer page": f"/o/{token}/",
        "client's page": page_url(queue_reminders(asked=asked, by=None, now=now).queued[0]),
        "sign-off": f"/jobs/{job.pk}/sign-off/",  # the last: it is all that a client may open
    }


def due_for_reminder(deck: Deck) -> Deck:
    """Another deck that was coated long ago, without a booking, of a client of long names."""
    coat = CoatFactory(
        job__finished_on=today_there() - timedelta(days=900),
        job__deck__site__client__name=f"{ARABIC} {LONG}",
    )
    owner = coat.job.deck.site.client
    EmailFactory(client=owner, value="ottilie@example.org")
    ConsentFactory(client=owner)
    refresh_forecasts(today=today_there(), now=timezone.now())
    return coat.job.deck


def weak_text(page: Page) -> list[str]:
    """Text below 7:1, large text below 4.5:1 (WCAG 2.2, 1.4.6 Contrast (Enhanced)), by axe."""
    options = {
        "runOnly": {"type": "rule", "values": ["color-contrast-enhanced"]},
        "rules": {"color-contrast-enhanced": {"enabled": True}},
    }
    results = Axe().run(page, options=options).response["violations"]
    return [node["html"][:160] for rule in results for node in rule["nodes"]]


def faults_in_the_sun(page: Page) -> list[str]:
    found = []
    for size, dark, least in ((PHONE, False, 44), (DESKTOP, True, 24)):
        look(page, size, dark=dark)
        found += [f"weak: {text}" for text in weak_text(page)]
        found += [f"small: {target}" for target in page.evaluate(SMALL_TARGETS, least)]
    look(page, PHONE, dark=False)
    page.evaluate("window.scrollTo(0, document.body.scrollHeight / 3)")
    if (covered := page.evaluate(COVERED)) > 12:
        found.append(f"bars cover {covered:.1f} %")
    look(page, NARROWEST, dark=False)
    if (width := page.evaluate("document.documentElement.scrollWidth")) > NARROWEST["width"]:
        found.append(f"{width} px wide")
    return found


def test_targets_contrast_bars_and_long_words_of_the_crews_and_the_clients_pages(
    open_as: Open, pages: dict[str, str]
) -> None:
    page = open_as("crew", "/")
    found = {}
    for name, path in {"today": "/", **pages}.items():
        look(page, PHONE, dark=False)
        answer = page.goto(path)
        assert answer
        assert answer.status == 200, name
        assert answer.url.endswith(path), name
        if wrong := faults_in_the_sun(page):
            found[name] = wrong
    assert found == {}


def test_on_a_form_the_bar_of_pages_is_far_from_the_main_button_and_enter_presses_that(
    open_as: Open, pages: dict[str, str]
) -> None:
    page = open_as("crew", pages["log a job"])
    main = page.get_by_role("button", name="Log this job").bounding_box()
    elsewhere = page.get_by_role("link", name="Log a job", exact=True).bounding_box()
    assert main
    assert elsewhere
    assert main["y"] - (elsewhere["y"] + elsewhere["height"]) > 200

    page.get_by_label("Batch").first.fill("TW-31")
    page.get_by_label("Batch").first.press("Enter")
    page.get_by_role("heading", name="Clean and recoat").wait_for()
    assert Job.objects.latest("id").coats_applied.get().batch.code == "TW-31"


def test_lines_of_two_directions_stay_apart(open_as: Open, pages: dict[str, str]) -> None:
    """Each name is isolated (HTML, the bdi element; Unicode Standard Annex 9, isolates): what is
    written after an Arabic name stays after it, from left to right."""
    Deck.objects.update(label=ARABIC)
    page = open_as("crew", pages["log a job"])

    places = page.locator(".page-head > :first-child p").evaluate("""(line) => {
      const parts = [...line.querySelectorAll('bdi')].slice(0, 3);
      return parts.map((part) => part.getClientRects()[0]).map((b) => [b.top, b.left]);
    }""")
    assert len(places) == 3
    assert places == sorted(places)


def test_the_client_signs_with_a_finger_and_hands_back_nothing_of_the_staffs(
    open_as: Open, job: Job
) -> None:
    page = open_as("crew", "/")
    page.goto("/diary/")
    page.goto(f"/jobs/{job.pk}/")
    page.goto(f"/jobs/{job.pk}/sign-off/")
    page.go_back()  # from the first moment on
    page.get_by_role("heading", name="The work is done").wait_for()
    page.get_by_label("Your name").fill("Ottilie Saltonby")
    page.locator("form[data-keeping]").wait_for()
    sheet = page.locator("[data-sign] svg")
    sheet.scroll_into_view_if_needed()
    box = sheet.bounding_box()
    assert box
    page.mouse.move(box["x"] + 30, box["y"] + 60)
    page.mouse.down()
    page.mouse.move(box["x"] + 120, box["y"] + 30, steps=6)
    page.mouse.move(box["x"] + 200, box["y"] + 80, steps=6)
    page.mouse.up()
    drawn = page.locator("[data-drawing]").input_value()
    assert drawn.startswith("M")
    assert drawn.count("L") >= 8
    page.wait_for_timeout(500)

    page.reload()
    page.locator("form[data-keeping]").wait_for()
    assert page.locator("[data-drawn]").get_attribute("d") == drawn  # kept on the phone
    page.get_by_role("button", name="Sign off").click()

    page.get_by_role("heading", name="Signed off. Thank you.").wait_for()
    assert SignOff.objects.get().drawn == drawn
    expect(page.get_by_role("img", name="Signature of Ottilie Saltonby")).to_be_visible()
    thanks = page.get_by_role("heading", name="Signed off. Thank you.")
    for leave in (page.go_back, lambda: page.goto("/"), page.go_back):
        leave()
        thanks.wait_for()
        expect(page.get_by_role("navigation")).to_have_count(0)

    page.get_by_text("For the crew").tap()
    page.get_by_role("button", name="Back to the job").tap()
    page.get_by_role("heading", name=job.get_kind_display(), level=1).wait_for()
    page.goto("/")
    page.get_by_role("heading", name="Today").wait_for()
