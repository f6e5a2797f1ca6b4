"""Rails, stairs and screens: dates of their own, and what that makes of the deck's."""

import csv
import io
import json
from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from io import StringIO
from typing import Any

import numpy as np
import pytest
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from freezegun import freeze_time

from clients import display
from clients.actions import merging
from clients.messaging.models import Message
from clients.models import Deck
from jobs.models import Offer
from jobs.offers import build_offer_page, due_parts, work_shares
from reminders import actions, forecast
from reminders.forecasting import DueSurfaces, bridge, middle_prices, read_newest_coats
from reminders.models import Forecast, Reminder, ReminderStep, SurfaceForecast
from reminders.months import shift_months
from reminders.pacing import Horizon, labour_times, last_charged_prices
from reminders.pacing.inputs import gather_pacing_inputs
from reminders.steps import ReminderRequest
from reminders.steps.facts import coats_due_before
from tests.factories import CoatFactory, CrewFactory, JobFactory, ProductFactory, VisitFactory
from tests.jobs.offer_book import price_list
from tests.reminders.conftest import NOW, TODAY, coat, refresh

pytestmark = pytest.mark.django_db
Coated = Callable[..., Deck]
OF_THE_ROW = ("id", "deck_id", "job_id", "computed_at")


def numbers(deck: Deck) -> dict[str, Any]:
    values = Forecast.objects.values().get(deck=deck)
    return {name: value for name, value in values.items() if name not in OF_THE_ROW}


def own(deck: Deck) -> dict[str, SurfaceForecast]:
    return {row.surface: row for row in deck.surface_forecasts.all()}


@pytest.fixture
def apart(coated: Coated) -> Deck:
    """Everything coated in June 2020, the boards again in September 2026."""
    deck = coated(on=date(2020, 6, 10), rail_m=12, label="Sun deck")
    deck.jobs.get().coats_applied.update(surfaces=["boards", "rails"])
    coat(deck, on=date(2026, 9, 10))
    refresh(deck)
    return deck


def test_a_book_without_surfaces_keeps_every_number(coated: Coated) -> None:
    plain = coated(on=date(2025, 6, 10))
    measured = coated(on=date(2025, 6, 10), rail_m=12, stair_treads=4, screen_m2=6, site=plain.site)
    together = coated(on=date(2025, 6, 10), rail_m=12, stair_treads=4, screen_m2=6, site=plain.site)
    together.jobs.get().coats_applied.update(surfaces=["boards", "stairs", "rails", "screens"])
    refresh(plain, measured, together)

    assert numbers(measured) == numbers(plain)
    assert numbers(together) == numbers(plain)
    assert not own(measured)
    assert sorted(own(together)) == ["rails", "screens"], "stairs go with the boards of the job"


def test_rails_of_the_same_day_are_due_after_more_than_twice_the_time(coated: Coated) -> None:
    """Common practice, no source: boards every year or two, rails every three to five."""
    deck = coated(on=date(2025, 6, 10), rail_m=12)
    deck.jobs.get().coats_applied.update(surfaces=["boards", "rails"])
    refresh(deck)

    rails = own(deck)["rails"]
    boards = Forecast.objects.get(deck=deck)
    assert rails.due_on.year - 2025 in {2, 3, 4, 5}
    assert rails.due_on - boards.due_on > boards.due_on - date(2025, 6, 10)
    assert rails.window_opens_on < rails.late_on


def test_the_belief_about_rails_is_that_about_boards_longer_and_in_more_doubt(
    coated: Coated,
) -> None:
    deck = coated(on=date(2025, 6, 10))
    coats = bridge.core_coats(read_newest_coats([deck.pk], today=TODAY), today=TODAY)
    prior = forecast.SURFACE_PRIORS["rails"]
    belief = forecast.PUBLISHED_PRIOR
    today = bridge.epoch_days(TODAY)

    boards = forecast.predict(coats, belief, today)
    rails = forecast.predict(coats, belief.with_longer_lives(prior.mean, prior.sd), today)

    assert rails.median_months / boards.median_months == pytest.approx(np.exp(prior.mean))
    assert rails.log_sd**2 - boards.log_sd**2 == pytest.approx(prior.sd**2)
    assert belief.mean[0] == pytest.approx(np.log(16)), "the belief itself is left as it is"


def test_a_deck_is_due_with_its_first_surface_and_its_state_is_that_of_what_leads(
    apart: Deck,
) -> None:
    row = Forecast.objects.get(deck=apart)
    rails = own(apart)["rails"]

    assert row.surface == "rails"
    assert row.due_on == rails.due_on < row.boards_due_on
    assert row.job.finished_on == rails.job.finished_on == date(2020, 6, 10)
    assert (row.window_opens_on, row.late_on) == (rails.window_opens_on, rails.late_on)
    assert row.chance_worn > 0.5
    assert (row.contributions, row.look_on, row.strip_on) == ({}, None, None)


def test_the_boards_lead_again_once_they_are_due_within_half_a_year(apart: Deck) -> None:
    boards_due_on = Forecast.objects.get(deck=apart).boards_due_on
    assert boards_due_on
    refresh(apart, today=boards_due_on - timedelta(days=200))
    assert Forecast.objects.get(deck=apart).surface == "rails"
    refresh(apart, today=boards_due_on - timedelta(days=100))
    row = Forecast.objects.get(deck=apart)

    Deck.objects.filter(pk=apart.pk).update(rail_m=0)
    refresh(apart, today=boards_due_on - timedelta(days=100))
    alone = Forecast.objects.get(deck=apart)

    assert row.due_on < row.boards_due_on == alone.due_on
    of_the_deck = {"id", "computed_at", "due_on"}
    told = [
        {name: value for name, value in vars(each).items() if name[0] != "_"}
        for each in (row, alone)
    ]
    differing = {name for name in told[0] if told[0][name] != told[1][name]}
    assert row.surface == "boards"
    assert differing <= of_the_deck


def test_a_deck_on_whose_boards_nothing_was_put_is_due_with_its_rails(
    coated: Coated, as_owner: Any
) -> None:
    price_list()
    deck = coated(on=date(2020, 6, 10), rail_m=12, stair_treads=3, label="Sun deck")
    deck.jobs.get().coats_applied.update(surfaces=["rails"])
    refresh(deck)

    row = Forecast.objects.get(deck=deck)
    offer = drafted(deck, as_owner)
    with freeze_time(NOW):
        today = as_owner.get("/?tab=all").content.decode()
        page = as_owner.get(f"/decks/{deck.pk}/").content.decode()

    assert (row.surface, row.boards_due_on) == ("rails", None)
    assert row.due_on == own(deck)["rails"].due_on
    assert offer.scopes.get().surfaces == ["rails"]
    assert "Sun deck" in today
    assert ">Railing<" in today
    assert '<td data-label="Last coat">none in the book</td>' in page
    assert "Worn today" in page


def test_stairs_done_on_a_day_of_their_own_have_a_date_of_their_own(coated: Coated) -> None:
    deck = coated(on=date(2025, 6, 10), stair_treads=5)
    job = JobFactory(deck=deck, kind="recoat", finished_on=date(2026, 6, 1))
    CoatFactory(job=job, surfaces=["stairs"])
    refresh(deck)

    row = Forecast.objects.get(deck=deck)
    assert own(deck)["stairs"].due_on > row.boards_due_on == row.due_on
    assert row.job.finished_on == date(2025, 6, 10)


def test_a_visit_that_found_the_boards_sound_bounds_the_rails_and_a_worn_one_does_not(
    coated: Coated,
) -> None:
    deck = coated(on=date(2019, 6, 10), rail_m=12)
    deck.jobs.get().coats_applied.update(surfaces=["boards", "rails"])
    refresh(deck)
    before = own(deck)["rails"]
    VisitFactory(deck=deck, visited_on=date(2026, 10, 1), overall=4)
    refresh(deck)
    assert own(deck)["rails"].window_opens_on == before.window_opens_on

    VisitFactory(deck=deck, visited_on=date(2026, 11, 1), overall=1)
    refresh(deck)

    assert before.window_opens_on < date(2026, 11, 1) < own(deck)["rails"].window_opens_on


def test_many_decks_are_refreshed_in_as_many_queries_as_few(coated: Coated) -> None:
    decks = [coated(on=date(2025, 6, 10), rail_m=9, screen_m2=4) for _ in range(6)]
    for deck in decks:
        deck.jobs.get().coats_applied.update(surfaces=["boards", "rails", "screens"])
    with CaptureQueriesContext(connection) as few:
        refresh(*decks[:1])
    with CaptureQueriesContext(connection) as many:
        refresh(*decks)

    assert len(many) == len(few)
    assert SurfaceForecast.objects.count() == 12


def test_a_deck_that_goes_or_loses_its_rails_keeps_no_date_of_them(apart: Deck) -> None:
    Deck.objects.filter(pk=apart.pk).update(archived_at=NOW)
    refresh(apart)
    assert not own(apart)

    Deck.objects.filter(pk=apart.pk).update(archived_at=None)
    refresh(apart)
    apart.jobs.get(finished_on=date(2020, 6, 10)).delete()
    refresh(apart)
    assert not own(apart)


def test_what_a_visit_takes_along_is_what_is_due_within_half_a_year() -> None:
    boards = date(2027, 5, 10)

    def words(**others: date) -> str:
        rows = [
            {"surface": name, "due_on": day.isoformat()}
            for name, day in sorted(others.items(), key=lambda pair: pair[1])
        ]
        return DueSurfaces.of(boards, rows).words(TODAY)

    assert words() == ""
    assert words(rails=boards + timedelta(days=183)) == ""
    assert words(rails=date(2028, 6, 1)) == "Deck boards; railing not before June 2028"
    assert words(screens=date(2026, 5, 1), stairs=date(2026, 9, 1)) == ""
    assert (
        words(rails=date(2026, 6, 1), screens=date(2029, 5, 1))
        == "Deck boards, railing; privacy screens not before May 2029"
    )
    assert DueSurfaces.of(date(2028, 5, 10), [{"surface": "rails", "due_on": "2026-06-01"}]).words(
        TODAY
    ) == ("Railing; deck boards not before May 2028")


def test_lists_and_the_page_of_the_deck_say_which_surface_is_due(
    apart: Deck, as_owner: Any
) -> None:
    row = Forecast.objects.get(deck=apart)
    month = row.due_on.strftime("%Y-%m")
    said = f"Railing; deck boards not before {row.boards_due_on:%B %Y}"
    out = StringIO()
    with freeze_time(NOW):
        call_command("due", month, "--format", "json", stdout=out)
        due_page = as_owner.get(f"/due/{month}/").content.decode()
        today = as_owner.get("/?tab=all").content.decode()
        deck = as_owner.get(f"/decks/{apart.pk}/").content.decode()

    assert [line["surfaces"] for line in json.loads(out.getvalue())] == [said]
    assert said in due_page
    assert said in today
    table = deck[deck.index("<caption") :]
    assert f'<td data-label="Due">{row.due_on:%B %Y}</td>' in table
    assert f'<td data-label="Due">{row.boards_due_on:%B %Y}</td>' in table
    assert "June 10, 2020" in table or "Jun 10, 2020" in table


def test_a_deck_of_boards_alone_hears_nothing_of_surfaces(coated: Coated, as_owner: Any) -> None:
    deck = coated(on=date(2023, 6, 10))
    with freeze_time(NOW):
        pages = [as_owner.get(url).content.decode() for url in ("/?tab=all", f"/decks/{deck.pk}/")]

    assert not any("Surfaces" in page or "not before" in page for page in pages)


def drafted(deck: Deck, browser: Any) -> Offer:
    with freeze_time(NOW):
        browser.post(reverse("reminders:draft_offers"), {"deck": deck.pk})
    return Offer.objects.get()


def lines_of(offer: Offer) -> dict[str, Decimal]:
    return {line.words: line.quantity for line in offer.lines.filter(kind="work")}


def test_an_offer_leaves_out_what_is_not_due_and_one_tick_takes_it_in(
    coated: Coated, as_owner: Any
) -> None:
    price_list()
    deck = coated(on=date(2024, 6, 10), rail_m=12, stair_treads=4, label="Sun deck")
    deck.jobs.get().coats_applied.update(surfaces=["boards", "stairs", "rails"])
    refresh(deck)

    offer = drafted(deck, as_owner)
    with freeze_time(NOW):
        page = as_owner.get(f"/offers/{offer.pk}/").content.decode()

    scope = offer.scopes.get()
    assert (scope.surfaces, scope.left_out) == (["boards", "stairs"], ["rails"])
    assert "Stairs" in lines_of(offer)
    assert "Railing" not in lines_of(offer)
    assert "Not due yet and left out: railing." in page
    finish = next(need for need in scope.buying if need["what"] == "finish")
    assert set(finish["by_surface"]) == {"boards", "stairs"}

    with freeze_time(NOW):
        as_owner.post(reverse("reminders:redraft_offer", args=[offer.pk]), {"every_surface": "on"})
        again = as_owner.get(f"/offers/{offer.pk}/").content.decode()

    whole = Offer.objects.get()
    assert whole.scopes.get().surfaces == ["boards", "stairs", "rails"]
    assert lines_of(whole)["Railing"] == 12
    assert whole.total > offer.total
    assert "left out" not in again


def test_an_offer_of_the_rails_alone_prices_them_and_speaks_of_no_boards(
    apart: Deck, as_owner: Any
) -> None:
    price_list()
    stain = ProductFactory(name="Gannet Stain", finish_class="semitransparent")
    first = apart.jobs.get(finished_on=date(2020, 6, 10))
    first.coats_applied.update(surfaces=["boards"])
    CoatFactory(job=first, product=stain, surfaces=["rails"], position=2, coats=1, colour="Slate")
    refresh(apart)

    offer = drafted(apart, as_owner)
    with freeze_time(NOW):
        part = build_offer_page(offer, today=TODAY).decks[0]
        with display.in_client_language("fr"):
            words = part.finish

    scope = offer.scopes.get()
    assert (scope.surfaces, scope.product, scope.colour) == (["rails"], stain, "Slate")
    assert (scope.work, scope.is_sanded) == ("recoat", False)
    # 12 m of rail: clean 3, coat 6 dollars a metre; no line of boards
    assert lines_of(offer) == {"Railing": 12, "Set up and protect surrounds": 1}
    assert offer.lines.get(words="Railing").amount == 12 * (3 + 6)
    # 12 m of rail are 12 × 1.6 m² (common practice); 9 m²/L a coat
    assert scope.litres == pytest.approx(Decimal("2.14"), abs=Decimal("0.3"))
    assert part.finish.startswith("Railing: a clean, then 1 coat")
    assert part.forecast is None, "the curve of the boards says nothing of the rails"
    assert words.startswith("Garde-corps : un nettoyage, puis 1 couche")


def test_what_is_worked_on_can_be_ticked_where_the_work_is_planned(
    coated: Coated, as_owner: Any
) -> None:
    deck = coated(on=date(2024, 6, 10), rail_m=12)
    deck.jobs.get().coats_applied.update(surfaces=["boards", "rails"])
    plain = coated(on=date(2024, 6, 10))
    refresh(deck, plain)

    with freeze_time(NOW):
        proposed = as_owner.get(reverse("jobs:scope", args=[deck.pk]))
        chosen = as_owner.get(
            reverse("jobs:scope", args=[deck.pk]), {"surfaces": ["boards", "rails"]}
        )
        alone = as_owner.get(reverse("jobs:scope", args=[plain.pk])).content.decode()

    assert proposed.context["scope"].left_out == ["rails"]
    assert proposed.context["wish_form"]["surfaces"].value() == ["boards"]
    assert "Left for later" in proposed.content.decode()
    assert chosen.context["scope"].left_out == []
    assert "rails" in chosen.context["scope"].needs[-1].by_surface
    assert "What is worked on" not in alone


def test_the_steps_are_those_of_the_rails_where_they_lead_and_begin_again_with_the_boards(
    apart: Deck,
) -> None:
    """What was said of the rails does not count for the boards."""
    row = Forecast.objects.get(deck=apart)
    month = row.due_on.replace(day=1)
    steps = ReminderStep.objects.sequence()
    assert coats_due_before(row.due_on + timedelta(days=40), steps).filter(deck=apart).exists()

    asked = ReminderRequest(shift_months(month, 1), [apart.pk], at_once=True)
    actions.queue_reminders(asked=asked, by=None, now=NOW)

    text = Message.objects.get().text
    assert f"Sun deck (railing), {apart.site.street}" in text
    assert "Jun 10, 2020" in text
    assert "2026" not in text.split("Sun deck")[1].split("Due")[0]
    reminder = Reminder.objects.get()
    assert reminder.job.finished_on == date(2020, 6, 10)
    assert not Reminder.objects.filter(job__finished_on=date(2026, 9, 10)).exists()


def test_a_reminder_names_the_boards_where_the_rails_can_wait(coated: Coated) -> None:
    deck = coated(on=date(2024, 6, 10), rail_m=12, label="Sun deck")
    deck.jobs.get().coats_applied.update(surfaces=["boards", "rails"])
    refresh(deck)
    month = Forecast.objects.get(deck=deck).due_on.replace(day=1)

    asked = ReminderRequest(shift_months(month, 1), [deck.pk], at_once=True)
    actions.queue_reminders(asked=asked, by=None, now=NOW)

    assert f"Sun deck (deck boards), {deck.site.street}" in Message.objects.get().text


def test_steps_of_boards_that_lead_are_counted_from_their_day(coated: Coated) -> None:
    deck = coated(on=date(2025, 6, 10))
    row = Forecast.objects.get(deck=deck)
    assert row.boards_due_on
    Forecast.objects.filter(deck=deck).update(due_on=row.boards_due_on - timedelta(days=90))
    due = [ReminderStep(number=1, anchor="due", offset_days=0, is_on=True)]

    assert not coats_due_before(row.boards_due_on, due).exists()
    assert coats_due_before(row.boards_due_on + timedelta(days=1), due).exists()


def test_a_day_so_far_off_that_nobody_knows_its_month_is_in_none(
    coated: Coated, as_owner: Any
) -> None:
    deck = coated(on=date(2026, 6, 10), rail_m=12)
    far = date(2037, 6, 1)
    CoatFactory(job=deck.jobs.get(), surfaces=["rails"], position=2)
    refresh(deck)
    deck.surface_forecasts.update(window_opens_on=date(2033, 3, 1), due_on=far, late_on=far)
    with freeze_time(NOW):
        near = as_owner.get(f"/decks/{deck.pk}/").content.decode()
    Forecast.objects.filter(deck=deck).update(
        window_opens_on=date(2034, 3, 1),
        due_on=far,
        half_worn_on=far,
        late_on=far,
        boards_due_on=far,
    )
    with freeze_time(NOW):
        page = as_owner.get(f"/decks/{deck.pk}/").content.decode()

    others = [{"surface": "rails", "due_on": "2037-06-01", "opens_on": "2033-03-01"}]
    said = DueSurfaces.of(date(2027, 5, 10), others).words(TODAY)
    assert said == "Deck boards; railing not before 2033"
    assert '<td data-label="Due">not before 2033</td>' in near
    assert "<dt>Due</dt><dd>not before 2034</dd>" in page
    assert "June 2037" not in page
    rows = Forecast.objects.all()
    assert not rows.due_in(far).exists()
    assert rows.counts_by_month(far, 2) == {}


def test_hours_and_prices_are_those_of_what_is_due(coated: Coated) -> None:
    """12 m of rail beside 30 m² of boards: by the minutes of a recoat in the list, else by area."""
    deck = coated(on=date(2024, 6, 10), rail_m=12, area_m2=30)
    job = deck.jobs.get()
    job.coats_applied.update(surfaces=["boards", "rails"])
    refresh(deck)
    areas = {deck.pk: deck.area_m2}

    by_area = due_parts(areas, today=TODAY)
    price_list()
    by_minutes = due_parts(areas, today=TODAY)
    whole = labour_times(areas, today=TODAY).decks[deck.pk]
    due = labour_times(areas, today=TODAY, parts=by_minutes).decks[deck.pk]

    assert list(by_area) == [deck.pk]
    # common practice, no source: a metre of rail has 1.6 m²
    assert by_area[deck.pk].share == pytest.approx(30 / (30 + 12 * 1.6))
    assert 0 < by_minutes[deck.pk].share < 1
    assert due.recoat == pytest.approx(whole.recoat * by_minutes[deck.pk].share)
    assert due.visit == whole.visit
    shares = work_shares(areas, today=TODAY)[deck.pk]
    assert sum(shares.values()) == pytest.approx(1)
    assert shares["boards"] == pytest.approx(by_minutes[deck.pk].share)


def test_a_plan_weighs_the_coat_that_leads_and_asks_for_no_strip_of_rails(
    apart: Deck, business: Any
) -> None:
    price_list()
    CrewFactory()
    horizon = Horizon(date(2027, 3, 1), 12)

    found = gather_pacing_inputs(horizon, today=TODAY, business=business)
    rails = found.row_by_property[apart.site_id]
    whole = labour_times({apart.pk: apart.area_m2}, today=TODAY).decks[apart.pk]
    share = due_parts([apart.pk], today=TODAY)[apart.pk].share

    assert found.work.hours[rails] == pytest.approx(whole.visit + share * whole.recoat)
    assert found.work.hours_sd[rails] == 0, "no doubt about a strip"
    # six years on the rails are worn and lose by waiting; the boards were done this autumn
    assert found.work.saved[rails][0] > found.work.saved[rails][-1]


def test_work_to_come_counts_rails_in_months_of_their_own(coated: Coated, as_owner: Any) -> None:
    price_list()
    deck = coated(on=date(2026, 9, 10), rail_m=12)
    with freeze_time(NOW):
        whole = work_rows_of(as_owner)
    old = JobFactory(deck=deck, kind="recoat", finished_on=date(2020, 6, 10))
    CoatFactory(job=old, surfaces=["rails"])
    refresh(deck)
    with freeze_time(NOW):
        split = work_rows_of(as_owner)

    assert float(whole[0]["hours"]) < 0.1
    assert float(split[0]["hours"]) > 0.5, "the rails are due already"
    assert sum(float(row["decks"]) for row in split) == pytest.approx(
        sum(float(row["decks"]) for row in whole), abs=0.03
    )
    # What the rails take they take once, wherever it falls.
    assert sum(float(row["hours"]) for row in split) < 1.6 * sum(
        float(row["hours"]) for row in whole
    )


def work_rows_of(browser: Any) -> list[dict[str, str]]:
    answer = browser.get("/figures/work_to_come.csv").content.decode("utf-8-sig")
    return list(csv.DictReader(io.StringIO(answer)))


def test_what_rails_alone_cost_says_nothing_of_a_deck(coated: Coated) -> None:
    for _ in range(3):
        deck = coated(on=date(2024, 6, 10), kind="recoat", area_m2=20)
        deck.jobs.update(amount=600, currency="CAD")
        job = JobFactory(deck=deck, kind="recoat", finished_on=date(2026, 6, 1))
        CoatFactory(job=job, surfaces=["rails"])
        type(job).objects.filter(pk=job.pk).update(amount=100, currency="CAD")

    assert middle_prices(today=TODAY, currency="CAD") == {"recoat": 30}
    assert last_charged_prices([deck.pk], today=TODAY, currency="CAD") == {(deck.pk, "recoat"): 600}


def test_decks_that_are_merged_keep_one_date_a_surface_and_can_be_taken_apart(
    coated: Coated, owner: Any
) -> None:
    kept = coated(on=date(2024, 6, 10), rail_m=12)
    away = coated(on=date(2025, 6, 10), rail_m=12, site=kept.site)
    for deck in (kept, away):
        deck.jobs.get().coats_applied.update(surfaces=["boards", "rails"])
    refresh(kept, away)
    dates = [own(deck)["rails"].due_on for deck in (kept, away)]

    merge = merging.merge_decks(kept=kept, away=away, by=owner, now=NOW)
    assert own(kept)["rails"].due_on == dates[1]
    merging.undo_merge(merge=merge, now=NOW + timedelta(minutes=1))

    assert [own(deck)["rails"].due_on for deck in (kept, away)] == dates
