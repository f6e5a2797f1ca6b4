"""Every page of the product, on a phone in light and on a desktop in dark:
axe, one heading, no sideways scroll, no complaint."""

from collections.abc import Callable

import pytest
from django.urls import URLPattern, URLResolver, get_resolver
from django.utils import timezone
from playwright.sync_api import Page, expect

from clients.models import User
from jobs.models import CoatApplied, PriceList
from reminders.actions import refresh_forecasts
from reminders.offer_drafting import draft_offers
from tests.browser.conftest import PHONE, faults_of_both_looks, look, violations
from tests.business_day import today_there
from tests.factories import (
    BatchFactory,
    CoatFactory,
    ConsentFactory,
    EmailFactory,
    MessageFactory,
    OfferFactory,
    VisitFactory,
)
from tests.jobs.offer_book import price_list

Open = Callable[..., Page]
# Not pages of somebody signed in: what only takes a form, what answers programs, what needs an
# empty book, the sample.
OTHERWISE = {
    "/sign-out/",
    "/health/",
    "/first-visit/",
    "/due/remind/",
    "/due/stop/",
    "/views/save/",
    "/jobs/visit/",
    "/parts/",
    "/due/offers/",
    "/offers/send/",
    "/diary/days-off/",
    "/outbox/letters/new/",
    "/outbox/letters/test-sheet/",
    "/settings/gateway/addresses/",
    "/settings/gateway/test/",
    "/settings/mail-server/test/",
    "/settings/backup/now/",
    "/settings/backup/release/",
    "/settings/backup/export/",
    "/settings/programs/new/",
    "/settings/signing-in/app/remove/",
    "/settings/signing-in/codes/",
    "/settings/signing-in/devices/",
    "/settings/signing-in/passkeys/",
    "/settings/signing-in/passkeys/options/",
    "/sign-in/passkey/",
    "/sign-in/passkey/options/",
    "/jobs/photos/of-form/",
    "/jobs/structure/",
    "/jobs/visit/photos/",
    "/jobs/structure/photos/",
    "/metrics",
    "/settings/people/second-step/",
    "/worker.js",
    "/phone/app.webmanifest",
    "/phone/day/",
    "/phone/token/",
}


def pages_without_arguments() -> list[str]:
    def walk(patterns: list[URLPattern | URLResolver], start: str) -> list[str]:
        found = []
        for each in patterns:
            path = start + str(each.pattern)
            found += walk(each.url_patterns, path) if isinstance(each, URLResolver) else [path]
        return found

    return [
        path
        for path in walk(get_resolver().url_patterns, "/")
        if "<" not in path and path not in OTHERWISE and not path.startswith("/api/")
    ]


@pytest.fixture
def coat(people: dict[str, User]) -> CoatApplied:
    """A deck with a job, its product and batch, a visit, a forecast, an address, consent and a
    message."""
    batch = BatchFactory()
    coat = CoatFactory(
        product=batch.product, batch=batch, job__notes="Two boards by the stairs replaced."
    )
    VisitFactory(deck=coat.job.deck)
    client = coat.job.deck.site.client
    EmailFactory(client=client, value="a.rather.long.address.for.a.small.telephone@example.org")
    ConsentFactory(client=client)
    MessageFactory(client=client)
    refresh_forecasts(today=today_there(), now=timezone.now())
    make_offers(coat)
    return coat


def make_offers(coat: CoatApplied) -> None:
    """A draft at the prices of a list, and an offer that was sent."""
    price_list()
    draft_offers(deck_ids=[coat.job.deck_id], today=today_there(), now=timezone.now(), by=None)
    OfferFactory(number=900, is_sent=True, site=coat.job.deck.site)


def pages_of(coat: CoatApplied) -> list[str]:
    job = coat.job
    deck = coat.job.deck
    client = coat.job.deck.site.client
    return [
        f"/decks/{deck.pk}/",
        f"/jobs/{job.pk}/",
        f"/jobs/log/?deck={deck.pk}",
        f"/jobs/visit/?deck={deck.pk}",
        f"/jobs/batches/{coat.batch_id}/",
        f"/clients/{client.pk}/",
        f"/outbox/{client.messages.get().pk}/",
        f"/jobs/products/{coat.product_id}/shelf/",
        f"/jobs/scope/{deck.pk}/?air_c=5&humidity_percent=90&coats=99",
        f"/decks/?q={client.name.split()[0]}",
        "/settings/texts/offer/email/fr/",
        "/settings/texts/first/text/en/",
        "/settings/law/CA/text/",
        f"/settings/prices/{PriceList.objects.latest('pk').pk}/",
        *(f"/offers/{offer.pk}/" for offer in client.offers.all()),
        f"/jobs/{job.pk}/sign-off/",  # the last: it leads to no other page until it is taken back
    ]


@pytest.mark.parametrize("first", [0, 1], ids=["every other page", "those between"])
def test_every_page_is_accessible_has_one_heading_and_fits_320_pixels(
    open_as: Open, coat: CoatApplied, first: int
) -> None:
    paths = pages_without_arguments()
    assert {
        "/",
        "/due/",
        "/decks/",
        "/jobs/log/",
        "/outbox/",
        "/settings/",
        "/clients/new/",
    } <= set(paths)
    page = open_as("owner", "/")

    found: dict[str, list[str]] = {}
    for path in [*paths, *pages_of(coat)][first::2]:
        look(page, PHONE, dark=False)
        answer = page.goto(path)
        assert answer
        assert answer.status == 200, path
        wrong = faults_of_both_looks(page)
        if (headings := page.get_by_role("heading", level=1).count()) != 1:
            wrong.append(f"{headings} main headings")
        if wrong:
            found[path] = wrong
    assert found == {}


def test_the_pages_of_strangers_and_of_mistakes_are_accessible_too(
    open_as: Open, coat: CoatApplied
) -> None:
    page = open_as("", "/sign-in/", may_complain=True)
    found = {"/sign-in/": violations(page)}
    page.goto(f"/u/{'a' * 40}/")
    found["/u/"] = violations(page)
    page = open_as("crew", "/outbox/", may_complain=True)
    assert "may" in page.locator("main").inner_text()
    found["forbidden"] = violations(page)
    page.goto("/decks/999999/")
    expect(page.get_by_role("heading", level=1)).to_have_count(1)
    found["not found"] = violations(page)

    assert {path: wrong for path, wrong in found.items() if wrong} == {}
