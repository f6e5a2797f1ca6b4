"""What a coat asks for, a recoat, a look first or a strip, is said alike wherever it is said; and
the month that suits the work is one in all lists."""

from collections.abc import Callable, Iterator
from datetime import date, timedelta
from typing import Any, NamedTuple

import numpy as np
import pytest
from django.core.management import call_command
from django.db.models import Sum
from django.test import Client as Browser
from freezegun import freeze_time

from clients.messaging.models import Message
from clients.models import Business, Deck
from jobs.models import Booking, Product, Visit
from jobs.offers import work_hours_by_deck
from jobs.scope import propose_scope, purchase
from reminders import forecast, offer_drafting
from reminders.due import due_list
from reminders.forecasting import bridge, deck_upkeep
from reminders.models import Forecast
from reminders.months import month_of, shift_months
from reminders.pacing.savings import deck_prices, deck_savings, open_decks
from reminders.today import DeckTable, TableRequest, current_rule
from tests.factories import CoatFactory, CrewFactory, JobFactory, PackFactory, VisitFactory
from tests.jobs.offer_book import price_list
from tests.reminders.conftest import NOW, TODAY, refresh, remind

pytestmark = pytest.mark.django_db
FILM = {"finish_class": "solid_film", "pigment": "dark"}
WORDS = {
    "recoat": "What it needs: a clean and a fresh coat\n",
    "look": "What it needs: a look first;",
    "strip": "What it needs: by its age the old finish most likely has to come off",
}
NOTES = {"recoat": "", "look": "look first", "strip": "most likely a strip"}


class DeckState(NamedTuple):
    """When the last coat went on, of what, and what was found since."""

    coated_on: date
    product: dict[str, str] | None = {}
    coats: int = 2
    seen: dict[str, Any] = {}


# Worked out from docs/forecast.md: 20 and 80 % lie at 1.1 and 2.0 lives of a film, 2.3 and 4.0 of
# an oil (log-normal, spread 0.34; limits at 1.5 and 3 lives).
STATES = {
    "a fresh oil": (DeckState(date(2026, 6, 10)), "recoat"),
    "an oil two years old": (DeckState(date(2024, 6, 10)), "recoat"),
    "an oil four years old": (DeckState(date(2022, 9, 10)), "look"),
    "an oil eleven years old": (DeckState(date(2015, 6, 10)), "strip"),
    "an old oil that one of us saw": (
        DeckState(date(2022, 9, 10), seen={"visited_on": date(2026, 11, 1), "overall": 4}),
        "recoat",
    ),
    "an oil of which nothing is left": (
        DeckState(date(2024, 6, 10), seen={"visited_on": date(2026, 11, 1), "overall": 5}),
        "strip",
    ),
    "a fresh film": (DeckState(date(2026, 6, 10), FILM), "recoat"),
    "a film three years old": (DeckState(date(2023, 12, 10), FILM), "look"),
    "a film eight years old": (DeckState(date(2018, 6, 10), FILM), "strip"),
    "an old film that one of us saw": (
        DeckState(date(2023, 12, 10), FILM, seen={"visited_on": date(2026, 11, 1), "overall": 3}),
        "recoat",
    ),
    "a film past its second limit": (
        DeckState(date(2024, 12, 10), FILM, seen={"visited_on": date(2026, 11, 1), "overall": 4}),
        "strip",
    ),
    "a film that peels": (
        DeckState(
            date(2024, 12, 10),
            FILM,
            seen={"visited_on": date(2026, 11, 1), "overall": 2, "flaking": 3},
        ),
        "strip",
    ),
    "seven coats": (DeckState(date(2025, 6, 10), coats=7), "strip"),
    "a finish nobody knows": (DeckState(date(2025, 6, 10), None), "look"),
}


@pytest.fixture(autouse=True)
def _the_day() -> Iterator[None]:
    with freeze_time(NOW):
        yield


@pytest.fixture
def in_state(coated: Callable[..., Deck]) -> Callable[[DeckState], Deck]:
    """A deck of a client who agreed to e-mail, in a state."""

    def make(state: DeckState) -> Deck:
        deck = coated(on=state.coated_on)
        coat = deck.jobs.get().coats_applied.get()
        coat.coats = state.coats
        if state.product is None:
            coat.product = None
        else:
            assert coat.product is not None
            Product.objects.filter(pk=coat.product.pk).update(**state.product)
            PackFactory(product=coat.product)
        coat.save()
        if state.seen:
            VisitFactory(deck=deck, **state.seen)
        refresh(deck)
        return deck

    return make


@pytest.mark.parametrize("name", STATES)
def test_the_answer_is_the_same_wherever_it_is_given(
    name: str, in_state: Callable[[DeckState], Deck], business: Business, as_owner: Browser
) -> None:
    state, advice = STATES[name]
    price_list()
    deck = in_state(state)
    month = month_of(Forecast.objects.get(deck=deck).due_on)

    # Scope and packs, of a booking too.
    scope = propose_scope(deck, today=TODAY)
    assert scope.advice == advice
    day = TODAY + timedelta(days=7)
    booking = Booking.objects.create(
        client=deck.site.client,
        site=deck.site,
        crew=CrewFactory(),
        first_on=day,
        last_on=day,
        hours=4,
    )
    booking.decks.set([deck])
    booked = purchase.booked_scopes(
        purchase.bookings_within_weeks(today=TODAY, weeks=4), today=TODAY
    )
    assert booked[deck.pk].advice == advice
    needs = purchase.purchase_needs(booked.values(), today=TODAY)
    assert ("stripper" in {need.what for need in needs}) is (advice == "strip")
    booking.delete()

    # Hours and pacing.
    hours = work_hours_by_deck([deck.pk], today=TODAY)[deck.pk]
    assert hours.is_strip is (advice == "strip")
    share = pacing_share(deck, business)
    assert max(share, hours.is_strip) == 1 if advice == "strip" else share < 0.8
    assert advice != "recoat" or share < 0.2

    # The due list, on the page and as a table; Today; the deck's page and its plan.
    (line,) = due_list.due_decks(due_list.due_in_month(month), today=TODAY, on=month)
    assert line.advice == advice
    assert due_list.due_row(line, is_carried_over=False)["work"] == advice
    (row,) = DeckTable(TableRequest(tab="all"), current_rule(TODAY), business).lines(slice(None))
    assert (row.advice, row.advice_note) == (advice, NOTES[advice])
    page = as_owner.get(f"/decks/{deck.pk}/").content.decode()
    labels = {"recoat": "Clean and recoat", "look": "Look first", "strip": "Strip"}
    assert f"<dt>Next job</dt><dd>{labels[advice]}" in page

    # The offer: scope and price.
    (offer,) = offer_drafting.draft_offers(deck_ids=[deck.pk], today=TODAY, now=NOW, by=None).offers
    offered = offer.scopes.get()
    assert (offered.work, offered.looks_first) == (
        "strip" if advice == "strip" else "recoat",
        advice == "look",
    )
    work = offer.lines.filter(scope=offered)
    if advice == "look":
        assert work.aggregate(sum=Sum("amount"))["sum"] <= offered.recoat_total
        assert offered.recoat_total < offered.strip_total
        assert offer.waiting == {}
    assert work.filter(words__startswith="Strip").exists() is (advice == "strip")
    offer.delete()

    # The words of the reminder.
    remind(deck, month=date(2036, 1, 1))
    text = Message.objects.get().text
    assert WORDS[advice] in text
    assert "coming to the end" not in text


def pacing_share(deck: Deck, business: Business) -> float:
    """The chance of a strip that a plan for the coming weeks reckons with."""
    today = bridge.epoch_days(TODAY)
    decks = open_decks(opens_before=date(2040, 1, 1), near=TODAY, today=TODAY)
    prices = deck_prices(decks, today=TODAY, currency=business.currency)
    days = np.array([today + 7, today + 14, today + 21])
    found = deck_savings(decks, days, prices, today=TODAY)
    (place,) = [place for place, each in enumerate(decks) if each.deck_id == deck.pk]
    return float(found.strip_chance[place])


def test_a_look_first_names_both_prices_on_today_and_on_the_clients_page(
    in_state: Callable[[DeckState], Deck], business: Business, as_owner: Browser
) -> None:
    price_list()
    deck = in_state(STATES["an oil four years old"][0])
    for kind, amount in (("recoat", 600), ("strip", 1500)):
        for n in range(3):
            JobFactory(
                deck__area_m2=deck.area_m2,
                kind=kind,
                amount=amount,
                currency="CAD",
                finished_on=date(2026, 6, 1) + timedelta(days=n),
            )
    page = as_owner.get("/?tab=all").content.decode()
    assert "$600" in page
    assert "or $1,500" in page

    (offer,) = offer_drafting.draft_offers(deck_ids=[deck.pk], today=TODAY, now=NOW, by=None).offers
    paper = as_owner.get(f"/offers/{offer.pk}/").content.decode()
    assert "as a recoat" in paper
    assert "look first" in paper.lower()


def test_what_the_crew_sees_on_a_look_decides_until_half_a_year_is_over(
    in_state: Callable[[DeckState], Deck],
) -> None:
    deck = in_state(STATES["an oil four years old"][0])
    assert propose_scope(deck, today=TODAY).advice == "look"

    VisitFactory(deck=deck, visited_on=TODAY, overall=3)
    refresh(deck)

    assert propose_scope(deck, today=TODAY).advice == "recoat"
    assert Forecast.objects.get(deck=deck).look_on >= TODAY + timedelta(days=183)
    Visit.objects.all().delete()
    VisitFactory(deck=deck, visited_on=TODAY, overall=5)
    refresh(deck)
    assert propose_scope(deck, today=TODAY).advice == "strip"


# The month.


def many_decks(coated: Callable[..., Deck]) -> list[Deck]:
    """Coats of all ages and finishes, none older than thirty months."""
    decks = []
    for months in range(0, 30, 2):
        for finish_class in ("penetrating_oil", "semitransparent", "solid_film"):
            day = shift_months(date(2026, 11, 1), -months) + timedelta(days=3 * months)
            deck = coated(on=min(day, TODAY))
            product = deck.jobs.get().coats_applied.get().product
            Product.objects.filter(pk=product.pk).update(finish_class=finish_class)
            decks.append(deck)
    refresh(*decks)
    return decks


def test_no_due_day_lies_in_a_month_that_cannot_be_worked(
    coated: Callable[..., Deck], business: Business
) -> None:
    decks = many_decks(coated)
    coats = bridge.read_newest_coats([deck.pk for deck in decks], today=TODAY)
    assert coats is not None
    workable = bridge.workable_months_of_coats(coats, bridge.core_coats(coats, today=TODAY))
    months = dict(zip(coats.deck_id, workable, strict=True))

    for row in Forecast.objects.all():
        assert months[row.deck_id][row.due_on.month - 1]
        assert row.due_on.month in business.season_months
    # The best month of the plan on the deck's page is the same one while it lies ahead.
    ahead = Forecast.objects.filter(due_on__gt=TODAY).select_related("deck")
    for deck in decks[:2]:
        for kind, amount in (("recoat", 500), ("strip", 1500)):
            for n in range(3):
                JobFactory(
                    deck__area_m2=deck.area_m2,
                    kind=kind,
                    amount=amount,
                    currency="CAD",
                    finished_on=date(2026, 6, 1) + timedelta(days=n),
                )
    upkeep = [(row, deck_upkeep(row, today=TODAY, business=business)) for row in ahead[:6]]
    assert upkeep
    for row, found in upkeep:
        assert found is not None
        assert found.best_month == month_of(row.due_on)


@pytest.mark.parametrize("month", [date(2026, 11, 1), date(2027, 4, 1), date(2027, 6, 1)])
def test_the_reminders_of_a_month_and_its_due_list_agree(
    month: date, coated: Callable[..., Deck], business: Business
) -> None:
    many_decks(coated)
    noon = NOW.replace(year=month.year, month=month.month, day=3)
    with freeze_time(noon):
        refresh(*Deck.objects.all(), today=noon.date())
        call_command("remind", f"{month:%Y-%m}", verbosity=0)
    told = {
        reminder.deck_id: message
        for message in Message.objects.all()
        for reminder in message.reminders.all()
    }

    listed = set(due_list.due_deck_ids(month, with_carried_over=True))
    assert listed
    # Who stands on the list hears of it; who hears of it stands on the list of the month named.
    assert listed <= told.keys()
    for deck_id, message in told.items():
        due_on = Forecast.objects.get(deck=deck_id).due_on
        assert due_on < shift_months(month, 1) + timedelta(days=56)
        if due_on >= month:
            named = f"{due_on:%B %Y}"
            assert f"next coat in {named}" in message.text
            assert f"Best time: {named}" in message.text
            assert deck_id in due_list.due_deck_ids(month_of(due_on), with_carried_over=False)
        else:
            assert "next coat in" not in message.text


def test_the_due_day_is_the_cheapest_workable_week_by_brute_force(
    coated: Callable[..., Deck],
) -> None:
    """Every week of the coming years tried, at the cost that upkeep would have if each coat were
    renewed at that age; findings apart."""
    many_decks(coated)
    ids = [row.deck_id for row in Forecast.objects.filter(due_on__gt=TODAY)]
    coats = bridge.read_newest_coats(ids, today=TODAY)
    assert coats is not None
    core = bridge.core_coats(coats, today=TODAY)
    workable = bridge.workable_months_of_coats(coats, core)
    clock = forecast.SeasonalClock(
        forecast.seasonal_rate(forecast.sun_on_deck(core), core.wet_days)
    )
    start = clock.reading(core.coated_on)
    rows = {row.deck_id: row for row in Forecast.objects.all()}
    for place, deck_id in enumerate(coats.deck_id):
        row = rows[deck_id]
        limits = forecast.FILM_WEAR if core.is_film[place] else forecast.OIL_WEAR
        law = forecast.UpkeepLaw(
            np.log(row.median_months), row.log_sd, 2.2, limits, forecast.recoats_between_strips(2)
        )

        def cost(day: date, place: int = place, law: forecast.UpkeepLaw = law) -> float:
            reading = clock.reading(np.full(len(coats), bridge.epoch_days(day)))[place]
            return float(law.monthly(np.array([max(reading - start[place], 0.1)]))[0])

        weeks = [TODAY + timedelta(days=n) for n in range(0, 6 * 365, 3)]
        allowed = [day for day in weeks if workable[place][day.month - 1]]
        assert cost(row.due_on) <= min(map(cost, allowed)) * 1.005


def test_a_made_up_coat_is_counted(coated: Callable[..., Deck]) -> None:
    deck = coated()
    CoatFactory(job=deck.jobs.get(), position=2, coats=5)
    refresh(deck)
    assert propose_scope(deck, today=TODAY).advice == "strip"
