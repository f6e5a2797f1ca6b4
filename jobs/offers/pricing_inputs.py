"""Rows of the book as the frozen inputs of jobs.offers.pricing."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from clients import display
from clients.models import Business, Place, Property
from clients.places.climate import distance_km
from jobs.models import Crew, OfferTerms, PriceList
from jobs.offers.pricing import (
    DeckWork,
    Journey,
    MaterialUse,
    PriceTable,
    PricingError,
    TaskRate,
    TaxRule,
)
from jobs.scope import Scope

# How much longer the road is than the line through the air (common practice, no source).
ROAD_FACTOR = Decimal("1.3")
MAX_GUESSED_KM = Decimal(300)  # no road is guessed beyond it: there may be none (judgement)
TENTH = Decimal("0.1")


@dataclass(frozen=True)
class DraftingContext:
    """What every draft of a run needs, read once."""

    business: Business
    price_list: PriceList
    prices: PriceTable
    yard: tuple[float, float] | None  # latitude and longitude of the business's town
    day_hours: Decimal | None = None  # of the largest crew
    terms_languages: frozenset[str] = frozenset()  # in which the business has written its terms

    def valid_until(self, today: date) -> date:
        """The last day of an offer drafted today."""
        return today + timedelta(days=self.price_list.valid_days)


def drafting_context(*, today: date) -> DraftingContext:
    """Raises `PricingError` where no price list is in force."""
    business = Business.objects.get()
    price_list = PriceList.objects.in_force(today)
    if price_list is None:
        raise PricingError("No price list is in force today. Add one under Settings, Prices.")
    largest = Crew.objects.filter(is_active=True).order_by("-hours_a_day").first()
    return DraftingContext(
        business,
        price_list,
        prices_from_list(price_list),
        yard_coordinates(business),
        largest.hours_a_day if largest else None,
        frozenset(OfferTerms.objects.values_list("language", flat=True)),
    )


def prices_from_list(row: PriceList) -> PriceTable:
    """The whole list as numbers."""
    return PriceTable(
        rates=[
            TaskRate(rate.task, rate.per, rate.amount, rate.minutes) for rate in row.rates.all()
        ],
        taxes=[
            TaxRule(tax.name, tax.percent, tax.on_work, tax.on_materials, tax.on_travel)
            for tax in row.taxes.all()
        ],
        zones={zone.town.strip().lower(): zone.amount for zone in row.zones.all()},
        minimum_charge=row.minimum_charge,
        travel_free_km=row.travel_free_km,
        travel_per_km=row.travel_per_km,
        high_above_m=row.high_above_m,
        high_percent=row.high_percent,
        markup_percent=row.markup_percent,
        off_season_months=tuple(row.off_season_months),
        off_season_percent=row.off_season_percent,
        early_percent=row.early_percent,
        is_inclusive=row.tax_mode == PriceList.TaxMode.INCLUSIVE,
        rounds_lines=row.tax_rounding == PriceList.Rounding.LINE,
        name=f"The price list from {display.format_day(row.valid_from)}",
    )


def yard_coordinates(business: Business) -> tuple[float, float] | None:
    """Where the business's town lies; None where the town is not in the table."""
    named = Place.objects.filter(
        ascii_name__iexact=business.town, country=business.country
    ).order_by("-population")
    near = named.filter(region__iexact=business.region) if business.region else named
    place = near.first() or named.first() if business.town else None
    return (place.latitude, place.longitude) if place else None


def journey_to(context: DraftingContext, place: Property, scopes: Iterable[Scope]) -> Journey:
    """The noted distance by road; else an estimate from the line through the air, said to be
    one. Decks of one property are worked on in the same visits."""
    visits = max((scope.visits for scope in scopes), default=1)
    if place.travel_km is not None or context.yard is None:
        return Journey(place.town, place.travel_km, visits=visits, day_hours=context.day_hours)
    air = Decimal(str(float(distance_km(*context.yard, place.latitude, place.longitude))))
    road = (air * ROAD_FACTOR).quantize(TENTH)
    km = road if road <= MAX_GUESSED_KM else None
    return Journey(place.town, km, is_estimate=True, visits=visits, day_hours=context.day_hours)


def deck_work_from_scope(scope: Scope, place: int) -> DeckWork:
    """The work of a scope on its deck; without an area it has no price (`PricingError`)."""
    deck = scope.worked
    if deck.area_m2 is None:
        raise PricingError(f"{deck.label} has no area. Enter it on the deck's page.")
    times = {"coat": scope.coats, "strip": scope.stripper_applications}
    return DeckWork(
        deck_index=place,
        name=deck.label,
        area_m2=deck.area_m2,
        rail_m=deck.rail_m,
        tasks={task: times.get(task, 1) for task, quantity in scope.quantities.items() if quantity},
        stair_treads=Decimal(deck.stair_treads),
        screen_m2=deck.screen_m2,
        height_m=deck.height_m,
        materials=scope_materials(scope),
    )


def scope_materials(scope: Scope) -> list[MaterialUse]:
    """What is used up, by the litre (abrasives by the piece are part of the work), where its price
    is known."""
    return [
        MaterialUse(str(need.product), need.litres, need.worth / need.litres)
        for need in scope.needs
        if need.product and need.worth and need.litres
    ]


def unpriced_products(scope: Scope) -> list[str]:
    """Products that are used and have no pack with a price, so that the offer does not hold
    them."""
    return [
        str(need.product)
        for need in scope.needs
        if need.product and need.litres and need.worth is None
    ]
