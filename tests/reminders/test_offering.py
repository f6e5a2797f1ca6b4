"""Offers for a whole due list in one step, by pages and by the command."""

import json
from io import StringIO
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from freezegun import freeze_time

from clients.messaging.models import Message
from clients.models import Business, Deck
from jobs.actions import offer_sending
from jobs.models import Booking, Offer
from jobs.offers.pricing import PricingError
from reminders import offer_drafting
from reminders.actions import refresh_forecasts
from reminders.models import Forecast
from tests.factories import CrewFactory, DeckFactory, VisitFactory
from tests.jobs.at_once import at_once
from tests.jobs.offer_book import NOW, TODAY, deck, price_list, reachable

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _today(business: Business) -> Any:
    with freeze_time(NOW):
        yield


def draft(*decks: Deck) -> offer_drafting.DraftingResult:
    return offer_drafting.draft_offers(
        deck_ids=[each.pk for each in decks], today=TODAY, now=NOW, by=None
    )


def test_decks_of_one_property_come_in_one_offer_and_a_second_click_drafts_nothing() -> None:
    price_list()
    back = deck()
    front = deck(site=back.site)
    other = deck()
    refresh_forecasts(today=TODAY, now=NOW)

    drafted = draft(back, front, other)
    again = draft(back, front, other)

    assert sorted(offer.scopes.count() for offer in drafted.offers) == [1, 2]
    assert again.offers == []
    assert {why for _, why in again.left_out} == {"Offer 101 is draft.", "Offer 102 is draft."}
    scope = drafted.offers[0].scopes.first()
    assert scope.due_on == Forecast.objects.get(deck=back).due_on
    assert drafted.offers[0].waiting["after"][1]["strip_chance"] > 0


@pytest.mark.django_db(transaction=True)
def test_two_people_who_draft_at_once_make_one_offer_and_two_who_send_one_message(
    business: Business,
) -> None:
    price_list()
    home = reachable(deck())
    other = reachable(deck())

    drafted = at_once(*[lambda: draft(home, other)] * 2, lambda: draft(other))
    offer = Offer.objects.get(site=home.site)
    sent = at_once(
        *[lambda: offer_sending.send_offer(offer=offer, channel="email", by=None, now=NOW)] * 2
    )

    assert sum(len(each.offers) for each in drafted) == Offer.objects.count() == 2
    assert sorted(Offer.objects.values_list("number", flat=True)) == [101, 102]
    assert sorted(type(each).__name__ for each in sent) == ["Message", "OfferError"]
    assert Message.objects.count() == 1


def test_booked_and_archived_decks_are_left_out_with_the_reason() -> None:
    price_list()
    booked = deck()
    archived = deck(archived_at=timezone.now())
    free = deck()
    visit = Booking.objects.create(
        client=booked.site.client,
        site=booked.site,
        crew=CrewFactory(),
        first_on=TODAY,
        last_on=TODAY,
        hours=4,
    )
    visit.decks.add(booked)

    drafted = draft(booked, archived, free)

    assert [offer.site for offer in drafted.offers] == [free.site]
    assert dict(drafted.left_out) == {
        booked: "It is booked.",
        archived: "The deck or its client is archived.",
    }


def test_decks_that_cannot_be_priced_are_left_out_and_the_others_are_drafted() -> None:
    price_list().rates.filter(task="strip").delete()
    worn = deck()
    VisitFactory(deck=worn, visited_on=TODAY, overall=5)
    plain = deck()
    vast = deck(area_m2=999_999)

    drafted = draft(worn, plain, vast)

    assert [offer.site for offer in drafted.offers] == [plain.site]
    why = dict(drafted.left_out)
    assert "no price for “Strip”" in why[worn]
    assert "Check its area." in why[vast]


def test_drafting_takes_a_fixed_number_of_queries() -> None:
    price_list()
    few = [deck() for _ in range(2)]
    many = [deck() for _ in range(9)]
    refresh_forecasts(today=TODAY, now=NOW)

    def queries(decks: list[Deck]) -> int:
        with CaptureQueriesContext(connection) as captured:
            assert len(draft(*decks).offers) == len(decks)
        return len(captured)

    assert queries(many) <= queries(few)


def test_the_due_list_drafts_the_chosen_or_all_of_it(as_owner: Browser) -> None:
    price_list()
    first = reachable(deck())
    second = reachable(deck())
    refresh_forecasts(today=TODAY, now=NOW)
    month = f"{Forecast.objects.get(deck=first).due_on:%Y-%m}"

    page = as_owner.get(f"/due/{month}/").content.decode()
    one = as_owner.post("/due/offers/", {"month": month, "deck": [first.pk]})
    rest = as_owner.post(
        "/due/offers/", {"month": month, "whole": "month"}, follow=True
    ).content.decode()

    assert "Draft offers for this whole list" in page
    form = page[page.index('action="/due/remind/"') :]  # Enter presses its first button
    assert form.index('aria-hidden="true"></button>') < form.index('name="whole"')
    assert one["Location"] == f"/offers/{Offer.objects.get(site=first.site).pk}/"
    assert Offer.objects.get(site=second.site).state == "draft"
    assert "1 offer drafted. Nothing is sent yet." in rest
    assert (
        f"{first.site.client.name}, {first.label}: no offer was drafted. Offer 101 is draft."
        in rest
    )


def test_without_prices_or_decks_the_page_says_what_to_do(as_owner: Browser) -> None:
    home = deck()

    priceless = as_owner.post("/due/offers/", {"deck": home.pk}, follow=True).content.decode()
    nobody = as_owner.post("/due/offers/", {"month": "2027-03"}, follow=True).content.decode()

    assert "No price list is in force today" in priceless
    assert "Choose at least one deck" in nobody
    with pytest.raises(PricingError):
        draft(home)


def test_a_deck_page_offers_to_draft(as_owner: Browser) -> None:
    price_list()
    home = deck()

    page = as_owner.get(f"/decks/{home.pk}/").content.decode()

    assert "Draft an offer" in page


def test_a_draft_is_calculated_again_from_what_the_book_holds_now(as_owner: Browser) -> None:
    price_list()
    home = deck()
    offer = draft(home).offers[0]
    offer.introduction = "Good morning."
    offer.save()
    before = offer.total
    Deck.objects.filter(pk=home.pk).update(area_m2=36)

    page = as_owner.post(f"/due/offers/{offer.pk}/anew/", follow=True).content.decode()
    again = Offer.objects.get(pk=offer.pk)
    Offer.objects.filter(pk=offer.pk).update(state="withdrawn")
    refused = as_owner.post(f"/due/offers/{offer.pk}/anew/", follow=True).content.decode()

    assert "Recalculated." in page
    assert (again.number, again.introduction) == (101, "Good morning.")
    assert again.total > before
    assert again.scopes.get().deck == home
    assert again.lines.filter(words="Clean", quantity=36).exists()
    assert "Nothing was changed." in refused


def test_a_recoat_that_the_forecast_doubts_says_so_in_the_draft() -> None:
    price_list()
    home = deck()
    home.jobs.update(finished_on="2020-06-12")
    refresh_forecasts(today=TODAY, now=NOW)

    drafted = draft(home)

    scope = drafted.offers[0].scopes.get()
    assert (
        scope.work == "strip"
        or "that only a strip will do by now" in drafted.offers[0].events.get().note
    )


def run(*arguments: Any) -> str:
    out = StringIO()
    call_command("offer", *map(str, arguments), stdout=out)
    return out.getvalue()


def test_the_command_prints_scope_lines_litres_packs_and_totals_and_saves_only_if_asked() -> None:
    price_list()
    home = deck()
    refresh_forecasts(today=TODAY, now=NOW)

    told = json.loads(run(home.pk, "--format", "json"))

    assert {"scope", "lines", "litres", "packs", "totals", "materials", "steps", "notes"} <= set(
        told
    )
    assert told["scope"]["work"] == "recoat"
    assert told["packs"][0]["count"] >= 1
    lines = sum(round(float(line["amount"]) * 100) for line in told["lines"])
    assert lines == round(float(told["totals"]["net"]) * 100)
    assert not Offer.objects.exists()
    assert "Saved as offer 101." in run(home.pk, "--save")
    assert str(Offer.objects.get().total) == told["totals"]["total"]
    assert run(home.pk, "--format", "csv").startswith(
        "kind,words,quantity,unit,unit_price,amount,taxes"
    )


def test_the_command_says_in_words_why_it_cannot() -> None:
    with pytest.raises(CommandError, match="There is no deck 4711"):
        run(4711)
    with pytest.raises(CommandError, match="No price list is in force"):
        run(DeckFactory().pk)
    price_list()
    home = deck()
    run(home.pk, "--save")
    with pytest.raises(CommandError, match=r"Nothing was saved. Offer 101 is draft."):
        run(home.pk, "--save")
