"""The care plan in a real browser: the page of the office, and the client's own."""

from collections.abc import Callable
from datetime import timedelta

from django.utils import timezone
from playwright.sync_api import Page, expect

from clients.messaging.models import Message
from clients.models import Business
from reminders import actions, care_plans
from reminders.models import CarePlan
from tests.browser.conftest import DESKTOP, faults_of_both_looks
from tests.browser.test_offer_page import wrong_with
from tests.business_day import today_there
from tests.factories import CrewFactory
from tests.jobs.offer_book import price_list
from tests.reminders.client_pages import due_deck, page_url


def test_a_plan_is_agreed_on_one_page_and_refused_on_another(
    open_as: Callable[..., Page], business: Business
) -> None:
    Business.objects.update(season_months=list(range(1, 13)))
    price_list()
    CrewFactory(name="Tern crew", hours_a_day=16)
    deck = due_deck()
    deck.jobs.update(finished_on=today_there() - timedelta(days=560))
    now = timezone.now()
    actions.refresh_forecasts(deck_ids=[deck.pk], today=today_there(), now=now)

    page = open_as("owner", f"/clients/property/{deck.site_id}/plan/", size=DESKTOP)
    assert faults_of_both_looks(page) == []
    page.get_by_label("Price per visit, with tax").fill("640")
    page.get_by_label("How they agreed").fill("signed on paper")
    page.get_by_role("button", name="Start the care plan").click()
    expect(page.get_by_text("$640.00").first).to_be_visible()
    assert care_plans.propose_plan_visits(now=now) == 1
    page.reload()
    assert faults_of_both_looks(page) == []

    seen = open_as("", page_url(Message.objects.get()), may_complain=True)
    assert wrong_with(seen) == []
    seen.get_by_role("button", name="Not this week").click()
    expect(seen.get_by_text("We look for another and tell you.")).to_be_visible()
    assert wrong_with(seen) == []
    seen.get_by_role("button", name="End the care plan").click()
    expect(seen.get_by_text("You have ended it.")).to_be_visible()
    assert wrong_with(seen) == []
    assert CarePlan.objects.get().ended_by == "client"
