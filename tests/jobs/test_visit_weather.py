"""What the expected weather means for a coat that is booked, on the pages where a day is planned
and done: the rules of the checklist, asked of each working hour."""

import json
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext
from freezegun import freeze_time

from clients.display import override_business
from clients.messaging.models import Message
from clients.models import Business, Property, User
from jobs.models import Booking, Crew, Product, weather_position
from jobs.scope.visit_weather import coating_doubts
from jobs.weather_ahead import ExpectedDays, fetch_expected_weather, read_forecast
from jobs.weather_ahead.expected_days import ToldSpot
from restorer import tasks
from tests.clients.test_settings_pages import filled
from tests.confirm_page import posted_again
from tests.factories import CoatFactory, CrewFactory, DeckFactory, EmailFactory
from tests.jobs.diary_days import MONDAY, NOW, TUESDAY, booked, text
from tests.jobs.told_weather import (
    LUNENBURG,
    WeatherService,
    rain_from,
    running_service,
    told,
)

HALIFAX = ZoneInfo("America/Halifax")
EARLY = datetime(2027, 6, 7, 9, tzinfo=UTC)  # six in the morning of that Monday
SITE = Property(latitude=LUNENBURG[0], longitude=LUNENBURG[1], time_zone="America/Halifax")
GUARD = Product(name="Tidewood Clear Guard", kind="finish", minimum_c=Decimal(10), maximum_c=30)


def local(hour: int, day: int = 7) -> datetime:
    return datetime(2027, 6, day, hour, tzinfo=HALIFAX)


def doubts(*finishes: Product, day: date = MONDAY, **weather: Any) -> list[str]:
    latitude, longitude = LUNENBURG
    content = json.dumps(told(EARLY, **weather)).encode()
    spells = read_forecast(content, latitude=latitude, longitude=longitude, now=EARLY)
    spots = {weather_position(SITE): ToldSpot(spells, "https://weather.example.com/", EARLY)}
    with override_business(Business(locale="en-CA", units="metric")):
        found = coating_doubts(finishes or [GUARD], ExpectedDays(spots, EARLY), SITE, day)
    return [each.words.replace("\u202f", " ") for each in found]


def test_a_fine_day_is_in_no_doubt() -> None:
    assert doubts() == []


def test_rain_before_the_coat_may_be_walked_on_is_a_doubt() -> None:
    assert doubts(rain=rain_from(local(16))) == [
        "Rain: expected at 4:00 p.m.; Tidewood Clear Guard wants 24 hours without."
    ]


def test_rain_of_the_next_day_is_said_with_its_day() -> None:
    assert doubts(rain=rain_from(local(6, day=8))) == [
        "Rain: expected Tue, Jun 8, 6:00 a.m.; Tidewood Clear Guard wants 24 hours without."
    ]


def test_a_product_that_sets_sooner_may_still_go_before_the_rain() -> None:
    quick = Product(name="Tern Quick Oil", kind="finish", minimum_c=5, maximum_c=30, walk_hours=6)
    rain = rain_from(local(16))

    assert doubts(quick, rain=rain) == []  # from seven or eight to three or later are six hours
    assert len(doubts(quick, GUARD, rain=rain)) == 1  # the stricter of two counts


def test_after_rain_the_wood_dries_first() -> None:
    """Two hours are the least that wet wood takes in the house's own drying times (common practice,
    no source)."""
    assert doubts(rain=rain_from(local(3), hours=13)) == []  # it ends at four: from six on
    late = doubts(rain=rain_from(local(3), hours=15))  # it ends at six: not before eight
    assert late == ["Rain: expected at 7:00 a.m.; Tidewood Clear Guard wants 24 hours without."]


def test_cold_heat_a_cold_night_and_dew_are_said_by_the_hour_that_comes_nearest() -> None:
    by_hour = {hour: 4.0 + hour / 4 for hour in range(24)}  # 8.5 °C at six in the evening
    cold = doubts(air=lambda at: by_hour[at.astimezone(HALIFAX).hour])
    assert cold == [
        "Temperature: 8.5 °C; Tidewood Clear Guard wants 10 to 30 °C.",
        "The night after: 4 °C forecast; Tidewood Clear Guard wants 10 °C or more for 24 hours.",
    ]
    assert doubts(air=lambda at: 33.0) == [
        "Temperature: 33 °C; Tidewood Clear Guard wants 10 to 30 °C."
    ]
    # Magnus (WMO-No. 8): at 15 °C and 96 % the dew point is 14.4 °C
    assert doubts(humidity=96.0) == [
        "Dew: 0.6 °C above 14.4 °C; Tidewood Clear Guard wants boards 3 °C above it."
    ]


def test_a_solvent_borne_finish_minds_no_cold_night() -> None:
    def air(at: datetime) -> float:
        return 15.0 if 7 <= at.astimezone(HALIFAX).hour < 19 else 2.0

    oil = Product(name="Kelp Oil", kind="finish", base="solvent", minimum_c=5, maximum_c=30)
    assert doubts(oil, air=air) == []
    assert doubts(air=air)[0].startswith("The night after: 2 °C forecast")


def test_nobody_is_warned_of_what_the_source_does_not_see() -> None:
    """The last day it tells of: the day after it is not known to be dry, nor to be wet."""
    last = (EARLY + timedelta(hours=60 + 180)).date()
    assert doubts(day=last - timedelta(days=1)) == []


# --- on the pages


@pytest.fixture
def _clock() -> Iterator[None]:
    with freeze_time(NOW):
        yield


@pytest.fixture
def tern(owner: User) -> Crew:
    return CrewFactory(name="Tern crew", hours_a_day=16)


@pytest.fixture
def service(settings: Any) -> Iterator[WeatherService]:
    settings.WEBHOOK_NETWORKS = ["127.0.0.1/32", "::1/128"]
    with running_service() as server:
        server.tells(told(NOW, hourly=150, rain=rain_from(local(16))))
        yield server


def visit(name: str, day: date = MONDAY, **deck: Any) -> Booking:
    made = DeckFactory(site__client__name=name, **deck)
    EmailFactory(client=made.site.client)
    CoatFactory(
        job__deck=made,
        job__finished_on=date(2025, 6, 1),
        product__name=f"Tidewood Clear Guard {name}",
    )
    return booked(day, "3", decks=[made])


@pytest.mark.django_db
@pytest.mark.usefixtures("_clock")
def test_from_the_address_to_the_held_booking(
    as_owner: Browser, business: Business, tern: Crew, service: WeatherService
) -> None:
    booking = visit("Marlow")
    as_owner.post("/settings/business/", filled(business, weather_source=service.address))
    business.refresh_from_db()
    assert business.weather_source == service.address
    assert "Expected: " not in text(as_owner.get(f"/diary/?week={MONDAY}"))

    tasks.fetch_weather()

    week = text(as_owner.get(f"/diary/?week={MONDAY}"))
    assert "Expected: 15 °C, dry until 4:00 p.m., then 3 mm of rain" in week.replace("\u202f", " ")
    assert "Coat in doubt</span> Rain</span>" in week
    assert "Data from localhost, put into words by us · as of Wed, Jun 2" in week
    page = text(as_owner.get(f"/diary/{booking.pk}/")).replace("\u202f", " ")
    reason = "Rain: expected at 4:00 p.m.; Tidewood Clear Guard Marlow wants 24 hours without."
    assert reason in page
    assert "<details open> <summary>Hold for the weather</summary>" in page
    assert reason in text(as_owner.get(f"/jobs/scope/{booking.decks.get().pk}/")).replace(
        "\u202f", " "
    )
    before = Message.objects.count()

    asked = as_owner.post(
        f"/diary/{booking.pk}/hold/", {"why": "Rain on Monday.", "notify_client": "on"}
    )
    assert Message.objects.count() == before  # nothing is told before somebody confirms
    as_owner.post(f"/diary/{booking.pk}/hold/", posted_again(asked))

    booking.refresh_from_db()
    assert booking.state == "held"


@pytest.mark.django_db
@pytest.mark.usefixtures("_clock")
def test_the_crews_day_carries_it_with_its_age(
    as_user: Callable[[User], Browser], crew: User, tern: Crew, service: WeatherService
) -> None:
    tern.people.add(crew)
    visit("Marlow", TUESDAY)
    visit("Nerys", MONDAY)
    Business.objects.update(weather_source=service.address)
    fetch_expected_weather(now=NOW)

    on_site = as_user(crew)
    wet = text(on_site.get(f"/?round={MONDAY}")).replace("\u202f", " ")
    fine = text(on_site.get(f"/?round={TUESDAY}"))

    assert "Expected: 15 °C, dry until 4:00 p.m." in wet
    assert "Coat in doubt" in wet
    assert "as of Wed, Jun 2, 12:00 p.m." in wet
    assert "The data sheet and a look at the sky come first." in wet
    assert "Expected: 15 °C, dry;" in fine
    assert "Coat in doubt" not in fine


@pytest.mark.django_db
def test_where_a_job_is_logged_the_expected_air_stands_beside_the_field_and_not_in_it(
    as_owner: Browser, tern: Crew, service: WeatherService
) -> None:
    with freeze_time(NOW):
        booking = visit("Marlow")
        Business.objects.update(weather_source=service.address)
    log = f"/jobs/log/?deck={booking.decks.get().pk}&booking={booking.pk}"
    with freeze_time(local(14)):
        service.tells(told(local(14), air=lambda at: 14.3, humidity=61.7))
        fetch_expected_weather(now=local(14))
        page = as_owner.get(log)

    words = "Expected for Mon, Jun 7, 2:00 p.m.: 14.3 °C and 62 % humidity. Write down what it was."
    assert words in text(page).replace("\u202f", " ")
    assert page.context["page"].job["air_c"].value() is None
    assert page.context["page"].job["humidity_percent"].value() is None


@pytest.mark.django_db
@pytest.mark.usefixtures("_clock")
def test_of_a_visit_of_two_days_the_coat_is_on_the_last(
    as_owner: Browser, tern: Crew, service: WeatherService
) -> None:
    made = DeckFactory()
    CoatFactory(job__deck=made, job__finished_on=date(2025, 6, 1))
    booking = booked(MONDAY, "30", decks=[made])
    assert (booking.first_on, booking.last_on) == (MONDAY, TUESDAY)
    Business.objects.update(weather_source=service.address)
    fetch_expected_weather(now=NOW)

    page = text(as_owner.get(f"/diary/{booking.pk}/"))

    assert page.count("Expected:") == 2  # it rains on the first
    assert "Coat in doubt" not in page


@pytest.mark.django_db
@pytest.mark.usefixtures("_clock")
def test_a_week_with_weather_takes_as_many_queries_for_many_as_for_one(
    as_owner: Browser, tern: Crew, service: WeatherService
) -> None:
    def asked() -> int:
        with CaptureQueriesContext(connection) as captured:
            assert "Coat in doubt" in text(as_owner.get(f"/diary/?week={MONDAY}"))
        return len(captured)

    Business.objects.update(weather_source=service.address)
    visit("Marlow")
    fetch_expected_weather(now=NOW)
    asked()  # plans are kept once a connection
    one = asked()
    for name in ("Nerys", "Ansel", "Ottilie"):
        visit(name)

    # 24 without weather; the weather, the bookings again with what is agreed, and their scopes
    assert asked() == one <= 40


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("address", "why"),
    [
        ("https://weather.example.com/", "{lat} and {lon} once each"),
        ("https://weather.example.com/?lat={lat}", "{lat} and {lon} once each"),
        ("https://weather.example.com/{lat}/{lat}/{lon}", "{lat} and {lon} once each"),
        ("http://weather.example.com/?lat={lat}&lon={lon}", "begins with https://"),
        ("ftp://weather.example.com/?lat={lat}&lon={lon}", "begins with https://"),
        ("weather {lat} {lon}", "begins with https://"),
        ("https://a:b@weather.example.com/?lat={lat}&lon={lon}", "Leave out the name"),
        ("https://{lat}.example.com/{lon}", "name of the machine"),
        ("https://[{lat}/{lon}", "begins with https://"),
    ],
)
def test_an_address_that_cannot_be_is_named(
    as_owner: Browser, business: Business, address: str, why: str
) -> None:
    answer = as_owner.post("/settings/business/", filled(business, weather_source=address))
    assert why in answer.context["form"].errors["weather_source"][0]


def test_met_norway_is_named_with_its_licence() -> None:
    """Its licensing and data policy: “Data from MET Norway”, and CC BY 4.0 wants a link and word of
    changes."""
    source = "https://api.met.no/weatherapi/locationforecast/2.0/compact?lat={lat}&lon={lon}"
    spots = {weather_position(SITE): ToldSpot([], source, NOW)}
    credit = ExpectedDays(spots, NOW).credit
    assert credit is not None
    assert credit.words == "Data from MET Norway, put into words by us"
    assert credit.licence == ("https://creativecommons.org/licenses/by/4.0/", "CC BY 4.0")
    lookalike = ToldSpot([], "https://met.no.example.com/?{lat}{lon}", NOW)
    seen = ExpectedDays({weather_position(SITE): lookalike}, NOW).credit
    assert seen is not None
    assert seen.licence is None
