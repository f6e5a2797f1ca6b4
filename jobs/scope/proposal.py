"""From rows to scopes: histories, shelf and season are read once, then each deck is worked out by
itself."""

from collections.abc import Collection, Iterable, Mapping
from copy import copy
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from clients import display
from clients.models import Business, Deck, Property, Surface
from jobs.forecast_summary import WorkAdvice, surfaces_for_later_by_deck, work_advice_by_deck
from jobs.models import OfferScope, Product, Rate
from jobs.scope import drying
from jobs.scope.definitions import Override, Scope
from jobs.scope.finish import choose_finish
from jobs.scope.history import DeckHistory, deck_histories
from jobs.scope.needs import Supply, chemicals_for, material_needs, surfaces_of
from jobs.scope.shelf import load_shelf
from jobs.scope.steps import work_steps
from jobs.scope.work import ProposedWork, decide_work
from jobs.work import danger_warning, job_cautions

NO_OVERRIDE = Override()
WALKED_ON = {Surface.BOARDS, Surface.STAIRS}
MEASURE_OF_SURFACE = {
    Surface.BOARDS: "area_m2",
    Surface.STAIRS: "stair_treads",
    Surface.RAILS: "rail_m",
    Surface.SCREENS: "screen_m2",
}
SIZE_NOT_KNOWN = "The size of this deck is not known: enter it to see materials and price."


@dataclass(frozen=True)
class SeasonDay:
    """The month the work can be done in, the latitude that makes its season, what the forecast
    advises on the day of asking, and which surfaces it leaves for later."""

    month: date
    latitude: float
    advice: WorkAdvice | None = None
    later: Collection[str] = ()

    @property
    def season(self) -> str:
        return drying.drying_season(self.month.month, self.latitude)


def propose_scopes(
    decks: Iterable[Deck], *, today: date, overrides: Mapping[int, Override] | None = None
) -> dict[int, Scope]:
    """The scope of each deck by its number, in a fixed number of queries however many decks.

    Tins on the shelf are shared by the decks of one property; every property sees the whole shelf,
    for a scope reserves nothing. `overrides`, by deck, go before what the history says.
    """
    listed = list({deck.pk: deck for deck in decks}.values())
    past = deck_histories(listed)
    stock = load_shelf(today=today)
    latitudes = dict(Property.objects.filter(decks__in=listed).values_list("pk", "latitude"))
    business = Business.current()
    month = drying.next_workable_month(today, business.season_months if business else [])
    advice = work_advice_by_deck([deck.pk for deck in listed], today=today)
    many = [deck.pk for deck in listed if len(deck.surfaces) > 1]
    later = surfaces_for_later_by_deck(many, today=today) if many else {}
    supplies: dict[int, Supply] = {}
    with display.override_business(business):
        return {
            deck.pk: build_scope(
                past[deck.pk],
                supplies.setdefault(deck.site_id, Supply(stock)),
                (overrides or {}).get(deck.pk, NO_OVERRIDE),
                SeasonDay(
                    month, latitudes[deck.site_id], advice.get(deck.pk), later.get(deck.pk, ())
                ),
            )
            for deck in listed
        }


def propose_scope(deck: Deck, *, today: date, override: Override = NO_OVERRIDE) -> Scope:
    return propose_scopes([deck], today=today, overrides={deck.pk: override})[deck.pk]


def build_scope(history: DeckHistory, supply: Supply, override: Override, day: SeasonDay) -> Scope:
    surfaces = worked_surfaces(history.deck, override, day)
    worked = deck_of_surfaces(history.deck, surfaces)
    is_on_boards = Surface.BOARDS in surfaces
    past = history if is_on_boards else history.on_surface(surfaces[0])
    choice = choose_finish(past, supply.shelf, override)
    work = decide_work(past, choice, override, day.advice if is_on_boards else WorkAdvice.RECOAT)
    if override.without_sanding and work.work == OfferScope.Work.RECOAT:
        work = replace(work, is_sanded=False)
    if WALKED_ON.isdisjoint(surfaces):  # nothing upright is sanded by machine
        work = replace(work, is_sanded=False)
    chemicals = chemicals_for(past, work, supply.shelf)
    used = [product for product in [*chemicals.values(), choice.product] if product]
    return Scope(
        deck=history.deck,
        worked=worked,
        work=work.work,
        reasons=[reason for reason in work.reasons if reason],
        stripper_applications=work.stripper_applications,
        coats=work.coats,
        product=choice.product,
        colour=choice.colour,
        same_as_last=choice.same_as_last,
        warning=" ".join(
            filter(
                None,
                (
                    danger_warning(history.defects),
                    SIZE_NOT_KNOWN if worked.area_m2 is None else "",
                    work.warning,
                    choice.warning,
                ),
            )
        ),
        needs=material_needs(past, work, choice, surfaces_of(worked), supply),
        steps=work_steps(worked, work, chemicals, choice, day.season),
        quantities=task_quantities(worked, work, chemicals),
        season=day.season,
        month=day.month,
        cautions=job_cautions(worked, work.work, used, history.defects),
        looks_first=work.looks_first,
        surfaces=surfaces,
        left_out=[name for name in history.deck.surfaces if name not in surfaces],
    )


def worked_surfaces(deck: Deck, override: Override, day: SeasonDay) -> list[str]:
    """Those that were asked for, else those that are due."""
    asked = [name for name in deck.surfaces if name in override.surfaces]
    return asked or [name for name in deck.surfaces if name not in day.later] or deck.surfaces


def deck_of_surfaces(deck: Deck, surfaces: Collection[str]) -> Deck:
    """The same deck with no more measures than those of these surfaces; never saved."""
    if len(surfaces) == len(deck.surfaces):
        return deck
    part = copy(deck)
    for name, field in MEASURE_OF_SURFACE.items():
        if name not in surfaces and getattr(part, field) is not None:
            setattr(part, field, 0 if name == Surface.STAIRS else Decimal(0))
    return part


def task_quantities(
    deck: Deck, work: ProposedWork, chemicals: Mapping[str, Product | None]
) -> dict[str, Decimal]:
    """What the price list charges for, by task; a task with nothing to do is left out, and so is
    what goes by an area that nobody knows."""
    area = deck.area_m2 or Decimal(0)
    found = surfaces_of(deck)
    if found and not found.boards:  # what is done to rails alone is counted by their area
        area = found.total
    task = Rate.Task
    counted = {
        task.SET_UP: Decimal(1),
        task.STRIP: area * work.stripper_applications,
        task.CLEAN: area if "cleaner" in chemicals else Decimal(0),
        task.BRIGHTEN: area if "brightener" in chemicals else Decimal(0),
        task.SAND: area if work.is_sanded else Decimal(0),
        task.COAT: area * work.coats,
        task.RAILS: deck.rail_m,
        task.STAIRS: Decimal(deck.stair_treads),
    }
    return {str(name): value for name, value in counted.items() if value > 0}
