"""Finds a town by its name, and the time zone of any spot on earth."""

from dataclasses import dataclass, field
from functools import cache
from typing import Any

import numpy as np
import scipy
from django.contrib.postgres.search import TrigramSimilarity
from django.db.models import (
    Case,
    ExpressionWrapper,
    F,
    FloatField,
    IntegerField,
    Q,
    QuerySet,
    Value,
    When,
)
from django.db.models.functions import Cos, Radians, Sin, Upper
from numpy.typing import NDArray

from clients.models import Place
from clients.places.climate import chord_to_km, unit_vectors, validate_coordinates
from clients.places.spelling import fold_place_name
from clients.places.tables import town_rows

Coordinates = tuple[float, float]

# How many of the likest names are looked at more closely for a slip of the finger.
MAX_SIMILAR_NAMES = 60


@dataclass(frozen=True, slots=True)
class TownSearch:
    """The towns meant, best first; if there is none, towns whose names come near."""

    towns: list[Place] = field(default_factory=list)
    suggestions: list[Place] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class NearestZone:
    time_zone: str
    distance_km: float  # to the town whose zone it is


def find_town(
    text: str, country: str | None = None, near: Coordinates | None = None, limit: int = 8
) -> TownSearch:
    """Towns of that name, whatever the accents and capitals, or of a name that begins so, or one
    misspelt.

    "Lunenburg, Nova Scotia" or "Lunenburg, NS" prefers that region. Order: whole name before all
    others; then the given region, then `country` (two letters), then the nearest to `near`
    (latitude, longitude) or else the largest.
    """
    name, _, rest = fold_place_name(text.replace("\0", "")[:200]).partition(",")
    name = name.strip()
    if not any(letter.isalnum() for letter in name):
        return TownSearch()
    asked = _TownQuery(name, rest.strip(), (country or "").upper(), near)
    towns = list(asked.starting_with_name()[:limit])
    if any(asked.is_exact_match(town) for town in towns):
        return TownSearch(towns=towns)
    similar = list(asked.similar_by_trigram()[:MAX_SIMILAR_NAMES]) if len(name) > 2 else []
    known = {town.pk for town in towns}
    towns += [town for town in similar if town.pk not in known and is_misspelt(name, town.folded)]
    return TownSearch(
        towns=asked.sort_by_match(towns)[:limit], suggestions=[] if towns else similar[:limit]
    )


@dataclass(frozen=True, slots=True)
class _TownQuery:
    """One question, and the ways to look for it."""

    name: str
    rest: str
    country: str
    near: Coordinates | None

    def is_exact_match(self, town: Any) -> bool:
        """The whole name, in the country asked for."""
        is_whole_name: bool = town.folded == self.name
        return is_whole_name and (not self.country or town.country == self.country)

    def _places(self) -> QuerySet[Any, Any]:
        return Place.objects.annotate(
            folded=Upper("ascii_name"),
            order_region=_rank_first(_in_region(self.rest)) if self.rest else Value(0),
            order_country=_rank_first(Q(country=self.country)),
            order_size=F("population") * -1.0 if self.near is None else _distance_rank(self.near),
        )

    def starting_with_name(self) -> QuerySet[Any, Any]:
        found: QuerySet[Any, Any] = (
            self._places()
            .filter(folded__startswith=self.name)
            .annotate(order_whole=_rank_first(Q(folded=self.name)))
        )
        order = ("order_whole", "order_region", "order_country", "order_size", "geoname_id")
        return found.order_by(*order)

    def similar_by_trigram(self) -> QuerySet[Any, Any]:
        likeness = TrigramSimilarity("folded", self.name)
        found: QuerySet[Any, Any] = (
            self._places().filter(folded__trigram_similar=self.name).annotate(likeness=likeness)
        )
        return found.order_by("-likeness", "order_country", "order_size", "geoname_id")

    def sort_by_match(self, towns: list[Any]) -> list[Any]:
        return sorted(towns, key=self._sort_key)

    def _sort_key(self, town: Any) -> tuple[float, ...]:
        """A beginning counts as no slip; people seldom get the first letter wrong."""
        wrong = 0 if town.folded.startswith(self.name) else edit_distance(self.name, town.folded)
        other_start = town.folded[:1] != self.name[:1]
        whole = town.folded != self.name
        return (
            whole,
            town.order_region,
            town.order_country,
            wrong + other_start,
            town.order_size,
            town.pk,
        )


def is_misspelt(written: str, name: str) -> bool:
    """One slip in a short name, one in every four letters of a longer one;
    the first letter counts as the rest."""
    allowed = max(1, len(name) // 4)
    return abs(len(written) - len(name)) <= allowed and edit_distance(written, name) <= allowed


def edit_distance(written: str, name: str) -> int:
    """Letters wrong, missing, too many or swapped with the next (optimal string alignment)."""
    before: list[int] = []
    last = list(range(len(name) + 1))
    for i, a in enumerate(written, 1):
        row = [i]
        for j, b in enumerate(name, 1):
            cost = min(last[j] + 1, row[-1] + 1, last[j - 1] + (a != b))
            if i > 1 and j > 1 and a == name[j - 2] and written[i - 2] == b:
                cost = min(cost, before[j - 2] + 1)
            row.append(cost)
        before = last
        last = row
    return last[-1]


def _rank_first(here: Q) -> Case:
    return Case(When(here, then=Value(0)), default=Value(1), output_field=IntegerField())


def _in_region(rest: str) -> Q:
    """The region's name, its beginning, or its initials (NS, BC, NSW);
    or the country's two letters."""
    here = Q(pk__in=[])
    for word in filter(None, (part.strip() for part in rest.split(","))):
        here |= Q(region__istartswith=word) | Q(country=word)
        if word.isalpha() and 1 < len(word) <= 5:
            here |= Q(region__iregex="^" + r"\S* ".join(word) + r"\S*$")
    return here


def _distance_rank(near: Coordinates) -> "ExpressionWrapper[Any]":
    """Grows with the great-circle distance: minus the cosine of its angle."""
    (x, y, z) = unit_vectors(*near)
    latitude = Radians("latitude")
    longitude = Radians("longitude")
    level = Cos(latitude) * (Cos(longitude) * Value(-float(x)) + Sin(longitude) * Value(-float(y)))
    return ExpressionWrapper(level + Sin(latitude) * Value(-float(z)), output_field=FloatField())


@cache
def _zone_index() -> tuple["scipy.spatial.cKDTree", NDArray[np.int16], list[str]]:
    """A tree of all towns of the file, and the zone of each: needs no database."""
    rows = [
        (float(row["latitude"]), float(row["longitude"]), row["time_zone"]) for row in town_rows()
    ]
    names = sorted({zone for _, _, zone in rows})
    number = {name: at for at, name in enumerate(names)}
    spots = np.array([row[:2] for row in rows])
    zones = np.array([number[zone] for _, _, zone in rows], dtype=np.int16)
    return scipy.spatial.cKDTree(unit_vectors(spots[:, 0], spots[:, 1])), zones, names


def nearest_zone(latitude: float, longitude: float) -> NearestZone:
    """The time zone of the nearest town; on a zone's border, or far out, look at the distance
    before trusting it."""
    tree, zones, names = _zone_index()
    north, east = validate_coordinates(latitude, longitude)
    chord, at = tree.query(unit_vectors(north[0], east[0]))
    return NearestZone(names[zones[at]], float(chord_to_km(chord)))
