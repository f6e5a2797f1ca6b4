"""Decks of which not everything is known: forecast, due list, offers, work, pacing and commands
cope with them and say so."""

import csv
import io
import json
from datetime import date

import pytest
from django.core.management import call_command
from django.urls import reverse
from freezegun import freeze_time

from clients.models import Deck, Species
from jobs.models import CoatApplied, Job
from reminders import offer_drafting
from reminders.actions import refresh_forecasts
from reminders.forecasting import bridge, learning
from reminders.models import Forecast
from reminders.steps.drafts import deck_facts_by_id
from tests.factories import CoatFactory, CrewFactory, JobFactory, VisitFactory
from tests.jobs.offer_book import price_list
from tests.reminders.conftest import NOW, TODAY, refresh

pytestmark = pytest.mark.django_db
LAST_DAY = date(2025, 6, 10)


@pytest.fixture(autouse=True)
def _today(business):
    with freeze_time(NOW):
        yield


def forecast_of(deck: Deck) -> Forecast:
    refresh(deck)
    return Forecast.objects.get(deck=deck)


def width(forecast: Forecast) -> int:
    return (forecast.late_on - forecast.window_opens_on).days


UNKNOWN = {
    "finish": lambda deck: CoatApplied.objects.filter(job__deck=deck).update(product=None),
    "coats": lambda deck: CoatApplied.objects.filter(job__deck=deck).update(coats=None),
    "species": lambda deck: Deck.objects.filter(pk=deck.pk).update(species=Species.UNKNOWN),
    "shade": lambda deck: Deck.objects.filter(pk=deck.pk).update(
        summer_shade_percent=None, winter_shade_percent=None
    ),
    "start": lambda deck: Job.objects.filter(deck=deck).update(
        finished_from=date(2024, 12, 10), finished_on=date(2025, 12, 9)
    ),
}


@pytest.mark.parametrize("name", UNKNOWN)
def test_what_is_not_known_widens_the_window_and_is_the_reason(coated, as_owner, name):
    deck = coated(on=LAST_DAY)
    known = forecast_of(deck)
    assert known.unknowns == {}
    UNKNOWN[name](deck)
    unknown = forecast_of(deck)
    assert width(unknown) > width(known)
    assert unknown.log_sd > known.log_sd
    assert list(unknown.unknowns) == [name]
    page = as_owner.get(f"/decks/{deck.pk}/").content.decode()
    assert "The window is wide for what is not known" in page
    assert "off the window" in page or unknown.unknowns[name] < 0.5


def test_an_imported_job_without_a_product_is_wider_than_any_known_finish(coated):
    """It was narrower once: a missing class was taken for a decking oil, two coats for one."""
    deck = coated(on=LAST_DAY)
    widths = []
    applied = CoatApplied.objects.get(job__deck=deck)
    for finish_class in ("penetrating_oil", "tinted", "clear_film"):
        applied.product.finish_class = finish_class
        applied.product.save()
        widths.append(forecast_of(deck).log_sd)
    CoatApplied.objects.filter(job__deck=deck).update(product=None, coats=None)
    assert forecast_of(deck).log_sd > max(widths)
    applied.delete()
    assert forecast_of(deck).log_sd > max(widths), "nor was any product noted at all"


def test_the_due_date_is_counted_from_the_middle_of_the_span(coated):
    deck = coated(on=LAST_DAY)
    known = forecast_of(deck).due_on
    Job.objects.filter(deck=deck).update(
        finished_from=date(2025, 5, 11), finished_on=date(2025, 7, 10)
    )
    assert abs((forecast_of(deck).due_on - known).days) <= 2


def test_what_narrows_it_most_is_named_first(coated, as_owner):
    deck = coated(on=LAST_DAY)
    for make_unknown in UNKNOWN.values():
        make_unknown(deck)
    Job.objects.filter(deck=deck).update(
        finished_from=date(2025, 1, 1), finished_on=date(2025, 12, 31)
    )
    forecast = forecast_of(deck)
    assert max(forecast.unknowns, key=forecast.unknowns.__getitem__) == "finish"
    page = as_owner.get(f"/decks/{deck.pk}/").content.decode()
    order = ["The product of the last coat", "Only the year of the last coat", "The timber is not"]
    assert [page.index(words) for words in order] == sorted(page.index(words) for words in order)
    assert f'href="/jobs/{forecast.job_id}/edit/"' in page


def test_a_book_that_applies_one_finish_thinks_of_it_first(coated):
    deck = coated(on=LAST_DAY)
    known = CoatApplied.objects.get(job__deck=deck).product
    CoatApplied.objects.filter(job__deck=deck).update(product=None)
    before = forecast_of(deck).log_sd
    for _ in range(60):
        CoatFactory(product=known)
    assert forecast_of(deck).log_sd < before
    shares = {finish[0]: finish[3] for finish in bridge.mix_of_book().finishes}
    assert shares == {"penetrating_oil": 61.0} | dict.fromkeys(
        [name for name in shares if name != "penetrating_oil"], 1.0
    )


def test_visits_of_which_nobody_knows_which_coat_they_found_teach_nothing(coated):
    deck = coated(on=date(2022, 6, 10))
    VisitFactory(deck=deck, visited_on=date(2023, 6, 1), overall=2)  # of the first coat
    VisitFactory(deck=deck, visited_on=date(2024, 6, 1), overall=3)  # of either
    newer = JobFactory(
        deck=deck, kind="recoat", finished_from=date(2024, 1, 1), finished_on=date(2024, 12, 31)
    )
    CoatFactory(job=newer)
    history = learning.load_training_data(today=TODAY)
    assert history.visits == 1
    assert history.left_out[learning.NOT_DATED] == 1
    assert history.book.coats.coated_within.tolist() == [0.0, 182.5]


def test_a_message_says_the_season_and_leaves_out_what_nobody_knows(coated, business):
    deck = coated(on=LAST_DAY)
    UNKNOWN["finish"](deck)
    Job.objects.filter(deck=deck).update(
        finished_from=date(2025, 3, 1), finished_on=date(2025, 5, 31)
    )
    refresh(deck)
    facts = deck_facts_by_id([deck.pk], today=TODAY)[deck.pk]
    assert facts.coats[0].product == ""
    assert facts.coated.edtf() == "2025-21"
    assert "unknown" not in facts.why("en")


@pytest.fixture
def unsized(coated):
    """A deck whose size nobody knows, due in March."""
    deck = coated(on=LAST_DAY, area_m2=None)
    Forecast.objects.filter(deck=deck).update(
        due_on=date(2027, 3, 10), boards_due_on=date(2027, 3, 10)
    )
    return deck


def test_the_due_list_says_what_it_does_not_know(coated, unsized, as_owner):
    other = coated(on=LAST_DAY, site=unsized.site, area_m2="30")
    Forecast.objects.filter(deck=other).update(
        due_on=date(2027, 3, 20), boards_due_on=date(2027, 3, 20)
    )
    Job.objects.filter(deck=unsized).update(
        finished_from=date(2025, 3, 1), finished_on=date(2025, 5, 31)
    )
    page = as_owner.get("/due/2027-03/").content.decode()
    assert "30 m² and 1 without a size" in page
    assert "size not known" in page
    assert "spring 2025" in page
    rows = list(
        csv.DictReader(
            io.StringIO(as_owner.get("/due/2027-03/?format=csv").content.decode("utf-8-sig"))
        )
    )
    assert [(row["coated_on"], row["area_m2"]) for row in rows] == [
        ("2025-06-10", "30.00"),
        ("2025-21", ""),
    ]
    assert as_owner.get("/due/2027-03/?format=pdf").status_code == 200
    assert "without a size" in as_owner.get("/due/2027-04/").content.decode()


def test_an_offer_for_a_deck_without_a_size_is_left_out_with_the_reason(unsized):
    price_list()
    drafted = offer_drafting.draft_offers(deck_ids=[unsized.pk], today=TODAY, now=NOW, by=None)
    assert not drafted.offers
    assert "no area" in str(drafted.left_out[0][1])


def test_the_pages_of_a_deck_without_a_size_ask_for_it(unsized, as_owner):
    edit = f'href="/decks/{unsized.pk}/edit/"'
    page = as_owner.get(f"/decks/{unsized.pk}/").content.decode()
    assert "Size not known." in page
    assert edit in page
    work = as_owner.get(reverse("jobs:scope", args=[unsized.pk])).content.decode()
    assert "Size not known." in work
    assert edit in work
    for address in (
        "/",
        "/decks/",
        f"/clients/{unsized.site.client_id}/",
        f"/jobs/log/?deck={unsized.pk}",
    ):
        assert as_owner.get(address).status_code == 200, address


def test_a_plan_takes_the_usual_size_where_nobody_knows_it(coated, unsized, as_owner):
    CrewFactory()
    for area in ("10", "20", "60"):
        coated(on=LAST_DAY, area_m2=area)
    assert Deck.objects.usual_size().area_m2 == 20.0
    page = as_owner.get(
        reverse("pacing:plan"), {"from": "2027-05-03", "weeks": "12", "percent": "100"}
    ).content.decode()
    assert "The size of 1 deck is not known: planned with 20 m²" in page
    out = io.StringIO()
    call_command("pace", "--from", "2027-05", "--format", "json", stdout=out)
    assert json.loads(out.getvalue()) is not None


def test_the_history_command_writes_days_for_machines(coated, with_words):
    deck = coated(on=LAST_DAY)
    Job.objects.filter(deck=deck).update(
        finished_from=date(2025, 3, 1), finished_on=date(2025, 5, 31)
    )
    CoatApplied.objects.filter(job__deck=deck).update(product=None)
    refresh_forecasts(today=TODAY, now=NOW)
    deck.site.client.save()
    out = io.StringIO()
    call_command("history", deck.site.client.name, "--format", "json", stdout=out)
    (row,) = [row for row in json.loads(out.getvalue()) if row["deck_id"] == deck.pk]
    assert row["finished_on"] == "2025-21"
    assert row["product"] is None
    out = io.StringIO()
    call_command("forecast", deck.pk, "--format", "json", stdout=out)
    assert json.loads(out.getvalue())[0]["coated_on"] == "2025-21"
