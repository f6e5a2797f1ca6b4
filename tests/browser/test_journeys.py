"""Whole errands in a real browser, as each person does them:
by thumb, by keyboard, without scripts, in the office."""

import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.contrib.sessions.models import Session
from django.core.management import call_command
from django.utils import timezone
from playwright.sync_api import Browser, Page, expect
from pytest_django.live_server_helper import LiveServer

from clients.messaging.models import Consent, Message
from clients.models import Client, Place, User
from jobs.models import Job
from reminders.actions import refresh_forecasts
from tests.browser.conftest import DESKTOP, PHONE
from tests.business_day import today_there
from tests.factories import BatchFactory, CoatFactory, ConsentFactory, EmailFactory, ProductFactory
from tests.peer import running_peer

Open = Callable[..., Page]


def heading(page: Page) -> str:
    return page.get_by_role("heading", level=1).inner_text()


def test_the_crew_logs_a_recoat_with_new_client_and_deck_in_one_form_without_scripts(
    open_as: Open,
) -> None:
    Place.objects.create(
        geoname_id=6053154,
        name="Lunenburg",
        ascii_name="Lunenburg",
        region="Nova Scotia",
        country="CA",
        latitude=44.38,
        longitude=-64.31,
        time_zone="America/Halifax",
        population=2396,
    )
    oil = ProductFactory(name="Tidewood Deck Oil")

    page = open_as("crew", "/", scripts=False)
    page.get_by_role("navigation", name="Pages").get_by_role("link", name="Log a job").click()
    page.get_by_role("link", name="New client and deck").click()
    must_type = (
        page.locator("main form").locator("input:required:not([type=radio]), select:required").all()
    )
    empty = [each for each in must_type if not each.input_value()]
    page.get_by_label("Client's name").fill("Ottilie Saltonby")
    page.get_by_role("button", name="Log this job").click()
    mistakes = page.get_by_role("alert").inner_text()
    assert "Town: Please fill this in." in mistakes
    assert "Client's name" not in mistakes
    page.get_by_label("Street and number").fill("7 Cormorant Lane")
    page.get_by_label("Town").fill("Lunenburg")
    page.get_by_label("Area, m²").fill("18")
    page.locator("label", has_text="Clean and recoat").click()
    page.get_by_label("Product", exact=True).select_option(str(oil.pk))
    page.get_by_role("button", name="Log this job").click()

    expect(page.get_by_role("heading", level=1)).to_have_text("Clean and recoat")
    page.get_by_role("link", name=re.compile("Ottilie Saltonby")).first.click()
    deck = page.locator("main").inner_text()
    assert "Tidewood Deck Oil" in deck
    assert "due in" in deck
    # Five things to type and a product to choose: at five seconds each that is well under a minute.
    assert len(empty) <= 6


def test_a_job_for_a_known_deck_is_filled_in_from_last_time_and_a_second_click_adds_nothing(
    open_as: Open,
) -> None:
    coat = CoatFactory(product__name="Saltmarsh Tint", colour="Driftwood")

    page = open_as("crew", f"/decks/{coat.job.deck.pk}/")
    page.get_by_role("link", name="Log a job").first.click()
    assert "products as last time" in page.locator("main").inner_text()
    assert page.get_by_label("Colour").first.input_value() == "Driftwood"
    page.get_by_role("button", name="Log this job").dblclick()
    page.get_by_role("heading", name="Clean and recoat", level=1).wait_for()
    page.go_back()
    page.get_by_role("button", name="Log this job").click()

    page.get_by_role("heading", name="Clean and recoat", level=1).wait_for()
    assert Job.objects.filter(deck=coat.job.deck, kind="recoat").count() == 1


@pytest.fixture
def overdue(people: dict[str, User]) -> Client:
    """A client with consent whose deck got its last coat three years ago."""
    today = today_there()
    coat = CoatFactory(job__finished_on=today - timedelta(days=1100), job__deck__label="Back deck")
    client = coat.job.deck.site.client
    EmailFactory(client=client, value="ottilie@example.org")
    ConsentFactory(client=client)
    refresh_forecasts(today=today, now=timezone.now())
    return client


def test_the_office_reminds_a_client_who_then_unsubscribes_from_the_mail_that_arrived(
    open_as: Open, live_server: LiveServer, overdue: Client, settings: Any
) -> None:
    settings.BASE_URL = live_server.url
    page = open_as("office", "/due/", size=DESKTOP)
    page.get_by_label(f"{overdue.name}, Back deck").check()
    page.get_by_role("button", name="Remind the chosen").click()
    assert heading(page) == "Send 1 reminder?"
    assert not Message.objects.exists()
    page.get_by_role("button", name="Send 1 reminder").click()
    page.wait_for_load_state()
    expect(page.get_by_role("button", name="Take back")).to_be_visible()
    page.goto("/outbox/")
    expect(page.get_by_role("row", name=re.compile(overdue.name))).to_contain_text("Queued")

    with running_peer() as peer:
        settings.EMAIL_HOST = "127.0.0.1"
        settings.EMAIL_PORT = peer.port
        call_command("deliver", once=True)
        assert not peer.taken  # it can still be taken back
        Message.objects.update(not_before=timezone.now())
        call_command("deliver", once=True)
        mail = peer.message()
        assert peer.taken[0].rcpt_tos == ["ottilie@example.org"]
    page.reload()
    expect(page.get_by_role("row", name=re.compile(overdue.name))).to_contain_text("Sent")

    text = mail.get_body(("plain",)).get_content()
    stranger = open_as("", re.search(rf"{live_server.url}(/u/\S+)", text)[1])
    assert overdue.consents.count() == 1
    stranger.get_by_role("button", name="Unsubscribe").click()
    expect(stranger.get_by_role("heading", level=1)).to_have_text("You are unsubscribed")
    page.goto(f"/clients/{overdue.pk}/")
    expect(page.get_by_role("region", name="What they allow")).to_contain_text(
        "Asked not to be written to"
    )
    assert not Consent.objects.filter(client=overdue).latest("pk").is_given
    page.goto("/due/")
    expect(page.get_by_label(f"{overdue.name}, Back deck")).to_have_count(0)


def test_an_owner_opens_an_empty_book_signs_in_again_and_is_told_what_to_enter(
    chromium: Browser, live_server: LiveServer
) -> None:
    context = chromium.new_context(base_url=live_server.url, viewport=PHONE)
    page = context.new_page()
    page.goto("/due/")
    assert heading(page) == "Set up"
    page.get_by_label("Name of the business").fill("Driftline Deck Care")
    page.get_by_label("Name", exact=True).fill("Maren")
    page.get_by_label("Sign-in name").fill("maren")
    page.get_by_label("Password", exact=True).fill("low tide at seven")
    page.get_by_label("again").fill("low tide at seven")
    page.get_by_role("button", name="Set up").click()
    expect(page.get_by_text("All set.")).to_be_visible()
    page.get_by_text("More", exact=True).click()
    page.get_by_role("button", name="Sign out").click()

    page.get_by_label("Sign-in name").fill("maren")
    page.get_by_label("Password").fill("low tide at seven")
    page.get_by_role("button", name="Sign in").click()
    steps = page.get_by_role("region", name="Set up")
    expect(steps.get_by_role("listitem")).to_have_count(7)
    for link in ["Your clients and decks", "Products you use", "Prices", "Crews"]:
        page.goto("/")
        steps.get_by_role("link", name=link).click()
        expect(page.get_by_role("heading", level=1)).to_be_visible()
        assert page.url != f"{live_server.url}/"
    context.close()


def test_a_mistyped_product_leads_to_its_batch_and_to_every_deck_that_got_it(open_as: Open) -> None:
    batch = BatchFactory(product__name="Saltmarsh Tint", code="ST-24/874")
    first, second = (CoatFactory(product=batch.product, batch=batch) for _ in range(2))
    CoatFactory(product__name="Harbour Solid", job__deck__site__client__name="Somebody Else")

    page = open_as("crew", "/decks/")
    page.get_by_label("Look up").fill("saltmrash tnt")
    page.get_by_role("button", name="Look up").click()
    page.get_by_role("link", name=first.job.deck.site.client.name).click()
    page.get_by_role("link", name="ST-24/874").click()

    assert heading(page) == "Batch ST-24/874"
    decks = page.get_by_role("main").inner_text()
    assert first.job.deck.site.client.name in decks
    assert second.job.deck.site.client.name in decks
    assert "Somebody Else" not in decks


def test_the_crew_sees_no_money_and_has_no_way_to_send(open_as: Open, overdue: Client) -> None:
    job = Job.objects.get()
    Job.objects.update(amount="1833.30", currency="CAD")

    page = open_as("crew", "/")
    for path in [
        "/",
        f"/decks/{job.deck_id}/",
        f"/jobs/{job.pk}/",
        "/jobs/log/?new=1",
        f"/clients/{overdue.pk}/",
    ]:
        page.goto(path)
        seen = page.locator("main").inner_text()
        assert not re.search(r"1,?833|Price charged|Charged|\$", seen), path
        expect(
            page.get_by_role("button", name=re.compile("send|remind|queue", re.IGNORECASE))
        ).to_have_count(0)
        expect(page.get_by_role("link", name="Outbox", include_hidden=True)).to_have_count(0)
    assert [
        page.request.get(path).status for path in ("/due/", "/outbox/", "/settings/business/")
    ] == [403] * 3


@pytest.mark.parametrize("scripts", [True, False])
def test_a_job_typed_while_the_session_ran_out_is_logged_after_signing_in(
    open_as: Open, scripts: bool
) -> None:
    coat = CoatFactory()
    address = f"/jobs/log/?deck={coat.job.deck.pk}"
    page = open_as("crew", address, scripts=scripts, may_complain=True)
    page.get_by_label("Notes").fill("Shut the gate.\nDog in the yard.")
    page.get_by_label("Batch").first.fill("TW-31")
    Session.objects.all().delete()
    page.get_by_role("button", name="Log this job").click()

    expect(page.get_by_role("heading", level=1)).to_contain_text("Sign in")
    assert "What you typed is kept" in page.locator("main").inner_text()
    page.get_by_label("Sign-in name").fill("crew")
    page.get_by_label("Password").fill("low tide at seven")
    page.get_by_role("button", name="Sign in").click()
    if scripts:
        page.get_by_role("link", name="See it").click()
    else:
        page.get_by_role("button", name="Send it now").click()

    expect(page.get_by_role("heading", level=1)).to_have_text("Clean and recoat")
    job = Job.objects.latest("pk")
    assert job.notes.splitlines() == ["Shut the gate.", "Dog in the yard."]
    assert job.coats_applied.get().batch.code == "TW-31"
    assert Job.objects.count() == 2


def test_a_deck_is_looked_up_with_the_keyboard_alone(open_as: Open) -> None:
    CoatFactory(job__deck__site__client__name="Ottilie Saltonby")
    page = open_as("office", "/decks/", size=DESKTOP)

    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="Skip to the content")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.get_by_role("main")).to_be_focused()
    for _ in range(4):
        page.keyboard.press("Tab")
    expect(page.get_by_label("Look up")).to_be_focused()
    page.keyboard.type("otilie")
    page.keyboard.press("Enter")

    page.wait_for_url(re.compile(r"/clients/\?q=otilie"))
    expect(page.get_by_role("link", name="Ottilie Saltonby")).to_be_visible()
