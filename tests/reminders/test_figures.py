"""The Figures page by what stands in the book: jobs, offers, reminders, hours, decks by month."""

import csv
import io
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.management import call_command
from django.test import Client as Browser
from django.utils.html import strip_tags
from openpyxl import load_workbook

from clients.messaging.models import ToDo
from clients.models import Deck
from jobs.models import Booking, BookingDay, CrewDay, Job, Offer
from reminders.figures import FIGURE_READERS
from reminders.models import CarePlan, Forecast, Reminder
from reminders.pictures import MonthColumn, MonthColumns, month_columns
from tests.factories import (
    ClientFactory,
    CrewFactory,
    JobFactory,
    MessageFactory,
    OfferFactory,
    PropertyFactory,
)
from tests.reminders.conftest import NOW, TODAY, coat, refresh

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def noon(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOW)


def rows_of(browser: Browser, key: str) -> dict[str, dict[str, str]]:
    """The file of a figure, by month."""
    answer = browser.get(f"/figures/{key}.csv")
    assert answer.status_code == 200
    assert answer["Content-Disposition"] == f'attachment; filename="{key}.csv"'
    rows = csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig")))
    return {row["month"]: row for row in rows}


def words(browser: Browser) -> str:
    page = browser.get("/figures/").content.decode().replace("<", " <")
    return " ".join(strip_tags(page).split())


def priced(amount: str | None, on: date, kind: str = "recoat", currency: str = "CAD") -> Job:
    charged = None if amount is None else Decimal(amount)
    return JobFactory(
        kind=kind, finished_on=on, amount=charged, currency="" if amount is None else currency
    )


# Jobs and turnover.


def test_turnover_is_what_was_charged_by_month_and_kind(as_owner, business):
    priced("900.50", date(2026, 6, 1))
    priced("99.50", date(2026, 6, 30), "clean")
    priced("2000", date(2026, 6, 30), "strip")
    priced("700", date(2025, 7, 1))

    rows = rows_of(as_owner, "turnover")

    assert len(rows) == 24
    assert min(rows) == "2024-12"
    assert max(rows) == "2026-11"
    assert rows["2026-06"] == {
        "month": "2026-06",
        "jobs": "3",
        "recoat": "900.50",
        "strip": "2000.00",
        "other": "99.50",
        "turnover": "3000.00",
        "without_price": "0",
    }
    assert rows["2025-07"]["turnover"] == "700.00"
    assert "Year to Nov 2026 $3,000, 3 jobs Year to Nov 2025 $700, 1 job" in words(as_owner)


def test_a_job_without_a_price_is_counted_and_nothing_is_made_up(as_owner, business):
    priced("900", date(2026, 6, 1))
    priced(None, date(2026, 6, 2))
    priced("500", date(2026, 6, 3), currency="USD")

    row = rows_of(as_owner, "turnover")["2026-06"]
    said = words(as_owner)

    assert (row["jobs"], row["turnover"], row["without_price"]) == ("3", "900.00", "1")
    assert "1 job has no price and add nothing." not in said
    assert "1 job has no price and adds nothing." in said
    assert "1 price is in another currency and not added." in said


def test_a_job_of_a_month_counts_in_it_and_one_of_a_year_in_none(as_owner, business):
    JobFactory(finished_from=date(2026, 3, 1), finished_on=date(2026, 3, 31))
    JobFactory(finished_from=date(2026, 1, 1), finished_on=date(2026, 10, 31))

    rows = rows_of(as_owner, "turnover")

    assert rows["2026-03"]["jobs"] == "1"
    assert rows["2026-10"]["jobs"] == "0"
    assert "1 job is left out: only the season or the year is known." in words(as_owner)


# Offers.


def sent_offer(at: datetime, state: str = "open", **offer: Any) -> Offer:
    answered = {"answered_at": at, "accepted_week": date(2027, 5, 3)} if state == "accepted" else {}
    made: Offer = OfferFactory(state=state, sent_at=at, **{**answered, **offer})
    return made


def test_offers_are_counted_in_the_month_they_were_first_sent(as_owner, business):
    september = datetime(2026, 9, 10, 15, tzinfo=UTC)
    sent_offer(september, "accepted")
    sent_offer(september, "declined")
    sent_offer(september, valid_until=TODAY - timedelta(days=1), drafted_on=date(2026, 9, 1))
    sent_offer(september, valid_until=TODAY)
    sent_offer(september, "withdrawn")
    OfferFactory()  # a draft was never sent

    row = rows_of(as_owner, "offers")["2026-09"]

    assert row == {
        "month": "2026-09",
        "sent": "5",
        "won": "1",
        "waiting": "1",
        "expired": "1",
        "declined": "1",
        "withdrawn": "1",
        "amount_sent": "2863.85",
        "amount_won": "572.77",
    }
    assert "1 of 5 won, $573" in words(as_owner)


def test_revisions_of_an_offer_are_one_offer_as_the_newest_stands(as_owner, business):
    first = sent_offer(datetime(2026, 8, 31, 15, tzinfo=UTC), "replaced", number=300)
    newest = sent_offer(
        datetime(2026, 9, 20, 15, tzinfo=UTC),
        "accepted",
        number=300,
        revision=2,
        site=first.site,
        net=Decimal(400),
        tax=Decimal(60),
        total=Decimal(460),
    )

    rows = rows_of(as_owner, "offers")

    assert newest.revision == 2
    assert (rows["2026-08"]["sent"], rows["2026-08"]["amount_won"]) == ("1", "460.00")
    assert rows["2026-09"]["sent"] == "0"


def test_an_offer_sent_late_in_the_evening_counts_by_the_clock_of_the_business(as_owner, business):
    """One in the morning in Greenwich on the first is still the last of the month in Halifax."""
    sent_offer(datetime(2026, 10, 1, 1, tzinfo=UTC))

    rows = rows_of(as_owner, "offers")

    assert (rows["2026-09"]["sent"], rows["2026-10"]["sent"]) == ("1", "0")


# From reminder to work.


SENT_AT = datetime(2026, 3, 10, 15, tzinfo=UTC)


def reminded(*decks: Deck, at: datetime = SENT_AT, step: int = 1) -> None:
    message = MessageFactory(
        client=decks[0].site.client, state="accepted", accepted_at=at, queued_at=at
    )
    for deck in decks:
        Reminder.objects.create(
            deck=deck,
            job=deck.jobs.earliest("finished_on"),
            message=message,
            step=step,
            channel="email",
        )


def booked(deck: Deck, *, made: datetime = SENT_AT + timedelta(days=3), state: str = "booked"):
    booking = Booking.objects.create(
        client=deck.site.client,
        site=deck.site,
        crew=CrewFactory(),
        first_on=date(2026, 5, 12),
        last_on=date(2026, 5, 12),
        hours=Decimal(6),
        state=state,
        created_at=made,
    )
    booking.decks.add(deck)
    return booking


def funnel(browser: Browser, month: str = "2026-03") -> tuple[str, ...]:
    row = rows_of(browser, "reminders")[month]
    return row["reminded"], row["answered"], row["booked"], row["done"]


def test_each_step_from_reminder_to_work_is_counted_once_a_household(as_owner, coated):
    silent, answering, booking, working, cancelled = (coated() for _ in range(5))
    place = PropertyFactory(client=ClientFactory())
    both = [coated(site=place), coated(site=place)]
    for deck in (silent, answering, booking, working, cancelled):
        reminded(deck)
    reminded(*both)
    reminded(silent, at=SENT_AT + timedelta(days=30), step=2)  # the second word is no new one
    ToDo.objects.create(
        kind="answer",
        key="a",
        client=answering.site.client,
        words="Please call me.",
        made_at=SENT_AT + timedelta(days=2),
    )
    booked(booking)
    booked(cancelled, state="cancelled")
    coat(working, on=date(2026, 5, 20))
    for deck in both:
        coat(deck, on=date(2026, 5, 20))

    assert funnel(as_owner) == ("6", "4", "3", "2")
    assert funnel(as_owner, "2026-04") == ("0", "0", "0", "0")
    assert "6 reminded, 4 answered, 3 booked, 2 done" in words(as_owner)


def test_what_came_before_the_reminder_or_long_after_is_not_put_down_to_it(as_owner, coated):
    before = coated(on=date(2024, 6, 10))
    after = coated(on=date(2024, 6, 10))
    for deck in (before, after):
        reminded(deck, at=datetime(2025, 3, 10, 15, tzinfo=UTC))
    booked(before, made=datetime(2025, 3, 9, 15, tzinfo=UTC))
    coat(after, on=date(2026, 3, 12))  # a year and two days

    assert funnel(as_owner, "2025-03") == ("2", "0", "0", "0")


def test_a_reminder_that_was_not_sent_is_not_in_the_figures(as_owner, coated):
    deck = coated()
    reminded(deck)
    Reminder.objects.get().message.__class__.objects.update(state="bounced")

    assert funnel(as_owner) == ("0", "0", "0", "0")


# Hours.


def booked_day(hours: str, on: date, *, state: str = "booked", crew_hours: str = "16") -> None:
    crew = CrewFactory(hours_a_day=Decimal(crew_hours))
    day = CrewDay.objects.create(
        crew=crew, day=on, hours_open=Decimal(crew_hours), hours_booked=Decimal(hours)
    )
    site = PropertyFactory()
    booking = Booking.objects.create(
        client=site.client,
        site=site,
        crew=crew,
        first_on=on,
        last_on=on,
        hours=Decimal(hours),
        state=state,
    )
    BookingDay.objects.create(booking=booking, crew_day=day, hours=Decimal(hours))


def test_hours_sold_stand_against_the_hours_of_the_crews(as_owner, business):
    booked_day("6", date(2026, 6, 3), state="done")
    booked_day("5", date(2027, 6, 2))
    sent_offer(
        datetime(2026, 11, 1, 15, tzinfo=UTC),
        "accepted",
        hours=Decimal("6.50"),
        accepted_week=date(2027, 6, 7),
    )

    rows = rows_of(as_owner, "hours")

    assert min(rows) == "2025-11"
    assert max(rows) == "2027-10"
    assert (rows["2026-06"]["done"], rows["2026-06"]["sold"]) == ("6.00", "6.00")
    june = rows["2027-06"]
    assert (june["booked"], june["without_day"], june["sold"]) == ("5.00", "6.50", "11.50")
    # by hand: two crews of 16 h on the 22 weekdays of June 2027, of which none is a holiday in Nova
    # Scotia; in January nobody goes out (season May to October)
    assert june["crew_hours"] == "704.00"
    assert rows["2027-01"]["crew_hours"] == "0"


def test_hours_of_a_crew_that_no_longer_goes_out_still_count(as_owner, business):
    booked_day("6", date(2026, 6, 3), state="done")
    CrewDay.objects.get().crew.__class__.objects.update(is_active=False)

    row = rows_of(as_owner, "hours")["2026-06"]

    assert (row["sold"], row["crew_hours"]) == ("6.00", "16.00")


# Decks.


def test_decks_that_come_back_are_kept_up_and_those_that_go_late_are_lost(as_owner, coated):
    coated(on=date(2026, 5, 10))  # new
    kept = coated(on=date(2025, 5, 10))  # new a year before
    coat(kept, on=date(2026, 6, 10))
    refresh(kept)
    late = coated(on=date(2023, 5, 10))
    Forecast.objects.filter(deck=late).update(
        window_opens_on=date(2026, 1, 5),
        due_on=date(2026, 4, 5),
        boards_due_on=date(2026, 4, 5),
        half_worn_on=date(2026, 4, 5),
        late_on=date(2026, 7, 5),
    )
    gone = coated(on=date(2023, 5, 10))
    Deck.objects.filter(pk=gone.pk).update(archived_at=datetime(2026, 8, 1, 1, tzinfo=UTC))

    rows = rows_of(as_owner, "decks")

    def counted(month: str) -> tuple[str, ...]:
        row = rows[month]
        return row["new"], row["kept"], row["late"], row["archived"]

    assert counted("2025-05") == ("1", "0", "0", "0")
    assert counted("2026-05") == ("1", "0", "0", "0")
    assert counted("2026-06") == ("0", "1", "0", "0")
    assert counted("2026-07") == ("0", "0", "1", "1")  # archived on the evening of the 31st
    assert counted("2026-08") == ("0", "0", "0", "0")


def test_a_late_deck_with_work_booked_is_not_lost(as_owner, coated):
    deck = coated(on=date(2023, 5, 10))
    Forecast.objects.filter(deck=deck).update(
        window_opens_on=date(2026, 1, 5),
        due_on=date(2026, 4, 5),
        boards_due_on=date(2026, 4, 5),
        half_worn_on=date(2026, 4, 5),
        late_on=date(2026, 7, 5),
    )
    booked(deck)

    assert rows_of(as_owner, "decks")["2026-07"]["late"] == "0"


# The page.


def test_the_page_asks_as_many_questions_for_three_decks_as_for_one(
    as_owner, coated, django_assert_max_num_queries, django_assert_num_queries
):
    deck = coated()
    reminded(deck)
    booked(deck)
    as_owner.get("/figures/")
    with django_assert_max_num_queries(60) as one:
        as_owner.get("/figures/")
    for _ in range(3):
        other = coated()
        reminded(other)
        booked(other)
        coat(other, on=date(2026, 5, 20))
        refresh(other)

    with django_assert_num_queries(len(one.captured_queries)):
        as_owner.get("/figures/")


def test_every_figure_has_a_title_a_picture_a_table_and_a_file(as_owner, coated):
    deck = coated(on=date(2025, 6, 10))
    CarePlan.objects.create(
        site=deck.site,
        starts_on=TODAY,
        price=100,
        currency="CAD",
        wording="As agreed.",
        evidence="on paper",
    )
    reminded(deck)
    sent_offer(datetime(2026, 9, 10, 15, tzinfo=UTC))
    booked_day("6", date(2026, 6, 3))
    priced("100", date(2026, 6, 3))

    page = as_owner.get("/figures/").content.decode()

    for key in FIGURE_READERS:
        assert f'<h2 id="{key}">' in page
        assert f'aria-describedby="{key}-words"' in page
        assert page.count(f'id="{key}-words"') == 1
        assert f'id="{key}-table"' in page
        assert f'href="/figures/{key}.csv"' in page
    assert " style=" not in page
    assert page.count("<h1>") == 1


def test_an_empty_book_says_so_for_each_figure(as_owner, business):
    assert words(as_owner).count("Nothing to show yet.") == len(FIGURE_READERS)


def test_there_is_no_file_of_a_figure_that_is_not_there(as_owner, business):
    assert as_owner.get("/figures/profit.csv").status_code == 404
    assert as_owner.get("/figures/turnover.exe").status_code == 404


def test_a_figure_comes_as_a_workbook_too(as_owner, business):
    priced("900.50", date(2026, 6, 1))

    answer = as_owner.get("/figures/turnover.xlsx")

    sheet = load_workbook(io.BytesIO(answer.content)).active
    rows = {row[0]: row for row in sheet.iter_rows(values_only=True)}
    assert rows["month"][1:3] == ("jobs", "recoat")
    assert rows["2026-06"][1:3] == (1, 900.5)


def test_the_command_prints_the_rows_of_the_page(as_owner, business, capsys):
    priced("900", date(2026, 6, 1))
    priced(None, date(2026, 6, 2))

    call_command("figures", "turnover", format="csv")
    printed = capsys.readouterr()

    body = as_owner.get("/figures/turnover.csv").content.decode("utf-8-sig")
    assert printed.out.splitlines() == body.splitlines()
    assert "1 job has no price and adds nothing." in printed.err


# The picture.


def test_columns_stand_on_each_other_and_reach_to_their_scale():
    months = [
        MonthColumn(date(2026, 12, 1), {"a": 3, "b": 1}, ceiling=8),
        MonthColumn(date(2027, 1, 1), {"a": 0, "b": 2}, ceiling=8),
    ]

    picture = month_columns(months, ceiling_name="room")

    assert [value for _, value in picture.levels] == [0, 2, 4, 6, 8]
    lower, upper = picture.columns[0].parts
    assert lower.y + lower.height == MonthColumns.BOTTOM
    assert upper.y + upper.height == pytest.approx(lower.y)
    assert picture.columns[0].ceiling_y == MonthColumns.TOP
    assert [shade for shade, _ in picture.shapes] == ["shade-0", "shade-1"]
    assert [outline.count("M") for _, outline in picture.shapes] == [1, 2]
    assert picture.ceilings.count("M") == 2
    assert picture.spans == ""
    assert [part.shade for part in picture.columns[1].parts] == ["shade-1"]
    assert [column.starts_year for column in picture.columns] == [False, True]


def test_a_picture_of_nothing_has_a_scale_still():
    picture = month_columns([MonthColumn(date(2027, 1, 1), {"a": 0})])

    assert [value for _, value in picture.levels] == [0, 1]
    assert picture.columns[0].parts == []
