"""The hours that work on many decks would take, as an offer would calculate them, and what it would
cost: proposed work, minutes and prices of the list in force."""

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from django.db import connection

from clients.models import Deck, Surface
from jobs.forecast_summary import surfaces_for_later_by_deck
from jobs.materials import Surfaces
from jobs.models import Offer, OfferScope, PriceList, Rate
from jobs.offers.pricing import WORK_UNITS, PriceTable, TaskRate
from jobs.offers.pricing_inputs import prices_from_list
from jobs.scope import Outline, outlines

DECK_MEASURES_SQL = (
    "SELECT id, area_m2, rail_m, stair_treads, screen_m2 FROM clients_deck WHERE id = ANY"
    " (%(decks)s::bigint[])"
)

# In what each surface is measured and priced.
UNIT_OF_SURFACE = {
    Surface.BOARDS: "m2",
    Surface.STAIRS: "tread",
    Surface.RAILS: "m",
    Surface.SCREENS: "screen",
}

# Number, area, metres of rail, treads, square metres of screens.
DeckMeasures = tuple[int, Decimal | None, Decimal, int, Decimal]


@dataclass(frozen=True)
class DeckHours:
    """Hours of one deck either way, and those of the visit, which come once however many decks it
    has; without the way there."""

    visit: float
    recoat: float
    strip: float
    is_strip: bool  # a strip is proposed already
    is_drafted: bool = False  # of a draft, which counts the surfaces that stand in it

    def of_part(self, part: "DuePart") -> "DeckHours":
        """Of what is due alone; only boards are stripped."""
        if self.is_drafted:
            return self
        recoat = self.recoat * part.share
        strip = self.strip * part.share if part.has_boards else recoat
        return replace(self, recoat=recoat, strip=strip, is_strip=self.is_strip and part.has_boards)


@dataclass(frozen=True)
class DuePart:
    """What the next visit takes of a deck on which something is left for later: its share of the
    work of a recoat of all, and whether the boards are in it."""

    share: float
    has_boards: bool


WHOLE_DECK = DuePart(1.0, has_boards=True)


@dataclass(frozen=True)
class DeckListPrice:
    """What one deck costs either way by the price list, and the visit, which is charged once
    however many decks it has; without materials, travel and tax."""

    visit: float
    recoat: float
    strip: float


def work_hours_by_deck(deck_ids: Collection[int], *, today: date) -> dict[int, DeckHours]:
    """By deck, in a fixed number of queries;
    empty where no price list is in force or it does not say the times.

    A draft, which somebody may have changed, goes before what would be proposed today. A deck whose
    size nobody knows is taken for one of the usual size.
    """
    row = PriceList.objects.in_force(today)
    if row is None:
        return {}
    prices = prices_from_list(row)
    minutes = per_unit_of_task(prices, lambda rate: rate.minutes)
    once = per_visit_of_task(prices, lambda rate: rate.minutes)
    known = outlines(deck_ids, today=today)
    measures = deck_measures(deck_ids)
    usual = usual_area_if_needed(area for _, area, *_ in measures)
    found = {
        deck: estimate_deck_hours(
            known[deck],
            sizes_by_unit(usual if area is None else float(area), rail, treads, screens),
            minutes,
            once,
        )
        for deck, area, rail, treads, screens in measures
    }
    if not all(hours.recoat and hours.strip for hours in found.values()):
        return {}
    return found | hours_from_drafts(found)


def due_parts(deck_ids: Collection[int], *, today: date) -> dict[int, DuePart]:
    """By deck; decks of which all is due together are left out."""
    later = surfaces_for_later_by_deck(deck_ids, today=today) if deck_ids else {}
    shares = work_shares(later, today=today)
    return {
        deck: DuePart(
            sum(share for name, share in shares[deck].items() if name not in left),
            Surface.BOARDS not in left,
        )
        for deck, left in later.items()
    }


def work_shares(deck_ids: Collection[int], *, today: date) -> dict[int, dict[str, float]]:
    """Of each deck what part of a recoat of all falls to each of its surfaces: by the minutes of
    the list in force, without them by square metres. In a fixed number of queries."""
    if not deck_ids:
        return {}
    row = PriceList.objects.in_force(today)
    minutes = per_unit_of_task(prices_from_list(row), lambda rate: rate.minutes) if row else {}
    known = outlines(deck_ids, today=today) if row else {}
    measures = deck_measures(deck_ids)
    usual = usual_area_if_needed(area for _, area, *_ in measures)
    found = {}
    for deck, area, rail, treads, screens in measures:
        boards = usual if area is None else float(area)
        sizes = sizes_by_unit(boards, rail, treads, screens)
        work = minutes_by_surface(known[deck], sizes, minutes) if row else {}
        if not all(work.get(name) for name, unit in UNIT_OF_SURFACE.items() if sizes[unit]):
            work = square_metres(boards, rail, treads, screens)
        total = sum(work.values())
        found[deck] = {name: each / total for name, each in work.items() if each}
    return found


def minutes_by_surface(
    outline: Outline, sizes: Mapping[str, float], minutes: Mapping[str, list[tuple[str, float]]]
) -> dict[str, float]:
    """Of a recoat."""
    per_unit = dict.fromkeys(WORK_UNITS, 0.0)
    for task, times in outline.recoat.items():
        for unit, each in minutes[task]:
            per_unit[unit] += each * float(times)
    return {name: per_unit[unit] * sizes[unit] for name, unit in UNIT_OF_SURFACE.items()}


def square_metres(boards: float, rail: Decimal, treads: int, screens: Decimal) -> dict[str, float]:
    areas = Surfaces.from_measures(
        area_m2=Decimal(str(boards)), treads=treads, rail_m=rail, screen_m2=screens
    )
    return {name: float(area) for name, area in areas.nonzero_areas()}


def list_prices_by_deck(deck_ids: Collection[int], *, today: date) -> dict[int, DeckListPrice]:
    """By deck, in a fixed number of queries; decks whose size nobody knows are left out, and all
    are where no price list is in force or it has no price for the work."""
    row = PriceList.objects.in_force(today)
    if row is None or not deck_ids:
        return {}
    prices = prices_from_list(row)
    charges = per_unit_of_task(prices, lambda rate: rate.amount)
    once = per_visit_of_task(prices, lambda rate: rate.amount)
    known = outlines(deck_ids, today=today)
    found = {}
    for deck, area, rail, treads, screens in deck_measures(deck_ids):
        if area is not None:
            sizes = sizes_by_unit(float(area), rail, treads, screens)
            found[deck] = DeckListPrice(*sums_of_tasks(known[deck], sizes, charges, once))
    return {deck: price for deck, price in found.items() if price.recoat and price.strip}


def usual_area_if_needed(areas: Iterable[Decimal | None]) -> float:
    """Asked of the database only where the size of a deck is not known; else 0."""
    return Deck.objects.usual_size().area_m2 if None in areas else 0.0


def deck_measures(deck_ids: Collection[int]) -> list[DeckMeasures]:
    """Of each deck; as one array, for thousands of parameters are slow to bind."""
    with connection.cursor() as cursor:
        cursor.execute(DECK_MEASURES_SQL, {"decks": list(deck_ids)})
        rows: list[DeckMeasures] = cursor.fetchall()
    return rows


def per_unit_of_task(
    prices: PriceTable, value: Callable[[TaskRate], Decimal]
) -> dict[str, list[tuple[str, float]]]:
    """The minutes or the price of each task, for one unit of each surface."""
    return {
        str(task): [
            (rate.per, float(value(rate)))
            for rate in prices.rates_for_task(task)
            if rate.per in WORK_UNITS
        ]
        for task in Rate.Task
    }


def per_visit_of_task(prices: PriceTable, value: Callable[[TaskRate], Decimal]) -> dict[str, float]:
    """What comes once however many decks a visit is for."""
    return {rate.task: float(value(rate)) for rate in prices.rates if rate.per == "job"}


def sizes_by_unit(area: float, rail: Decimal, treads: int, screens: Decimal) -> dict[str, float]:
    """Of one deck, in the units in which surfaces are priced."""
    return {"m2": area, "m": float(rail), "tread": float(treads), "screen": float(screens)}


def estimate_deck_hours(
    outline: Outline,
    sizes: Mapping[str, float],
    minutes: Mapping[str, list[tuple[str, float]]],
    once: Mapping[str, float],
) -> DeckHours:
    visit, recoat, strip = sums_of_tasks(outline, sizes, minutes, once)
    is_strip = outline.work == OfferScope.Work.STRIP
    return DeckHours(visit / 60, recoat / 60, strip / 60, is_strip)


def sums_of_tasks(
    outline: Outline,
    sizes: Mapping[str, float],
    per_unit: Mapping[str, list[tuple[str, float]]],
    once: Mapping[str, float],
) -> tuple[float, float, float]:
    """Of the visit, of a recoat and of a strip."""
    recoat, strip = (
        sum(
            each * sizes[unit] * float(times)
            for task, times in tasks.items()
            for unit, each in per_unit[task]
        )
        for tasks in (outline.recoat, outline.strip)
    )
    only_with = {"rails": sizes["m"], "stairs": sizes["tread"]}
    visit = sum(once.get(task, 0.0) for task in outline.recoat if only_with.get(task, 1))
    return visit, recoat, strip


def hours_from_drafts(found: Mapping[int, DeckHours]) -> dict[int, DeckHours]:
    """Decks of a draft, with its work and hours."""
    rows = OfferScope.objects.filter(offer__state=Offer.State.DRAFT, hours__gt=0).order_by(
        "offer_id"
    )
    return {
        deck: replace(
            found[deck],
            is_strip=work == OfferScope.Work.STRIP,
            is_drafted=True,
            **{work: float(hours)},
        )
        for deck, work, hours in rows.values_list("deck_id", "work", "hours")
        if deck in found
    }
