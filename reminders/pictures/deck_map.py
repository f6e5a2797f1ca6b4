"""Decks and runs on a map without tiles: positions on the earth laid onto a picture, true to scale
around its middle."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from math import cos, pi, radians, sin, sqrt

EDGE = 24.0  # free around the points
MIN_SPAN_DEG = 0.02  # about two kilometres, so that one deck does not fill the picture
MAX_NAMED_TOWNS = 14
STEP = 7.0  # from one deck of a place to the next
GOLDEN_ANGLE = pi * (3 - sqrt(5))


@dataclass(frozen=True)
class MapDeck:
    """Where a deck stands, in degrees, and the class of its state."""

    latitude: float
    longitude: float
    stage: str
    town: str
    words: str


@dataclass(frozen=True)
class MapPoint:
    x: float
    y: float
    stage: str
    words: str


@dataclass(frozen=True)
class MapTown:
    """A name at the middle of its decks."""

    x: float
    y: float
    name: str
    decks: int


@dataclass(frozen=True)
class MapRun:
    """The stops of a crew's day as a line."""

    words: str
    points: str


@dataclass(frozen=True)
class DeckMap:
    """Everything `reminders/_today_map.html` draws."""

    WIDTH = 640
    HEIGHT = 440

    points: Sequence[MapPoint]
    towns: Sequence[MapTown]
    runs: Sequence[MapRun]


class Projection:
    """Degrees to the picture; a degree of longitude is shorter by the cosine of the latitude."""

    def __init__(self, places: Sequence[tuple[float, float]]) -> None:
        latitudes = [latitude for latitude, _ in places] or [0.0]
        longitudes = [longitude for _, longitude in places] or [0.0]
        self.middle = (
            (min(latitudes) + max(latitudes)) / 2,
            (min(longitudes) + max(longitudes)) / 2,
        )
        self.shrink = cos(radians(self.middle[0]))
        high = max(max(latitudes) - min(latitudes), MIN_SPAN_DEG)
        wide = max((max(longitudes) - min(longitudes)) * self.shrink, MIN_SPAN_DEG)
        self.scale = min((DeckMap.WIDTH - 2 * EDGE) / wide, (DeckMap.HEIGHT - 2 * EDGE) / high)

    def place(self, latitude: float, longitude: float) -> tuple[float, float]:
        """North is up."""
        x = DeckMap.WIDTH / 2 + (longitude - self.middle[1]) * self.shrink * self.scale
        y = DeckMap.HEIGHT / 2 - (latitude - self.middle[0]) * self.scale
        return round(x, 1), round(y, 1)


def deck_map(
    decks: Sequence[MapDeck], runs: Sequence[tuple[str, Sequence[tuple[float, float]]]] = ()
) -> DeckMap:
    """`runs` are the name of each and the positions of its stops, in order."""
    stops = [stop for _, places in runs for stop in places]
    laid = Projection([*((deck.latitude, deck.longitude) for deck in decks), *stops])
    points = []
    taken: Counter[tuple[float, float]] = Counter()
    for deck in decks:
        place = laid.place(deck.latitude, deck.longitude)
        points.append(MapPoint(*beside(place, taken[place]), deck.stage, deck.words))
        taken[place] += 1
    lines = [
        MapRun(words, " ".join("{},{}".format(*laid.place(*stop)) for stop in places))
        for words, places in runs
    ]
    return DeckMap(points, map_towns(decks, points), lines)


def beside(place: tuple[float, float], others: int) -> tuple[float, float]:
    """Decks of one place stand around it, as seeds in a flower."""
    away = STEP * sqrt(others)
    angle = others * GOLDEN_ANGLE
    return round(place[0] + away * cos(angle), 1), round(place[1] + away * sin(angle), 1)


def map_towns(decks: Sequence[MapDeck], points: Sequence[MapPoint]) -> list[MapTown]:
    """The towns with most decks, by name."""
    members: dict[str, list[MapPoint]] = {}
    for deck, point in zip(decks, points, strict=True):
        members.setdefault(deck.town, []).append(point)
    largest = sorted(members, key=lambda town: (-len(members[town]), town))[:MAX_NAMED_TOWNS]
    return [
        MapTown(
            round(sum(point.x for point in members[town]) / len(members[town]), 1),
            round(sum(point.y for point in members[town]) / len(members[town]), 1),
            town,
            len(members[town]),
        )
        for town in sorted(largest)
    ]
