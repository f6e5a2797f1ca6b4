"""Logging a job in a real browser: with a thumb, without scripts, for everybody."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from jobs.models import CoatApplied, Job
from tests.browser.conftest import DESKTOP, PHONE, look, violations
from tests.factories import CoatFactory, DeckFactory, JobFactory, ProductFactory, VisitFactory

Open = Callable[..., Page]


@pytest.mark.parametrize("scripts", [True, False])
def test_a_second_recoat_is_logged_with_a_few_taps_with_and_without_scripts(
    open_as: Open, scripts: bool
) -> None:
    coat = CoatFactory(
        job__deck__site__client__name="Ottilie Saltonby", product__name="Tidewood Oil"
    )
    brightener = ProductFactory(name="Bright Tide", kind="brightener", finish_class="", colours="")

    page = open_as("crew", "/jobs/log/?q=otilie", scripts=scripts)
    page.get_by_role("link", name="Ottilie Saltonby").click()
    page.locator("label", has_text="slight").first.click()
    page.get_by_label("Why were you there?").select_option("It was due")
    page.get_by_label("Batch").first.fill("TW-31")
    page.get_by_label("Used, L").first.fill("3.8")
    page.get_by_role("button", name="Another product").click()
    second = page.get_by_role("group", name="Product").nth(1)
    page.get_by_label("Product", exact=True).nth(1).select_option(str(brightener.pk))
    page.get_by_role("button", name="Log this job").click()

    page.get_by_role("heading", name="Clean and recoat").wait_for()
    expect(second).to_have_count(0)
    assert "Logged: clean and recoat" in page.locator("main").inner_text()
    job = Job.objects.latest("id")
    assert (job.deck, job.kind, job.visit.overall, job.visit.reason) == (
        coat.job.deck,
        "recoat",
        2,
        "due",
    )
    rows = [
        (row.product.name, row.batch and row.batch.code)
        for row in CoatApplied.objects.filter(job=job)
    ]
    assert rows == [("Tidewood Oil", "TW-31"), ("Bright Tide", None)]


def test_what_matters_only_for_a_strip_shows_when_a_strip_is_chosen(open_as: Open) -> None:
    CoatFactory(job__deck=(deck := DeckFactory()))
    stain = ProductFactory(name="Boreal Stain", colours="Walnut, Bark")

    page = open_as("crew", f"/jobs/log/?deck={deck.pk}")

    expect(page.get_by_text("Wet stripper is very slippery").first).not_to_be_visible()
    page.locator("label", has_text="Strip and seal").click()
    page.locator("summary", has_text="Cautions").click()
    expect(page.get_by_text("Wet stripper is very slippery").first).to_be_visible()
    page.get_by_label("Product", exact=True).first.select_option(str(stain.pk))
    assert page.get_by_label("Colour").first.get_attribute("list") == f"colours-{stain.pk}"


def test_an_error_takes_the_focus_and_its_link_leads_to_the_field(open_as: Open) -> None:
    deck = DeckFactory()
    page = open_as("crew", f"/jobs/log/?deck={deck.pk}")
    page.locator("summary", has_text="Weather").click()
    page.get_by_label("Humidity").fill("150")
    page.get_by_label("Notes").fill("Shut the gate.")
    page.on("console", lambda _: None)
    page.get_by_role("button", name="Log this job").click()

    alert = page.locator('.notice[role="alert"]')
    alert.wait_for()
    assert "Humidity, %: Humidity goes from 0 to 100 %." in alert.inner_text()
    assert page.get_by_label("Notes").input_value() == "Shut the gate."


def test_the_pages_of_jobs_pass_axe(open_as: Open) -> None:
    coat = CoatFactory(job__visit=VisitFactory(), batch=None)
    JobFactory(deck=coat.job.deck)
    paths = [
        "/jobs/log/",
        "/jobs/log/?new=1",
        f"/jobs/log/?deck={coat.job.deck.pk}",
        f"/jobs/{coat.job.pk}/",
        f"/jobs/{coat.job.pk}/edit/",
        f"/jobs/visit/?deck={coat.job.deck.pk}",
        "/jobs/products/",
        "/jobs/products/new/",
    ]

    page = open_as("owner", paths[0])
    for size, path in [*((PHONE, path) for path in paths), (DESKTOP, paths[2])]:
        look(page, size, dark=False)
        page.goto(path)
        assert violations(page) == [], path
        look(page, size, dark=True)
        assert violations(page) == [], path
