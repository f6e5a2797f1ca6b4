"""The owner's source of weather: asked by the worker alone, seldom and about a spot, never about an
address; what it answers is kept, refused or too old."""

import gzip
import json
from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.test import Client as Browser
from freezegun import freeze_time

from clients.models import Business
from jobs.models import Booking, Crew, ExpectedWeather
from jobs.weather_ahead import fetch_expected_weather
from restorer import tasks
from tests.factories import CrewFactory
from tests.jobs.diary_days import MONDAY, NOW, booked
from tests.jobs.told_weather import Answer, WeatherService, running_service, told

pytestmark = pytest.mark.django_db
HOURS = [timedelta(hours=number) for number in range(100)]


@pytest.fixture(autouse=True)
def tern(business: Business) -> Crew:
    return CrewFactory(name="Tern crew", hours_a_day=16)


@pytest.fixture
def service(business: Business, settings: Any) -> Iterator[WeatherService]:
    """The owner's source, on this machine, which is let in like a network of one's own."""
    settings.WEBHOOK_NETWORKS = ["127.0.0.1/32", "::1/128"]
    with running_service() as server:
        server.tells(told(NOW))
        Business.objects.update(weather_source=server.address)
        yield server


def fetch(now: datetime = NOW) -> int:
    return fetch_expected_weather(now=now)


def only_row() -> ExpectedWeather:
    return ExpectedWeather.objects.get()


def test_without_a_source_nobody_is_asked(business: Business) -> None:
    booked(MONDAY)
    assert fetch() == 0
    assert not ExpectedWeather.objects.exists()


def test_the_source_hears_a_spot_a_kilometre_wide_and_who_asks_and_nothing_else(
    service: WeatherService,
) -> None:
    booked(
        MONDAY,
        site__street="7 Plover Row",
        site__client__name="Marlow Pennington",
        site__latitude=44.376543,
        site__longitude=-64.318765,
    )

    assert fetch() == 1

    [(query, heads)] = service.asked
    assert query == {"lat": "44.38", "lon": "-64.32"}
    assert heads["user-agent"] == "deck-care office@example.com"
    # its own name, whose port may hold any digits
    assert heads.pop("host") == f"localhost:{service.server_port}"
    said = json.dumps([query, heads])
    assert not any(word in said for word in ("Plover", "Marlow", "Lunenburg", "376", "318"))


def test_only_where_somebody_works_within_nine_days_and_each_spot_once(
    service: WeatherService,
) -> None:
    booked(MONDAY, "1")
    booked(MONDAY, "1", site__latitude=44.3801, site__longitude=-64.3099)
    booked(MONDAY, "1", site__latitude=45.0)
    booked(NOW.date() + timedelta(days=12), "1", site__latitude=46.0)
    Booking.objects.filter(site__latitude=45.0).update(state="cancelled")

    fetch()

    assert [query["lat"] for query, _ in service.asked] == ["44.38"]


def test_it_is_asked_once_an_hour_and_not_before_its_answer_expires(
    service: WeatherService,
) -> None:
    booked(MONDAY)
    service.tells(told(NOW), Expires="Wed, 02 Jun 2027 18:30:00 GMT")  # three and a half hours on

    told_at = [at for at in HOURS[:5] if fetch(NOW + at)]

    assert told_at == [HOURS[0], HOURS[4]]  # then it expired long ago, and an hour counts
    assert len(service.asked) == 2


@pytest.mark.parametrize("expires", ["0", "never", "Wed, 02 Jun 1999 18:30:00 GMT", ""])
def test_without_a_sensible_end_an_hour_is_waited(service: WeatherService, expires: str) -> None:
    booked(MONDAY)
    service.tells(told(NOW), Expires=expires)
    assert [fetch(NOW), fetch(NOW + HOURS[1] / 2), fetch(NOW + HOURS[1])] == [1, 0, 1]


def test_an_answer_that_says_it_never_expires_is_asked_for_again_after_a_day(
    service: WeatherService,
) -> None:
    booked(MONDAY)
    service.tells(told(NOW), Expires="Fri, 02 Jun 2028 18:30:00 GMT")
    fetch()
    assert only_row().ask_not_before == NOW + timedelta(days=1)


def test_what_has_not_changed_is_not_sent_again(service: WeatherService) -> None:
    booked(MONDAY)
    modified = "Wed, 02 Jun 2027 14:00:00 GMT"
    service.tells(told(NOW), Last_Modified=modified)
    fetch()
    kept = only_row().spells
    service.usual = Answer(status=304)

    assert fetch(NOW + HOURS[2]) == 1

    assert [heads.get("if-modified-since") for _, heads in service.asked] == [None, modified]
    assert only_row().spells == kept
    assert only_row().fetched_at == NOW + HOURS[2]


def test_a_packed_answer_is_unpacked(service: WeatherService) -> None:
    booked(MONDAY)
    packed = gzip.compress(json.dumps(told(NOW)).encode())
    service.usual = Answer(packed, heads={"Content-Encoding": "gzip"})
    assert fetch() == 1
    assert len(only_row().spells) == 90


def bomb() -> bytes:
    return gzip.compress(b" " * 5_000_000)


@pytest.mark.parametrize(
    ("answer", "why"),
    [
        (Answer(status=404), "There is nothing at this address. (404)"),
        (Answer(status=403), "It does not let us in. (403)"),
        (Answer(status=429), "We ask it too often. (429)"),
        (Answer(status=500), "It has no forecast for us. (500)"),
        (Answer(status=304), "told nothing before"),
        (Answer(b"{}"), "no forecast that we can read"),
        (Answer(b" " * 1_100_000), "longer than a forecast can be"),
        (Answer(bomb(), heads={"Content-Encoding": "gzip"}), "longer than a forecast can be"),
        (Answer(b"not packed", heads={"Content-Encoding": "gzip"}), "incorrect header check"),
        (Answer(b"{}", heads={"Content-Encoding": "br"}), "which we did not ask for"),
        (Answer(status=302), "sends us on and on"),
        (Answer(status=302, heads={"Location": "http://169.254.169.254/"}), "no setting may reach"),
        (Answer(status=302, heads={"Location": "http://10.0.0.1/"}), "no setting may reach"),
        (Answer(status=302, heads={"Location": "file:///etc/passwd"}), "unsupported"),
    ],
)
def test_what_brings_nothing_is_said_and_what_was_told_before_stays(
    service: WeatherService, answer: Answer, why: str, as_owner: Browser
) -> None:
    booked(MONDAY)
    if answer.status != 304:
        fetch()
    service.usual = answer

    assert fetch(NOW + HOURS[1]) == 0

    row = only_row()
    assert why in row.why_refused
    assert row.fetched_at == (None if answer.status == 304 else NOW)
    assert row.ask_not_before == NOW + HOURS[2]  # and not at once again
    page = as_owner.get("/settings/backup/").content.decode()
    assert "The weather service told us nothing." in page


def test_plain_http_is_for_a_network_of_ones_own(service: WeatherService, settings: Any) -> None:
    booked(MONDAY)
    settings.WEBHOOK_NETWORKS = []
    assert fetch() == 0
    assert "does not begin with https://" in only_row().why_refused

    Business.objects.update(weather_source="https://localhost/?lat={lat}&lon={lon}")
    fetch()
    assert "no setting may reach" in only_row().why_refused
    assert service.asked == []


def test_one_bad_spot_keeps_no_other_from_its_turn_and_its_trouble_ends(
    service: WeatherService, as_owner: Browser
) -> None:
    booked(MONDAY, "1", site__latitude=44.2)
    booked(MONDAY, "1")
    service.answers["44.20"] = Answer(b"no")

    assert fetch() == 1
    assert "weather service" in as_owner.get("/settings/backup/").content.decode()

    service.answers["44.20"] = Answer(json.dumps(told(NOW, place=(44.2, -64.31))).encode())
    assert fetch(NOW + HOURS[1]) == 2
    assert "weather service" not in as_owner.get("/settings/backup/").content.decode()


def test_where_nothing_is_booked_any_more_nothing_is_kept(service: WeatherService) -> None:
    booked(MONDAY)
    fetch()
    Booking.objects.update(state="done")
    fetch(NOW + HOURS[1])
    assert not ExpectedWeather.objects.exists()


def test_another_source_begins_from_nothing_and_no_source_ends_it(service: WeatherService) -> None:
    booked(MONDAY)
    fetch()
    Business.objects.update(weather_source=f"{service.address}&x=1")
    assert fetch(NOW + HOURS[0] + timedelta(minutes=10)) == 1
    Business.objects.update(weather_source="")
    assert fetch(NOW + HOURS[1]) == 0
    assert not ExpectedWeather.objects.exists()


def test_a_book_that_is_held_asks_nobody(service: WeatherService) -> None:
    booked(MONDAY)
    Business.objects.update(sending_held_at=NOW)
    assert fetch() == 0
    assert service.asked == []


def test_the_worker_asks(service: WeatherService) -> None:
    booked(MONDAY)
    with freeze_time(NOW):
        assert tasks.fetch_weather() == "1 places told"


@pytest.mark.parametrize(
    "values",
    [
        {"latitude": "91"},
        {"longitude": "-181"},
        {"spells": {"not": "a list"}},
        {"spells": []},
        {"fetched_at": None},
    ],
)
def test_the_database_keeps_no_row_that_cannot_be(
    service: WeatherService, values: dict[str, Any]
) -> None:
    booked(MONDAY)
    fetch()
    with pytest.raises(IntegrityError), transaction.atomic():
        ExpectedWeather.objects.update(**values)
    with pytest.raises(IntegrityError), transaction.atomic():
        Business.objects.update(weather_source="https://weather.example.com/")


def test_hours_told_a_day_ago_are_not_shown(service: WeatherService, as_owner: Browser) -> None:
    booked(MONDAY)
    fetch()
    week = f"/diary/?week={MONDAY}"
    with freeze_time(NOW + timedelta(hours=23)):
        assert "Expected: 15 °C" in as_owner.get(week).content.decode()
    with freeze_time(NOW + timedelta(hours=25)):
        assert "Expected:" not in as_owner.get(week).content.decode()
