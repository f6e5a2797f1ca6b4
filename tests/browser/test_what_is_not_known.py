"""What is not known, in a real browser: the log form without scripts, and pages that ask for it."""

from datetime import date

from django.utils import timezone

from jobs.models import Job
from reminders.actions import refresh_forecasts
from tests.browser.conftest import DESKTOP, PHONE, violations
from tests.business_day import today_there
from tests.factories import CoatFactory, DeckFactory


def unknown_deck():
    """A strip of spring 2021 with a finish that nobody knows, on a deck of no known size."""
    deck = DeckFactory(area_m2=None, species="unknown", label="Sun deck")
    CoatFactory(
        product=None,
        coats=None,
        litres=None,
        job__deck=deck,
        job__finished_from=date(2025, 1, 1),
        job__finished_on=date(2025, 12, 31),
    )
    now = timezone.now()
    refresh_forecasts(deck_ids=[deck.pk], today=today_there(), now=now)
    return deck


def test_a_job_of_a_season_is_logged_without_scripts(open_as):
    deck = DeckFactory()
    page = open_as("crew", f"/jobs/log/?deck={deck.pk}", scripts=False)
    page.get_by_text("No exact day").click()
    page.locator("#id_known_year").fill("2021")
    page.locator("#id_known_part").select_option("Spring")
    page.locator("#id_coats-0-product").select_option("Not known")
    page.get_by_role("button", name="Log this job").click()
    page.wait_for_url("**/jobs/*/")
    assert "spring 2021" in page.content()
    job = Job.objects.get()
    assert (job.finished_from, job.finished_on) == (date(2021, 3, 1), date(2021, 5, 31))
    assert job.coats_applied.get().product is None


def test_pages_of_what_is_not_known_are_accessible_and_fit(open_as):
    deck = unknown_deck()
    for path in (f"/decks/{deck.pk}/", f"/jobs/log/?deck={deck.pk}", f"/jobs/scope/{deck.pk}/"):
        for size in (PHONE, DESKTOP):
            page = open_as("owner", path, size=size)
            assert violations(page) == [], path
            room = page.evaluate("[document.body.scrollWidth, innerWidth]")
            assert room[0] <= room[1], path
