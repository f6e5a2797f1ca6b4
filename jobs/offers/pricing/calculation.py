"""From the price list and the work to the lines of an offer, and to the hours that the work takes."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy as _

from clients.languages import Words
from clients.units import AREA, LENGTH, VOLUME, Units
from jobs.offers.pricing.prices import (
    DeckWork,
    Journey,
    Line,
    Prices,
    PricingProblem,
    Reductions,
    TaskRate,
)
from jobs.offers.pricing.rounding import cents
from jobs.offers.pricing.taxes import Totals, totals
from jobs.offers.pricing.wording import PER, TASKS, percent, task_words

HUNDRED, SIXTY = Decimal(100), Decimal(60)
MOST_HOURS = Decimal(9_999)
FREE_TO_LACK = {"set_up"}  # asked for only where the list has a price for it
SHOWN = {"m2": AREA, "m": LENGTH, "L": VOLUME}


@dataclass(frozen=True)
class Reckoned:
    """The lines in order, the totals, and the hours of work of each deck (by its place) and of the whole visit."""

    lines: tuple[Line, ...]
    totals: Totals
    hours: dict[int, Decimal]
    visit_hours: Decimal

    @property
    def all_hours(self) -> Decimal:
        return sum(self.hours.values(), self.visit_hours)


def reckon(
    prices: Prices, decks: Sequence[DeckWork], journey: Journey, reductions: Reductions, *, units: str = Units.METRIC
) -> Reckoned:
    """Reckon the lines of one visit.

    Order: work and height surcharge of each deck, prices a visit, materials, the larger of the reductions (on the
    work), what is missing to the minimum charge (without travel), travel. Raises `PricingProblem`.
    """
    check(prices, decks)
    work = [line for deck in decks for line in deck_lines(prices, deck, units)] + visit_lines(prices, decks)
    materials = [line for deck in decks for line in material_lines(prices, deck, units)]
    lines = [*work, *materials]
    lines += reduction_line(prices, work, reductions)
    lines += minimum_line(prices, lines)
    lines += travel_line(prices, journey)
    lines = [with_taxes(prices, line) for line in lines]
    hours = {deck.place: deck_hours(prices, deck) for deck in decks}
    found = Reckoned(tuple(lines), total_of(prices, lines), hours, visit_hours(prices, decks))
    if found.all_hours > MOST_HOURS:
        raise PricingProblem(f"The work would take {found.all_hours:,.0f} hours. Check the area of the deck.")
    return found


def total_of(prices: Prices, lines: Sequence[Line]) -> Totals:
    return totals(lines, prices.taxes, is_inclusive=prices.is_inclusive, rounds_lines=prices.rounds_lines)


def with_taxes(prices: Prices, line: Line) -> Line:
    return replace(line, taxes=tuple(rule.name for rule in prices.taxes if rule.is_on(line.kind)))


def check(prices: Prices, decks: Iterable[DeckWork]) -> None:
    """Every task has a price that fits it, and there is something to work on."""
    for deck in decks:
        if deck.area_m2 <= 0:
            raise PricingProblem(f"{deck.name} has no area. Enter it on the deck's page.")
        for task in deck.tasks:
            check_task(prices, deck, task)


def check_task(prices: Prices, deck: DeckWork, task: str) -> None:
    rates = prices.of_task(task)
    name = TASKS.get(task, task)
    if not rates and task not in FREE_TO_LACK:
        raise PricingProblem(f"{prices.name} has no price for “{name}”. Add one (0 if it is part of another price).")
    unfit = [rate for rate in rates if rate.per not in {"job", "hour"} and deck.measure(task, rate.per) is None]
    if unfit:
        raise PricingProblem(f"{prices.name}: “{name}” cannot be priced per {PER.get(unfit[0].per, unfit[0].per)}.")
    if any(rate.per == "hour" for rate in rates) and not any(rate.minutes for rate in rates if rate.per != "hour"):
        raise PricingProblem(
            f"{prices.name} has a price an hour for “{name}” but not how long it takes. "
            "Add a row for the same task with its minutes a unit; its price may be 0."
        )


def quantity_of(deck: DeckWork, rate: TaskRate, prices: Prices) -> Decimal | None:
    """How many units of this rate the deck takes, all coats together; None for a price a visit."""
    if rate.per == "job":
        return None
    if rate.per == "hour":
        return task_minutes(prices, deck, rate.task) / SIXTY
    return (deck.measure(rate.task, rate.per) or Decimal(0)) * deck.tasks[rate.task]


def task_minutes(prices: Prices, deck: DeckWork, task: str) -> Decimal:
    """What a task takes on one deck; minutes of a price a visit count once for the visit, elsewhere."""
    timed = [rate for rate in prices.of_task(task) if rate.per not in {"hour", "job"}]
    return sum((rate.minutes * (quantity_of(deck, rate, prices) or 0) for rate in timed), Decimal(0))


def deck_hours(prices: Prices, deck: DeckWork) -> Decimal:
    return cents(sum((task_minutes(prices, deck, task) for task in deck.tasks), Decimal(0)) / SIXTY)


def visit_rates(prices: Prices, decks: Sequence[DeckWork]) -> list[TaskRate]:
    wanted = {task for deck in decks for task in deck.tasks}
    return [rate for rate in prices.rates if rate.per == "job" and rate.task in wanted]


def visit_hours(prices: Prices, decks: Sequence[DeckWork]) -> Decimal:
    return cents(sum((rate.minutes for rate in visit_rates(prices, decks)), Decimal(0)) / SIXTY)


def made(kind: str, words: Words, quantity: Decimal, unit: str, unit_price: Decimal, place: int | None = None) -> Line:
    """A line with quantity and price rounded first, so that the amount can be checked from what is printed."""
    quantity, unit_price = cents(quantity), cents(unit_price)
    return Line(kind, words, quantity, unit, unit_price, cents(quantity * unit_price), place)


def in_units(quantity: Decimal, price: Decimal, unit: str, units: str) -> tuple[Decimal, str, Decimal]:
    """Quantity, unit and price as the business reads them: m² or ft², each with the price of one."""
    kind = SHOWN.get(unit)
    if kind is None:
        return quantity, PER.get(unit, unit), price
    return kind.shown(quantity, units), kind.symbol(units), kind.to_si(price, units)


def deck_lines(prices: Prices, deck: DeckWork, units: str) -> list[Line]:
    """The work on one deck, and the surcharge if it stands high."""
    lines = []
    for task, times in deck.tasks.items():
        for rate in prices.of_task(task):
            measure = quantity_of(deck, rate, prices)
            if measure and rate.amount:
                each = 1 if rate.per == "hour" else times
                quantity, unit, price = in_units(measure / each, rate.amount, rate.per, units)
                lines.append(made("work", task_words(task, times), quantity, unit, cents(price) * each, deck.place))
    return lines + height_line(prices, deck, lines)


def height_line(prices: Prices, deck: DeckWork, work: Sequence[Line]) -> list[Line]:
    is_high = prices.high_above_m is not None and deck.height_m is not None and deck.height_m > prices.high_above_m
    if not is_high or not prices.high_percent or not work:
        return []
    more = sum(line.amount for line in work) * prices.high_percent / HUNDRED
    words = format_lazy(_("High deck, {percent} % on the work"), percent=percent(prices.high_percent))
    return [made("extra", words, Decimal(1), "", more, deck.place)]


def visit_lines(prices: Prices, decks: Sequence[DeckWork]) -> list[Line]:
    """Prices a visit are charged once, however many decks there are."""
    rates = visit_rates(prices, decks)
    return [made("work", TASKS[rate.task], Decimal(1), "visit", rate.amount) for rate in rates if rate.amount]


def material_lines(prices: Prices, deck: DeckWork, units: str) -> list[Line]:
    """By the litre used, at what a litre costs the business and the mark-up."""
    lines = []
    for material in deck.materials:
        price = material.price_per_litre * (1 + prices.markup_percent / HUNDRED)
        quantity, unit, price = in_units(material.litres, price, "L", units)
        lines.append(made("material", material.words, quantity, unit, price, deck.place))
    return [line for line in lines if line.amount]


def reduction_line(prices: Prices, work: Sequence[Line], reductions: Reductions) -> list[Line]:
    """Of two reductions the larger counts; both are on the work alone."""
    off, early = prices.off_season_percent, prices.early_percent
    choices: list[tuple[Decimal, Words]] = []
    if reductions.month in prices.off_season_months and off:
        words = _("Off-season reduction, {percent} % on the work")
        choices.append((off, format_lazy(words, percent=percent(off))))
    if reductions.is_early and early:
        words = _("Reduction for booking before the due date, {percent} % on the work")
        choices.append((early, format_lazy(words, percent=percent(early))))
    if not choices or not work:
        return []
    less, said = max(choices, key=lambda choice: choice[0])
    return [made("less", said, Decimal(1), "", -sum(line.amount for line in work) * less / HUNDRED)]


def minimum_line(prices: Prices, lines: Sequence[Line]) -> list[Line]:
    missing = prices.minimum_charge - sum(line.amount for line in lines)
    return [made("extra", _("Up to the minimum charge"), Decimal(1), "", missing)] if missing > 0 else []


def travel_line(prices: Prices, journey: Journey) -> list[Line]:
    """The charge of the town's zone; else each kilometre one way beyond the free ones."""
    zone = prices.zones.get(journey.town.strip().lower())
    if zone is not None:
        words = format_lazy(_("Travel to {town}"), town=journey.town)
        return [made("travel", words, Decimal(1), "visit", zone)] if zone else []
    if journey.km is None or not prices.travel_per_km:
        return []
    km = cents(journey.km - prices.travel_free_km)
    said = _("Travel to {town} (distance estimated)") if journey.is_estimate else _("Travel to {town}")
    words = format_lazy(said, town=journey.town)
    return [made("travel", words, km, "km", prices.travel_per_km)] if km > 0 else []
