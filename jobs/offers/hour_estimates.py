"""The hours that work on many decks would take, as an offer would calculate them, and what it would
cost: proposed work, minutes and prices of the list in force."""

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from django.db import connection

from clients.models import Deck
from jobs.models import Offer, OfferScope, PriceList, Rate
from jobs.offers.pricing import DeckWork, PriceTable, task_charge, task_minutes
from jobs.offers.pricing_inputs import prices_from_list
from jobs.scope import Outline, outlines

ONE = Decimal(1)
DECK_MEASURES_SQL = (
    "SELECT id, area_m2, rail_m, stair_treads FROM clients_deck WHERE id = ANY"
    " (%(decks)s::bigint[])"
)


@dataclass(frozen=True)
class DeckHours:
    """Hours of one deck either way, and those of the visit, which come once however many decks it
    has."""

    visit: float
    recoat: float
    strip: float
    is_strip: bool  # a strip is proposed already


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
    minutes = per_unit_of_task(prices, task_minutes)
    once = {rate.task: float(rate.minutes) for rate in prices.rates if rate.per == "job"}
    known = outlines(deck_ids, today=today)
    measures = deck_measures(deck_ids)
    usual = usual_area_if_needed(area for _, area, _, _ in measures)
    found = {
        deck: estimate_deck_hours(
            known[deck],
            {"rails": float(rail), "stairs": float(treads)},
            usual if area is None else float(area),
            minutes,
            once,
        )
        for deck, area, rail, treads in measures
    }
    if not all(hours.recoat and hours.strip for hours in found.values()):
        return {}
    return found | hours_from_drafts(found)


def list_prices_by_deck(deck_ids: Collection[int], *, today: date) -> dict[int, DeckListPrice]:
    """By deck, in a fixed number of queries; decks whose size nobody knows are left out, and all
    are where no price list is in force or it has no price for the work."""
    row = PriceList.objects.in_force(today)
    if row is None or not deck_ids:
        return {}
    prices = prices_from_list(row)
    charges = per_unit_of_task(prices, task_charge)
    once = {rate.task: float(rate.amount) for rate in prices.rates if rate.per == "job"}
    known = outlines(deck_ids, today=today)
    found = {}
    for deck, area, rail, treads in deck_measures(deck_ids):
        if area is not None:
            others = {"rails": float(rail), "stairs": float(treads)}
            sums = sums_of_tasks(known[deck], others, float(area), charges, once)
            found[deck] = DeckListPrice(*sums)
    return {deck: price for deck, price in found.items() if price.recoat and price.strip}


def usual_area_if_needed(areas: Iterable[Decimal | None]) -> float:
    """Asked of the database only where the size of a deck is not known; else 0."""
    return Deck.objects.usual_size().area_m2 if None in areas else 0.0


def deck_measures(deck_ids: Collection[int]) -> list[tuple[int, Decimal | None, Decimal, int]]:
    """Number, area, rails and treads of each deck;
    as one array, for thousands of parameters are slow to bind."""
    with connection.cursor() as cursor:
        cursor.execute(DECK_MEASURES_SQL, {"decks": list(deck_ids)})
        rows: list[tuple[int, Decimal | None, Decimal, int]] = cursor.fetchall()
    return rows


def per_unit_of_task(
    prices: PriceTable, amount: Callable[[PriceTable, DeckWork, str], Decimal]
) -> dict[str, float]:
    """The minutes or the price of one unit of each task: a square metre, a metre of rail, a
    tread."""
    tasks = dict.fromkeys(map(str, Rate.Task), 1)
    one = DeckWork(deck_index=0, name="", tasks=tasks, area_m2=ONE, rail_m=ONE, stair_treads=ONE)
    return {task: float(amount(prices, one, task)) for task in tasks}


def estimate_deck_hours(
    outline: Outline,
    others: Mapping[str, float],
    area: float,
    minutes: Mapping[str, float],
    once: Mapping[str, float],
) -> DeckHours:
    visit, recoat, strip = sums_of_tasks(outline, others, area, minutes, once)
    is_strip = outline.work == OfferScope.Work.STRIP
    return DeckHours(visit / 60, recoat / 60, strip / 60, is_strip)


def sums_of_tasks(
    outline: Outline,
    others: Mapping[str, float],
    area: float,
    per_unit: Mapping[str, float],
    once: Mapping[str, float],
) -> tuple[float, float, float]:
    """Of the visit, of a recoat and of a strip. `others` are the measures of the tasks that do not
    go by the area."""
    recoat, strip = (
        sum(per_unit[task] * float(times) * others.get(task, area) for task, times in tasks.items())
        for tasks in (outline.recoat, outline.strip)
    )
    visit = sum(once.get(task, 0.0) for task in outline.recoat if others.get(task, area))
    return visit, recoat, strip


def hours_from_drafts(found: Mapping[int, DeckHours]) -> dict[int, DeckHours]:
    """Decks of a draft, with its work and hours."""
    rows = OfferScope.objects.filter(offer__state=Offer.State.DRAFT, hours__gt=0).order_by(
        "offer_id"
    )
    return {
        deck: replace(found[deck], is_strip=work == OfferScope.Work.STRIP, **{work: float(hours)})
        for deck, work, hours in rows.values_list("deck_id", "work", "hours")
        if deck in found
    }
