"""The decks of the table as a map, and the towns beside it."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from math import cos, radians
from statistics import median

from django.db.models import F

from jobs.models import Booking, BookingDay
from reminders.pictures import DeckMap, MapDeck, deck_map
from reminders.today.deck_table import DeckTable
from reminders.today.wear_words import wear_stage, wear_words

MAX_MAPPED_DECKS = 1_500
REACH_DEG = 3.0  # of latitude: about 330 km
STAGE_WORDS = {
    "is-sound": "not due yet",
    "is-open": "window open",
    "is-due": "due",
    "is-late": "late",
}
MAP_COLUMNS = (
    "deck__site__latitude",
    "deck__site__longitude",
    "deck__site__town",
    "deck__site__client__name",
    "window_opens_on",
    "due_on",
    "late_on",
)


@dataclass(frozen=True)
class TownMap:
    """The picture, the same as rows (town, decks, how many in each state), and whether decks were
    left out of it."""

    picture: DeckMap
    stages: Sequence[str]
    towns: Sequence[tuple[str, int, Sequence[int]]]
    far: int
    is_cut_off: bool


def read_town_map(table: DeckTable, *, today: date) -> TownMap:
    rows = list(table.ordered.values_list(*MAP_COLUMNS)[: MAX_MAPPED_DECKS + 1])
    decks = []
    for latitude, longitude, town, client, opens, due, late in rows[:MAX_MAPPED_DECKS]:
        stage = wear_stage(opens, due, late, today)
        words = f"{client}, {town}: {wear_words(opens, due, today)}"
        decks.append(MapDeck(latitude, longitude, stage, town, words))
    counted = Counter((deck.town, deck.stage) for deck in decks)
    towns = [
        (town, count, [counted[town, stage] for stage in STAGE_WORDS])
        for town, count in sorted(Counter(deck.town for deck in decks).items())
    ]
    near = decks_in_reach(decks)
    return TownMap(
        deck_map(near, runs_of_day(today)),
        list(STAGE_WORDS.values()),
        towns,
        far=len(decks) - len(near),
        is_cut_off=len(rows) > MAX_MAPPED_DECKS,
    )


def decks_in_reach(decks: Sequence[MapDeck]) -> list[MapDeck]:
    """Those around the middle one: a single deck far away would shrink the rest to a dot."""
    if not decks:
        return []
    middle = (
        median(deck.latitude for deck in decks),
        median(deck.longitude for deck in decks),
    )
    return [
        deck
        for deck in decks
        if abs(deck.latitude - middle[0]) <= REACH_DEG
        and abs(deck.longitude - middle[1]) * cos(radians(middle[0])) <= REACH_DEG
    ]


def runs_of_day(day: date) -> list[tuple[str, list[tuple[float, float]]]]:
    """Each crew's stops of a day in order of arrival."""
    stops = BookingDay.objects.filter(
        crew_day__day=day, booking__state__in=[Booking.State.BOOKED, Booking.State.DONE]
    )
    ordered = stops.order_by(
        "crew_day__crew__position",
        "crew_day__crew_id",
        F("booking__arrives_from").asc(nulls_last=True),
        "booking_id",
    )
    found = ordered.values_list(
        "crew_day__crew__name", "booking__site__latitude", "booking__site__longitude"
    )
    return [
        (crew, [(latitude, longitude) for _, latitude, longitude in members])
        for crew, members in groupby(found, key=lambda row: row[0])
    ]
