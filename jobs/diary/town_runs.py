"""Runs: the bookings of a crew's day by town, the towns in the order that makes the shortest way
between them.

Where times of arrival were agreed these set the order; what has none is done while the crew is in
that town, else last.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise, permutations
from typing import Generic, TypeVar

from clients.models import Property
from clients.places.climate import distance_km
from jobs.arrival import UNSPECIFIED_ARRIVAL, Arrival

T = TypeVar("T")
MAX_PERMUTED_TOWNS = 6  # up to here every order is tried; a crew never sees more towns in a day


@dataclass(frozen=True)
class TownRun(Generic[T]):
    """What is done in one town, and how far it is from the town before (as the crow flies)."""

    town: str
    stops: list[T]
    km_before: float = 0.0


def group_into_town_runs(
    stops: Sequence[T],
    place: Callable[[T], Property],
    arrival: Callable[[T], Arrival] = lambda stop: UNSPECIFIED_ARRIVAL,
) -> list[TownRun[T]]:
    """The stops of a day grouped by town, a town again where times lead back to it."""
    timed = sorted(
        (stop for stop in stops if arrival(stop)), key=lambda stop: arrival(stop).sort_key
    )
    groups = [list(those) for _, those in groupby(timed, key=lambda stop: place(stop).town)]
    rest: dict[str, list[T]] = {}
    for stop in (stop for stop in stops if not arrival(stop)):
        there = next((those for those in groups if place(those[0]).town == place(stop).town), None)
        (rest.setdefault(place(stop).town, []) if there is None else there).append(stop)
    groups += [
        rest[home.town] for home in shortest_order([place(those[0]) for those in rest.values()])
    ]
    homes = [place(those[0]) for those in groups]
    gaps = [0.0, *(distance_apart_km(one, other) for one, other in pairwise(homes))]
    return [
        TownRun(home.town, those, km) for home, those, km in zip(homes, groups, gaps, strict=False)
    ]


def shortest_order(homes: Sequence[Property]) -> list[Property]:
    """The order with the least way between them;
    of two that are as short, the one that begins as it was."""
    if not 2 < len(homes) <= MAX_PERMUTED_TOWNS:
        return list(homes)
    km = {(one.pk, other.pk): distance_apart_km(one, other) for one in homes for other in homes}
    orders = permutations(homes)
    return list(
        min(orders, key=lambda order: sum(km[one.pk, other.pk] for one, other in pairwise(order)))
    )


def distance_apart_km(one: Property, other: Property) -> float:
    return float(distance_km(one.latitude, one.longitude, other.latitude, other.longitude))
