"""The due list of a month: on screen, on paper, as CSV and by command."""

import csv
import io
import json
import re
from datetime import date
from decimal import Decimal

import pytest
from django.core.management import CommandError, call_command
from freezegun import freeze_time
from pypdf import PdfReader

from clients.models import Client, Deck
from jobs.models import Job
from reminders.due import due_list
from reminders.models import Forecast
from reminders.months import MonthError, parse_month
from tests.factories import (
    ClientFactory,
    ConsentFactory,
    EmailFactory,
    PhoneFactory,
    PropertyFactory,
)
from tests.reminders.conftest import NOW, TODAY

pytestmark = pytest.mark.usefixtures("the_day")
MARCH = date(2027, 3, 1)


@pytest.fixture
def the_day():
    with freeze_time(NOW):
        yield


@pytest.fixture
def due_in(coated):
    """A deck whose stored due date is moved to a day."""

    def make(day, **deck):
        made = coated(**deck)
        Forecast.objects.filter(deck=made).update(
            window_opens_on=day, half_worn_on=day, due_on=day, boards_due_on=day, late_on=day
        )
        return made

    return make


def text(response):
    assert response.status_code == 200
    return response.content.decode()


def test_a_month_shows_what_is_due_in_it_by_town_with_subtotals(due_in, as_owner):
    here = PropertyFactory(town="Lunenburg", client=client_who_agreed())
    there = PropertyFactory(town="Chester", client=client_who_agreed())
    due_in(date(2027, 3, 1), site=here, area_m2="20")
    due_in(date(2027, 3, 31), site=here, area_m2="30.5")
    due_in(date(2027, 3, 15), site=there, area_m2="12")
    due_in(date(2027, 4, 1), site=there, area_m2="99")

    page = text(as_owner.get("/due/2027-03/"))

    assert "Due in March 2027" in page
    assert "3 decks, 62.5 m²" in page
    assert page.index("Chester") < page.index("Lunenburg")
    assert "2 decks, 50.5 m²" in page
    assert "99 m²" not in page


def client_who_agreed(**fields) -> Client:
    client = ClientFactory(**fields)
    EmailFactory(client=client)
    ConsentFactory(client=client)
    return client


def test_inside_a_town_large_and_late_decks_come_first(due_in):
    client = client_who_agreed()
    place = PropertyFactory(client=client)
    small = due_in(date(2027, 2, 1), site=place, area_m2="10")
    large = due_in(date(2027, 2, 1), site=place, area_m2="40")
    overdue = due_in(date(2025, 2, 1), site=place, area_m2="12")

    rows = due_list.due_decks(due_list.carried_over(MARCH), today=TODAY, on=MARCH)

    assert [row.deck_id for row in rows] == [large.pk, overdue.pk, small.pk]


def test_what_became_due_earlier_stands_apart_until_a_coat_goes_on(due_in, as_owner):
    old = due_in(date(2026, 10, 3), label="Landing")
    due_in(date(2027, 3, 5), label="Sun deck")

    page = text(as_owner.get("/due/2027-03/"))

    assert (
        page.index("Sun deck") < page.index("Still open from earlier</h2>".split("<")[0])
        or "Landing" in page
    )
    assert "1 more still open from earlier" in page
    assert [
        row.deck_id
        for row in due_list.due_decks(due_list.carried_over(MARCH), today=TODAY, on=MARCH)
    ] == [old.pk]


def test_a_line_tells_the_coat_the_window_and_the_reasons_in_words(due_in, as_owner):
    deck = due_in(date(2027, 3, 5))
    Forecast.objects.filter(deck=deck).update(
        contributions={"shade": -2.0, "roof": 3.1, "pool": -0.2}
    )

    page = text(as_owner.get("/due/2027-03/"))

    assert "Tidewood Deck Oil" in page
    assert "Driftwood" in page
    assert "part under a roof +3 months, shade −2 months" in page
    assert "pool water" not in page
    assert "Window opens" in page


def test_who_cannot_be_reminded_has_no_box_but_the_reason(due_in, as_owner):
    silent = ClientFactory(name="Quentin Lowmarsh")
    EmailFactory(client=silent)
    ConsentFactory(client=silent, is_given=False)
    deck = due_in(date(2027, 3, 5), client=silent)

    page = text(as_owner.get("/due/2027-03/"))

    assert "The client withdrew consent." in page
    assert f'value="{deck.pk}"' not in page


def test_archived_decks_are_on_no_list(due_in, as_owner):
    deck = due_in(date(2027, 3, 5), label="Old landing")
    Deck.objects.filter(pk=deck.pk).update(archived_at=NOW)

    assert "Old landing" not in text(as_owner.get("/due/2027-03/"))


def test_the_strip_counts_twelve_months_from_this_one(due_in, as_owner):
    due_in(date(2027, 3, 5))
    due_in(date(2027, 3, 8))
    due_in(date(2027, 10, 31))
    due_in(date(2027, 11, 1))

    picture = due_list.due_month_strip(MARCH, today=TODAY)

    assert [bar.month for bar in picture.bars] == [date(2026, 11, 1), date(2026, 12, 1)] + [
        date(2027, month, 1) for month in range(1, 11)
    ]
    assert {bar.month.month: bar.count for bar in picture.bars if bar.count} == {3: 2, 10: 1}
    assert "March 2027: 2 decks due" in text(as_owner.get("/due/2027-03/"))


def test_an_empty_month_says_so(business, as_owner):
    assert "Nothing becomes due in March 2027" in text(as_owner.get("/due/2027-03/"))


def test_the_present_month_is_the_business_own(due_in, as_owner):
    with freeze_time("2026-12-01 02:00:00"):  # still November in Halifax
        assert "Due in November 2026" in text(as_owner.get("/due/"))


@pytest.mark.parametrize(
    "month", ["2027-13", "2027-0", "27-03", "march", "1900-01", "9999-12", "2027-03-01"]
)
def test_no_month_is_a_page_not_found(month, as_owner):
    assert as_owner.get(f"/due/{month}/").status_code == 404


@pytest.mark.parametrize("month", ["2027-13", "", "soon", "2027-3-1", "٢٠٢٧-٠٣"])
def test_a_bad_month_is_told_plainly(month):
    with pytest.raises(MonthError, match="such as 2027-03"):
        parse_month(month)


def test_the_crew_does_not_see_the_due_list(crew, as_user):
    assert as_user(crew).get("/due/").status_code == 403


def test_a_long_list_is_cut_into_pages_with_whole_subtotals(due_in, as_owner, monkeypatch):
    monkeypatch.setattr(due_list, "PAGE_SIZE", 3)
    place = PropertyFactory(client=client_who_agreed())
    for _ in range(5):
        due_in(date(2027, 3, 9), site=place, area_m2="10")

    first, second = (text(as_owner.get(f"/due/2027-03/?page={number}")) for number in (1, 2))

    assert first.count('name="deck"') == 3
    assert second.count('name="deck"') == 2
    assert "5 decks, 50 m²" in second


def test_all_on_the_page_can_be_chosen_without_scripts(due_in, as_owner):
    due_in(date(2027, 3, 9))

    assert " checked" not in text(as_owner.get("/due/2027-03/"))
    assert text(as_owner.get("/due/2027-03/?chosen=all")).count(" checked") == 1


def test_the_page_asks_the_same_number_of_questions_for_many_decks(
    due_in, as_owner, django_assert_max_num_queries
):
    for _ in range(12):
        due_in(date(2027, 3, 9))
        due_in(date(2026, 3, 9))

    with django_assert_max_num_queries(58):
        text(as_owner.get("/due/2027-03/"))


def test_the_list_on_paper_holds_every_line(due_in, as_owner):
    for label in ("Back deck", "Landing"):
        due_in(date(2027, 3, 9), label=label)
    Job.objects.update(amount=Decimal(1250), currency="CAD")
    for client in Client.objects.all():
        PhoneFactory(client=client, value="902-555-0142")

    answer = as_owner.get("/due/2027-03/?format=pdf")

    assert answer["Content-Type"] == "application/pdf"
    pages = PdfReader(io.BytesIO(answer.content)).pages
    words = " ".join(page.extract_text() for page in pages)
    assert len(pages) == 1
    assert "Due in March 2027" in words
    assert "Back deck" in words
    assert "Landing" in words
    assert words.count("(902) 555-0142") == 2
    assert words.count("$1,250.00") == 2
    assert pages[0].mediabox.width == pytest.approx(
        612, abs=1
    )  # Letter, 8.5 in at 72 points: a Canadian printer


def test_what_is_still_open_from_earlier_is_printed_as_a_list_of_its_own(due_in, as_owner):
    due_in(date(2027, 3, 9), label="Back deck")
    due_in(date(2026, 10, 9), label="Sun deck")

    page = text(as_owner.get("/due/2027-03/?earlier=1"))
    assert "/due/2027-03/?earlier=1&amp;format=pdf" in page
    answer = as_owner.get("/due/2027-03/?earlier=1&format=pdf")

    assert "open-before-2027-03.pdf" in answer["Content-Disposition"]
    words = paper_words(answer)
    assert "Still open from before March 2027" in words
    assert "Sun deck" in words
    assert "Back deck" not in words


def test_a_window_on_paper_is_one_line_and_what_is_cut_off_is_said(due_in, as_owner, monkeypatch):
    for label in ("Back deck", "Landing"):
        due_in(date(2027, 3, 9), label=label)
    whole = as_owner.get("/due/2027-03/?format=pdf")
    lines = PdfReader(io.BytesIO(whole.content)).pages[0].extract_text().splitlines()
    assert sum(bool(re.search(r"\w+ 20\d\d to \w+ 20\d\d", line)) for line in lines) == 2
    assert "are printed" not in paper_words(whole)

    monkeypatch.setattr(due_list, "MAX_PRINTED", 1)
    cut = paper_words(as_owner.get("/due/2027-03/?format=pdf"))
    assert "Only the first 1 are printed; the CSV holds all." in cut
    assert "2 decks" in cut


def paper_words(answer):
    pages = PdfReader(io.BytesIO(answer.content)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


def test_elsewhere_the_paper_is_a4(due_in, business, as_owner):
    type(business).objects.update(country="NZ")

    answer = as_owner.get("/due/2027-03/?format=pdf")

    assert PdfReader(io.BytesIO(answer.content)).pages[0].mediabox.width == pytest.approx(
        595.3, abs=1
    )  # ISO 216


def test_the_csv_has_the_documented_columns(due_in, as_owner):
    client = client_who_agreed(name="=SUM(A1)")
    deck = due_in(date(2027, 3, 9), client=client)

    answer = as_owner.get("/due/2027-03/?format=csv")

    rows = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert list(rows[0]) == due_list.COLUMNS
    assert rows[0]["deck_id"] == str(deck.pk)
    assert rows[0]["due_on"] == "2027-03-09"
    assert rows[0]["client"] == "'=SUM(A1)"  # a spreadsheet must not run it


def run(*args):
    out = io.StringIO()
    call_command(*args, stdout=out)
    return out.getvalue()


def test_the_command_lists_the_month_and_what_is_still_open(due_in):
    now = due_in(date(2027, 3, 9))
    earlier = due_in(date(2026, 10, 9))

    rows = json.loads(run("due", "2027-03", "--format", "json"))

    assert [(row["deck_id"], row["carried_over"]) for row in rows] == [
        (now.pk, False),
        (earlier.pk, True),
    ]
    assert list(rows[0]) == due_list.COLUMNS
    assert len(json.loads(run("due", "2027-03", "--only-this-month", "--format", "json"))) == 1


def test_the_command_tells_a_bad_month_plainly(business):
    with pytest.raises(CommandError, match="“2027-3x” is not a month"):
        call_command("due", "2027-3x")


def test_a_forecast_explains_itself_from_the_reference_deck(coated):
    deck = coated(traffic="heavy", roof_percent=50)

    row = json.loads(run("forecast", str(deck.pk), "--format", "json"))[0]
    why = json.loads(run("forecast", str(deck.pk), "--explain", "--format", "json"))

    assert row["due_on"] == deck.forecast.due_on.isoformat()
    assert why[0] == {"factor": "reference", "words": "the reference deck", "months": 16.0}
    assert {"roof", "traffic"} <= {line["factor"] for line in why}
    assert why[-1]["months"] == pytest.approx(sum(line["months"] for line in why[:-1]), abs=0.11)


def test_a_deck_without_forecast_is_told_from_no_deck(coated):
    deck = coated()
    Forecast.objects.all().delete()

    with pytest.raises(CommandError, match="has no forecast"):
        call_command("forecast", str(deck.pk))
    with pytest.raises(CommandError, match="There is no deck 999999"):
        call_command("forecast", "999999")


def test_refreshing_all_says_how_many(coated):
    coated()
    Forecast.objects.all().delete()

    rows = json.loads(run("refresh_forecasts", "--format", "json"))

    assert rows[0]["forecasts"] == 1
    assert rows[0]["today"] == "2026-11-25"
    assert Forecast.objects.count() == 1


@pytest.mark.parametrize(
    ("asked", "answer"),
    [("2029-11", (302, "/due/2029-11/")), ("2029-13", (404, "")), ("soon", (404, ""))],
)
def test_any_month_is_one_choice_away(as_owner, asked, answer):
    found = as_owner.get("/due/", {"month": asked})
    assert (found.status_code, found.get("Location", "")) == answer


def test_the_month_that_is_shown_is_the_one_chosen_however_far_off(as_owner):
    page = as_owner.get("/due/2049-11/").content.decode()
    assert '<option value="2049-11" selected>November 2049</option>' in page
    assert page.count("<option value=") == 24 + 1 + 36 + 1
