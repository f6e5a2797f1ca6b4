"""The hours that work on many decks would take, as an offer would calculate them:
proposed work, minutes of the prices."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from django.db import connection

from clients.models import Deck
from jobs.models import Offer, OfferScope, PriceList, Rate
from jobs.offers.pricing import WORK_UNITS, PriceTable
from jobs.offers.pricing_inputs import prices_from_list
from jobs.scope import Outline, outlines

DECK_MEASURES_SQL = (
    "SELECT id, area_m2, rail_m, stair_treads, screen_m2 FROM clients_deck WHERE id = ANY"
    " (%(decks)s::bigint[])"
)

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
    minutes = minutes_per_unit(prices)
    once = {rate.task: float(rate.minutes) for rate in prices.rates if rate.per == "job"}
    known = outlines(deck_ids, today=today)
    measures = deck_measures(deck_ids)
    usual = usual_area_if_needed(area for _, area, *_ in measures)
    found = {
        deck: estimate_deck_hours(
            known[deck],
            {
                "m2": usual if area is None else float(area),
                "m": float(rail),
                "tread": float(treads),
                "screen": float(screens),
            },
            minutes,
            once,
        )
        for deck, area, rail, treads, screens in measures
    }
    if not all(hours.recoat and hours.strip for hours in found.values()):
        return {}
    return found | hours_from_drafts(found)


def usual_area_if_needed(areas: Iterable[Decimal | None]) -> float:
    """Asked of the database only where the size of a deck is not known; else 0."""
    return Deck.objects.usual_size().area_m2 if None in areas else 0.0


def deck_measures(deck_ids: Collection[int]) -> list[DeckMeasures]:
    """Of each deck; as one array, for thousands of parameters are slow to bind."""
    with connection.cursor() as cursor:
        cursor.execute(DECK_MEASURES_SQL, {"decks": list(deck_ids)})
        rows: list[DeckMeasures] = cursor.fetchall()
    return rows


def minutes_per_unit(prices: PriceTable) -> dict[str, list[tuple[str, float]]]:
    """Of each task, for one unit of each surface."""
    return {
        str(task): [
            (rate.per, float(rate.minutes))
            for rate in prices.rates_for_task(task)
            if rate.per in WORK_UNITS
        ]
        for task in Rate.Task
    }


def estimate_deck_hours(
    outline: Outline,
    sizes: Mapping[str, float],
    minutes: Mapping[str, list[tuple[str, float]]],
    once: Mapping[str, float],
) -> DeckHours:
    """`sizes` of the deck by the units in which surfaces are priced."""
    recoat, strip = (
        sum(
            each * sizes[unit] * float(times)
            for task, times in tasks.items()
            for unit, each in minutes[task]
        )
        / 60
        for tasks in (outline.recoat, outline.strip)
    )
    only_with = {"rails": sizes["m"], "stairs": sizes["tread"]}
    visit = sum(once.get(task, 0.0) for task in outline.recoat if only_with.get(task, 1)) / 60
    return DeckHours(visit, recoat, strip, outline.work == OfferScope.Work.STRIP)


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
