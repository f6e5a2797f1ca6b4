"""A phone in a client's hands where there is no signal: the sign-off is the only page it shows."""

import re
from collections.abc import Callable

from playwright.sync_api import Page, expect

from clients.models import Deck
from jobs.models import Booking, SignOff
from tests.browser.test_without_signal import (
    booking,
    cut,
    deck,
    kept,
    mend,
    until,
    wait_for_day,
    wait_until_sent,
)
from tests.factories import CoatFactory

__all__ = ["booking", "deck"]
Open = Callable[..., Page]
IS_KEPT = "async () => Boolean(await (await caches.open('pages')).match('{}'))"


def test_without_a_signal_the_phone_shows_the_sign_off_alone_until_it_is_taken_back(
    open_as: Open, deck: Deck, booking: Booking
) -> None:
    """Pages of the day lie on the phone; another tab was open on one of them. The page that the
    client holds was not of the day: it is kept when it is handed over."""
    job = CoatFactory(job__deck=deck).job
    theirs = f"/jobs/{job.pk}/sign-off/"
    page = open_as("crew", "/", may_complain=True, worker=True)
    wait_for_day(page)
    other = page.context.new_page()
    other.goto(f"/decks/{deck.pk}/")
    page.bring_to_front()
    page.goto(theirs)
    until(page, IS_KEPT.format(theirs))
    cut(page)
    sign_off = page.get_by_role("heading", name="The work is done")

    for address in ("/", f"/decks/{deck.pk}/", f"/diary/{booking.pk}/", "/outbox/"):
        page.goto(address)
        expect(sign_off).to_be_visible()
        assert page.url.endswith(theirs)
    page.get_by_role("link", name="français").click()
    expect(sign_off).to_be_visible()  # its French is not on the phone
    other.bring_to_front()
    other.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    expect(other.get_by_role("heading", name="The work is done")).to_be_visible()
    other.close()

    kept(page)
    page.get_by_label("Your name").fill("Ottilie Saltonby")
    page.get_by_role("button", name="Sign off").click()
    page.get_by_text("Kept on this phone and not sent yet.").wait_for()
    page.get_by_text("For the crew").click()
    page.get_by_role("button", name="Back to the job").click()
    page.wait_for_url(re.compile(r"//[^/]+/$"))
    page.get_by_text("No signal. This page is as of").wait_for()
    page.goto(f"/decks/{deck.pk}/")
    expect(page.get_by_text("Tidewood Oil").first).to_be_visible()
    mend(page)

    wait_until_sent(page)
    assert {each.name for each in SignOff.objects.all()} == {"Ottilie Saltonby"}


def test_a_sign_off_that_was_opened_without_a_signal_holds_when_the_signal_is_back(
    open_as: Open, deck: Deck, booking: Booking
) -> None:
    """The server has not heard of it: the phone leads back, and so the server hears."""
    job = CoatFactory(job__deck=deck).job
    booking.jobs.add(job)
    page = open_as("crew", "/", may_complain=True, worker=True)
    wait_for_day(page)
    cut(page)
    page.goto(f"/jobs/{job.pk}/sign-off/")
    page.get_by_text("No signal. This page is as of").wait_for()
    kept(page)
    mend(page)

    page.goto("/clients/")
    expect(page.get_by_role("heading", name="The work is done")).to_be_visible()
    page.get_by_text("For the crew").click()
    page.get_by_role("button", name="Back to the job").click()
    page.wait_for_url(f"**/jobs/{job.pk}/")
    page.goto("/clients/")
    expect(page.get_by_role("heading", name="Clients")).to_be_visible()
