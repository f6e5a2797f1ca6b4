"""Runs: the bookings of a crew's day by town, the towns in the order that makes the shortest way between them."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise, permutations
from typing import Generic, TypeVar

from clients.models import Property
from clients.places.geometry import distance_km

T = TypeVar("T")
MOST_TOWNS = 6  # up to here every order is tried; a crew never sees more towns in a day


@dataclass(frozen=True)
class Run(Generic[T]):
    """What is done in one town, and how far it is from the town before (as the crow flies)."""

    town: str
    stops: list[T]
    km_before: float = 0.0


def runs(stops: Sequence[T], place: Callable[[T], Property]) -> list[Run[T]]:
    """The stops of a day grouped by town."""
    if not stops:
        return []
    by_town: dict[str, list[T]] = {}
    for stop in stops:
        by_town.setdefault(place(stop).town, []).append(stop)
    first = {town: place(those[0]) for town, those in by_town.items()}
    order = shortest(list(first.values()))
    gaps = [0.0, *(apart(one, other) for one, other in pairwise(order))]
    return [Run(home.town, by_town[home.town], km) for home, km in zip(order, gaps, strict=True)]


def shortest(homes: Sequence[Property]) -> list[Property]:
    """The order with the least way between them; of two that are as short, the one that begins as it was."""
    if not 2 < len(homes) <= MOST_TOWNS:
        return list(homes)
    km = {(one.pk, other.pk): apart(one, other) for one in homes for other in homes}
    orders = permutations(homes)
    return list(min(orders, key=lambda order: sum(km[one.pk, other.pk] for one, other in pairwise(order))))


def apart(one: Property, other: Property) -> float:
    return float(distance_km(one.latitude, one.longitude, other.latitude, other.longitude))
