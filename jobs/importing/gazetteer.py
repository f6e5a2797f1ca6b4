"""The towns and regions of one country in memory, for lists of thousands of addresses."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from math import cos, radians

from rapidfuzz import fuzz, process

from clients.places.spelling import fold_place_name
from jobs.importing.cells import region_key

LIKE_ENOUGH = 82  # of 100 (rapidfuzz, ratio): a slip in a name of six letters


@dataclass(frozen=True, slots=True)
class KnownTown:
    """A town of the table."""

    pk: int
    name: str
    region: str
    latitude: float
    longitude: float
    time_zone: str
    population: int

    def __str__(self) -> str:
        return f"{self.name}, {self.region}" if self.region else self.name


@dataclass
class Gazetteer:
    """Of the country that the list is of. `home` is where the business is, or nothing known."""

    country: str
    towns: Mapping[str, list[KnownTown]] = field(default_factory=dict)  # by folded name
    home: tuple[float, float] | None = None
    home_region: str = ""

    @classmethod
    def of(
        cls, country: str, towns: Iterable[KnownTown], home: tuple[float, float] | None, region: str
    ) -> "Gazetteer":
        by_name: dict[str, list[KnownTown]] = {}
        for town in towns:
            by_name.setdefault(fold_place_name(town.name), []).append(town)
        return cls(country, by_name, home, region)

    @cached_property
    def regions(self) -> dict[str, str]:
        """Folded names, and initials where these are of one region, → the name."""
        names = sorted(
            {town.region for each in self.towns.values() for town in each if town.region}
        )
        found: dict[str, str] = {}
        for name in names:
            words = [word for word in name.split() if word[0].isupper()]
            for mark in region_marks(words):
                found[mark] = "" if mark in found else name
        found = {mark: name for mark, name in found.items() if name}
        return found | {region_key(name): name for name in names} | PROVINCES.get(self.country, {})

    def region(self, text: str) -> str:
        return self.regions.get(region_key(text), "")

    def is_town(self, text: str) -> bool:
        return fold_place_name(text) in self.towns

    def find(self, name: str, region: str = "") -> KnownTown | None:
        """The town of that name, in that region if one is given; of several the nearest."""
        named = self.towns.get(fold_place_name(name), [])
        inside = [town for town in named if not region or town.region == region]
        return min(inside, key=self.distance, default=None)

    def distance(self, town: KnownTown) -> float:
        """From the business, in degrees of latitude; without one the larger is the nearer."""
        if self.home is None:
            return -float(town.population)
        north, east = self.home
        width = cos(radians(north))
        return float((town.latitude - north) ** 2 + ((town.longitude - east) * width) ** 2)

    def likest(self, name: str, region: str = "") -> list[KnownTown]:
        """Towns of the region (else of the business's) whose names come near, and then the town
        nearest to the business: for hamlets that the table does not have."""
        wanted = region or self.home_region
        inside = {
            key: town
            for key, towns in self.towns.items()
            for town in towns
            if not wanted or town.region == wanted
        }
        close = process.extract(
            fold_place_name(name),
            list(inside),
            scorer=fuzz.ratio,
            score_cutoff=LIKE_ENOUGH,
            limit=3,
        )
        found = [inside[key] for key, _, _ in close]
        nearest = min(inside.values(), key=self.distance, default=None)
        return [*found, nearest] if nearest and nearest not in found else found


def region_marks(words: list[str]) -> list[str]:
    """NS for Nova Scotia, NSW for New South Wales; of one word its first two letters."""
    if len(words) > 1:
        return ["".join(word[0] for word in words).upper()]
    return [words[0][:2].upper()] if words else []


# The marks of the post (Canada Post; from memory), where initials do not give them.
PROVINCES = {
    "CA": {
        "AB": "Alberta",
        "BC": "British Columbia",
        "MB": "Manitoba",
        "NB": "New Brunswick",
        "NL": "Newfoundland and Labrador",
        "NS": "Nova Scotia",
        "ON": "Ontario",
        "PE": "Prince Edward Island",
        "PEI": "Prince Edward Island",
        "QC": "Quebec",
        "SK": "Saskatchewan",
    }
}
