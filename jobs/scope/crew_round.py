"""A crew's day: where to, in which order and how far apart, what to bring and what to mind."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from itertools import pairwise
from urllib.parse import quote

from clients import display
from clients.messaging.models import Message
from clients.messaging.models.message import State
from clients.models import Client
from clients.notation import fill_map_link
from jobs.diary import distance_apart_km, group_into_town_runs
from jobs.models import Booking, BookingDay, Crew
from jobs.scope.day_kit import kit_for
from jobs.scope.definitions import Need, Scope
from jobs.scope.purchase import booked_scopes, purchase_needs
from jobs.scope.visit_weather import VisitsWeather, VisitWeather, read_visits_weather
from jobs.weather_ahead import WeatherCredit

SHOWN_FROM_KM = 1.0  # nearer says nothing: most properties stand where their town does


@dataclass(frozen=True)
class CrewStop:
    """A booking of the day, and the way to it in a straight line from the stop before."""

    number: int
    booking: Booking
    hours: Decimal
    scopes: Sequence[Scope]
    km_before: float = 0.0
    is_told: bool = False  # that the crew is on its way
    weather: VisitWeather | None = None  # where a source tells it

    @property
    def is_far(self) -> bool:
        return self.km_before >= SHOWN_FROM_KM

    @property
    def phone_numbers(self) -> list[str]:
        return phone_numbers_of(self.booking.client)

    @property
    def map_url(self) -> str:
        return map_url(self.booking)


def phone_numbers_of(client: Client) -> list[str]:
    """Of telephones in use, each once."""
    points = client.contact_points.all()
    found = [
        point.normalized for point in points if point.kind != "email" and not point.suspended_at
    ]
    return list(dict.fromkeys(found))


def map_url(booking: Booking) -> str:
    """The map of the owner's choice, else the phone's own (RFC 5870). The coordinates may be those
    of the town, so the address follows as the question that maps on phones read (`q`, a habit, not
    of the RFC)."""
    site = booking.site
    address = site.address.replace("\n", ", ")
    if link := display.current_business().map_link:
        return fill_map_link(
            link, address=address, latitude=site.latitude, longitude=site.longitude
        )
    return f"geo:{site.latitude:.5f},{site.longitude:.5f}?q={quote(address)}"


def on_the_way_key(booking: Booking, day: date) -> str:
    """Of the message that says so; there is one a visit and day."""
    return f"on-the-way/{booking.uid}/{day}"


@dataclass(frozen=True)
class CrewRound:
    """What one crew does on one day."""

    crew: Crew
    day: date
    stops: Sequence[CrewStop]
    needs: Sequence[Need]
    tools: Sequence[str]
    weather_credit: WeatherCredit | None = None

    @property
    def hours(self) -> Decimal:
        return sum((stop.hours for stop in self.stops), Decimal(0))

    @property
    def km(self) -> float:
        return sum(stop.km_before for stop in self.stops)


@dataclass(frozen=True)
class SeenOfDay:
    """What is known of the visits of a day: the work on each deck, the keys of messages that told a
    client, the weather."""

    scopes: dict[int, Scope]
    told: set[str]
    weather: VisitsWeather


def read_crew_rounds(
    crews: Sequence[Crew], *, day: date, today: date, now: datetime
) -> list[CrewRound]:
    """The day of each of these crews, in a fixed number of queries; those without work too."""
    rows = list(booked_days(crews, day))
    bookings = [row.booking for row in rows]
    scopes = booked_scopes(bookings, today=today) if bookings else {}
    visits = [(booking, day) for booking in bookings]
    weather = read_visits_weather(visits, today=today, now=now, scopes=scopes)
    seen = SeenOfDay(scopes, keys_told(bookings, day), weather)
    found = []
    for crew in crews:
        own = [row for row in rows if row.crew_day.crew_id == crew.pk]
        found.append(crew_round(crew, day, stops_in_order(own, seen), today, seen.weather))
    return found


def booked_days(crews: Sequence[Crew], day: date) -> Iterable[BookingDay]:
    rows = BookingDay.objects.filter(crew_day__day=day, crew_day__crew__in=crews)
    rows = rows.exclude(booking__state=Booking.State.CANCELLED).order_by("booking_id")
    rows = rows.select_related(
        "crew_day__crew", "booking__client", "booking__site__client", "booking__offer"
    )
    return rows.prefetch_related(
        "booking__decks__site__client",
        "booking__jobs",
        "booking__client__contact_points",
        "booking__offer__scopes__product",
    )


def keys_told(bookings: Sequence[Booking], day: date) -> set[str]:
    """The keys of messages that went, or go, to say that the crew is on its way."""
    keys = [on_the_way_key(booking, day) for booking in bookings]
    rows = Message.objects.filter(idempotency_key__in=keys)
    found = rows.exclude(state__in=[State.CANCELLED, State.FAILED])
    return set(found.values_list("idempotency_key", flat=True))


def stops_in_order(rows: Sequence[BookingDay], seen: SeenOfDay) -> list[CrewStop]:
    runs = group_into_town_runs(
        rows, lambda row: row.booking.site, lambda row: row.booking.arrival()
    )
    ordered = [row for run in runs for row in run.stops]
    places = [row.booking.site for row in ordered]
    gaps = [0.0, *(distance_apart_km(one, other) for one, other in pairwise(places))]
    return [
        CrewStop(
            number,
            row.booking,
            row.hours,
            [seen.scopes[deck.pk] for deck in row.booking.decks.all() if deck.pk in seen.scopes],
            km,
            on_the_way_key(row.booking, row.crew_day.day) in seen.told,
            seen.weather.of(row.booking, row.crew_day.day),
        )
        for number, (row, km) in enumerate(zip(ordered, gaps, strict=False), 1)
    ]


def crew_round(
    crew: Crew,
    day: date,
    stops: Sequence[CrewStop],
    today: date,
    weather: VisitsWeather,
) -> CrewRound:
    """With what to bring for the work that is still to be done."""
    open_scopes = [scope for stop in stops for scope in unlogged_scopes(stop)]
    needs = purchase_needs(open_scopes, today=today) if open_scopes else []
    kit = kit_for(open_scopes)
    credit = weather.credit if any(stop.weather for stop in stops) else None
    return CrewRound(crew, day, stops, needs, [*kit.tools, *kit.protection], credit)


def unlogged_scopes(stop: CrewStop) -> list[Scope]:
    logged = {job.deck_id for job in stop.booking.jobs.all()}
    if stop.booking.state != Booking.State.BOOKED:
        return []
    return [scope for scope in stop.scopes if scope.deck.pk not in logged]
