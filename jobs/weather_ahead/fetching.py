"""The worker asks the owner's source for each spot where work is booked: seldom, and one spot that
fails keeps no other from its turn."""

import logging
import time
from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction

from clients.models import Business
from jobs.models import Booking, ExpectedWeather, WeatherPosition, weather_position
from jobs.weather_ahead.asking import SourceAnswer, address_of_position, ask_source, who_asks
from jobs.weather_ahead.spells import ForecastError, read_forecast, spells_as_rows

DAYS_AHEAD = 9  # as far as a source tells the whole day and the night after
ASK_EVERY = timedelta(hours=1)
MAX_WAIT = timedelta(days=1)  # however late the source says that it expires
MAX_REASON = 300
logger = logging.getLogger(__name__)


def fetch_expected_weather(*, now: datetime, deadline_seconds: float = 20.0) -> int:
    """For how many spots the source told something. Nobody is asked without a source; rows that
    nothing is booked at any more go."""
    business = Business.current()
    if business is None or business.sends_nothing:
        return 0
    source = business.weather_source
    spots = booked_positions(business, now=now) if source else set()
    keep_spots(source, spots, now=now)
    agent = who_asks(business)
    ends = time.monotonic() + deadline_seconds
    told = 0
    for row in claimed_rows(now):
        told += fetch_spot(row, agent=agent, now=now)
        if time.monotonic() > ends:
            break
    return told


def booked_positions(business: Business, *, now: datetime) -> set[WeatherPosition]:
    """Where somebody works within the next nine days."""
    today = business.today(now)
    rows = Booking.objects.filter(
        state__in=[Booking.State.BOOKED, Booking.State.HELD],
        first_on__lte=today + timedelta(days=DAYS_AHEAD),
        last_on__gte=today,
    )
    return {weather_position(row.site) for row in rows.select_related("site")}


@transaction.atomic
def keep_spots(source: str, spots: set[WeatherPosition], *, now: datetime) -> None:
    """A row for each of these spots, told by this source, and no other."""
    there = {}
    for row in ExpectedWeather.objects.defer("spells"):
        if row.source == source and row.position in spots:
            there[row.position] = row
        else:
            row.delete()
    new = [
        ExpectedWeather(latitude=lat, longitude=lon, source=source, ask_not_before=now)
        for lat, lon in spots
        if (lat, lon) not in there
    ]
    ExpectedWeather.objects.bulk_create(new, ignore_conflicts=True)


def claimed_rows(now: datetime) -> Iterator[ExpectedWeather]:
    """One after the other, each put off by an hour before it is asked: also if the program dies
    meanwhile the source is not asked again at once, and two workers never ask for the same."""
    while row := claim_row(now):
        yield row


@transaction.atomic
def claim_row(now: datetime) -> ExpectedWeather | None:
    rows = ExpectedWeather.objects.filter(ask_not_before__lte=now)
    rows = rows.order_by("ask_not_before", "id")
    row = rows.select_for_update(skip_locked=True).first()
    if row:
        row.ask_not_before = now + ASK_EVERY
        row.save(update_fields=["ask_not_before"])
    return row


def fetch_spot(row: ExpectedWeather, *, agent: str, now: datetime) -> bool:
    """Whether the source told something, or that nothing has changed."""
    try:
        values = told_values(row, agent=agent, now=now)
    except ForecastError as error:
        logger.info("Weather at %s, %s: %s", row.latitude, row.longitude, error)
        values = {"why_refused": str(error)[:MAX_REASON].replace("\0", "")}
    rows = ExpectedWeather.objects.filter(pk=row.pk, source=row.source)
    return bool(rows.update(**values)) and not values["why_refused"]


def told_values(row: ExpectedWeather, *, agent: str, now: datetime) -> dict[str, Any]:
    """What the row holds from now on. Raises `ForecastError`."""
    url = address_of_position(row.source, row.position)
    answer = ask_source(url, agent=agent, last_modified=row.last_modified)
    values: dict[str, Any] = {
        "why_refused": "",
        "fetched_at": now,
        "ask_not_before": next_asking(answer, now),
    }
    if answer.is_deprecated:
        logger.warning("The weather service says that this address is soon no more: %s", row.source)
    if answer.content is None:
        if not row.spells:
            raise ForecastError("It says that nothing has changed, and told nothing before.")
        return values
    spells = read_forecast(
        answer.content, latitude=float(row.latitude), longitude=float(row.longitude), now=now
    )
    return values | {"spells": spells_as_rows(spells), "last_modified": answer.last_modified}


def next_asking(answer: SourceAnswer, now: datetime) -> datetime:
    """Not before an hour, not before the answer expires, and after a day in any case."""
    least = now + ASK_EVERY
    expires_at = answer.expires_at or least
    return min(max(least, expires_at), now + MAX_WAIT)
