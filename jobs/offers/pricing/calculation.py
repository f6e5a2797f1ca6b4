"""From the price list and the work to the lines of an offer, and to the hours that the work
takes."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy as _

from clients.notation import AREA, LENGTH, VOLUME, StrOrPromise, Units
from jobs.offers.pricing.labels import TASK_LABELS, UNIT_LABELS, lazy_percent, task_label
from jobs.offers.pricing.prices import (
    SURFACES,
    UNITS_OF_TASK,
    WORK_UNITS,
    DeckWork,
    Journey,
    PricedLine,
    PriceTable,
    PricingError,
    Reductions,
    TaskRate,
)
from jobs.offers.pricing.rounding import cents
from jobs.offers.pricing.taxes import Totals, calculate_totals

HUNDRED = Decimal(100)
MINUTES_PER_HOUR = Decimal(60)
MAX_OFFER_HOURS = Decimal(9_999)
OPTIONAL_TASKS = {"set_up", "rails", "stairs"}  # only where the list has a price for it
DISPLAY_UNITS = {"m2": AREA, "m": LENGTH, "screen": AREA, "L": VOLUME}


@dataclass(frozen=True)
class PricedWork:
    """The lines in order, the totals, the hours of work of each deck (by its place) and of the
    whole visit with the ways there, and the days on site."""

    lines: tuple[PricedLine, ...]
    totals: Totals
    hours: dict[int, Decimal]
    visit_hours: Decimal
    visits: int = 1

    @property
    def total_hours(self) -> Decimal:
        return sum(self.hours.values(), self.visit_hours)


def price_work(
    prices: PriceTable,
    decks: Sequence[DeckWork],
    journey: Journey,
    reductions: Reductions,
    *,
    units: str = Units.METRIC,
) -> PricedWork:
    """Calculate the lines of one visit.

    Order: work and height surcharge of each deck, prices a visit, materials, the larger of the
    reductions (on the work), what is missing to the minimum charge (without travel), travel for
    each day on site. Raises `PricingError`.
    """
    check_priceable(prices, decks)
    work = [line for deck in decks for line in deck_lines(prices, deck, units)] + visit_lines(
        prices, decks
    )
    materials = [line for deck in decks for line in material_lines(prices, deck, units)]
    lines = [*work, *materials]
    lines += reduction_line(prices, work, reductions)
    lines += minimum_line(prices, lines)
    hours = {deck.deck_index: priced_deck_hours(prices, deck) for deck in decks}
    around = priced_visit_hours(prices, decks)
    visits = journey.days_for_work(sum(hours.values(), around))
    lines += travel_line(prices, journey, visits)
    lines = [with_tax_names(prices, line) for line in lines]
    around += cents(journey.hours_a_visit * visits)
    found = PricedWork(tuple(lines), totals_of_lines(prices, lines), hours, around, visits)
    if found.total_hours > MAX_OFFER_HOURS:
        raise PricingError(
            f"The work would take {found.total_hours:,.0f} hours. Check the area of the deck."
        )
    return found


def totals_of_lines(
    prices: PriceTable, lines: Sequence[PricedLine], *, may_be_less: bool = False
) -> Totals:
    return calculate_totals(
        lines,
        prices.taxes,
        is_inclusive=prices.is_inclusive,
        rounds_lines=prices.rounds_lines,
        may_be_less=may_be_less,
    )


def with_tax_names(prices: PriceTable, line: PricedLine) -> PricedLine:
    return replace(line, taxes=tuple(rule.name for rule in prices.taxes if rule.is_on(line.kind)))


def check_priceable(prices: PriceTable, decks: Iterable[DeckWork]) -> None:
    """Every task has a price that fits it, and there is something to work on."""
    for deck in decks:
        if not any(deck.measure(unit) > 0 for unit in WORK_UNITS):
            raise PricingError(f"{deck.name} has no area. Enter it on the deck's page.")
        for task in deck.tasks:
            check_task_rates(prices, deck, task)


def check_task_rates(prices: PriceTable, deck: DeckWork, task: str) -> None:
    rates = prices.rates_for_task(task)
    name = TASK_LABELS.get(task, task)
    if not rates and task not in OPTIONAL_TASKS:
        raise PricingError(
            f"{prices.name} has no price for “{name}”. Add one (0 if it is part of another price)."
        )
    fit = {"job", "hour"} | UNITS_OF_TASK.get(task, WORK_UNITS)
    unfit = [rate for rate in rates if rate.per not in fit]
    if unfit:
        raise PricingError(
            f"{prices.name}: “{name}” cannot be priced per"
            f" {UNIT_LABELS.get(unfit[0].per, unfit[0].per)}."
        )
    if any(rate.per == "hour" for rate in rates) and not any(
        rate.minutes for rate in rates if rate.per != "hour"
    ):
        raise PricingError(
            f"{prices.name} has a price an hour for “{name}” but not how long it takes. "
            "Add a row for the same task with its minutes a unit; its price may be 0."
        )


def rate_quantity(deck: DeckWork, rate: TaskRate, prices: PriceTable) -> Decimal | None:
    """How many units of this rate the deck takes, all coats together; None for a price a visit."""
    if rate.per == "job":
        return None
    if rate.per == "hour":
        return task_minutes(prices, deck, rate.task) / MINUTES_PER_HOUR
    return deck.measure(rate.per) * deck.tasks[rate.task]


def task_minutes(prices: PriceTable, deck: DeckWork, task: str) -> Decimal:
    """What a task takes on one deck; minutes of a price a visit count once for the visit,
    elsewhere."""
    timed = [rate for rate in prices.rates_for_task(task) if rate.per not in {"hour", "job"}]
    return sum(
        (rate.minutes * (rate_quantity(deck, rate, prices) or 0) for rate in timed), Decimal(0)
    )


def priced_deck_hours(prices: PriceTable, deck: DeckWork) -> Decimal:
    return cents(
        sum((task_minutes(prices, deck, task) for task in deck.tasks), Decimal(0))
        / MINUTES_PER_HOUR
    )


def visit_rates(prices: PriceTable, decks: Sequence[DeckWork]) -> list[TaskRate]:
    wanted = {task for deck in decks for task in deck.tasks}
    return [rate for rate in prices.rates if rate.per == "job" and rate.task in wanted]


def priced_visit_hours(prices: PriceTable, decks: Sequence[DeckWork]) -> Decimal:
    return cents(
        sum((rate.minutes for rate in visit_rates(prices, decks)), Decimal(0)) / MINUTES_PER_HOUR
    )


def rounded_line(
    kind: str,
    words: StrOrPromise,
    quantity: Decimal,
    unit: str,
    unit_price: Decimal,
    deck_index: int | None = None,
) -> PricedLine:
    """A line with quantity and price rounded first, so that the amount can be checked from what is
    printed."""
    quantity = cents(quantity)
    unit_price = cents(unit_price)
    return PricedLine(
        kind, words, quantity, unit, unit_price, cents(quantity * unit_price), deck_index
    )


def in_display_units(
    quantity: Decimal, price: Decimal, unit: str, units: str
) -> tuple[Decimal, str, Decimal]:
    """Quantity, unit and price as the business reads them:
    m² or ft², each with the price of one."""
    kind = DISPLAY_UNITS.get(unit)
    if kind is None:
        return quantity, UNIT_LABELS.get(unit, unit), price
    return kind.from_si(quantity, units), kind.symbol(units), kind.to_si(price, units)


def deck_lines(prices: PriceTable, deck: DeckWork, units: str) -> list[PricedLine]:
    """The work on one deck, its boards first, and the surcharge if it stands high."""
    lines = []
    for task, times in deck.tasks.items():
        for rate in boards_rates(prices, task):
            measure = rate_quantity(deck, rate, prices)
            if measure and rate.amount:
                each = 1 if rate.per == "hour" else times
                quantity, unit, price = in_display_units(
                    measure / each, rate.amount, rate.per, units
                )
                lines.append(
                    rounded_line(
                        "work",
                        task_label(task, times),
                        quantity,
                        unit,
                        cents(price) * each,
                        deck.deck_index,
                    )
                )
    lines += surface_lines(prices, deck, units)
    return lines + height_line(prices, deck, lines)


def boards_rates(prices: PriceTable, task: str) -> list[TaskRate]:
    other = {unit for unit, _ in SURFACES.values()}
    return [rate for rate in prices.rates_for_task(task) if rate.per not in other]


def surface_lines(prices: PriceTable, deck: DeckWork, units: str) -> list[PricedLine]:
    """Rails, stairs and screens: a line each for everything that is done to them."""
    lines = []
    for name, (unit, _m2) in SURFACES.items():
        quantity, shown, price = deck.measure(unit), "", Decimal(0)
        for rate, times in rates_of_surface(prices, deck, unit):
            quantity, shown, each = in_display_units(deck.measure(unit), rate.amount, unit, units)
            price += cents(each) * times
        if quantity and price:
            lines.append(
                rounded_line("work", TASK_LABELS[name], quantity, shown, price, deck.deck_index)
            )
    return lines


def rates_of_surface(
    prices: PriceTable, deck: DeckWork, unit: str
) -> Iterator[tuple[TaskRate, int]]:
    """What is done to it, and how often."""
    for task, times in deck.tasks.items():
        for rate in prices.rates_for_task(task):
            if rate.per == unit:
                yield rate, times


def height_line(prices: PriceTable, deck: DeckWork, work: Sequence[PricedLine]) -> list[PricedLine]:
    is_high = (
        prices.high_above_m is not None
        and deck.height_m is not None
        and deck.height_m > prices.high_above_m
    )
    if not is_high or not prices.high_percent or not work:
        return []
    more = sum(line.amount for line in work) * prices.high_percent / HUNDRED
    words = format_lazy(
        _("High deck, {percent} % on the work"), percent=lazy_percent(prices.high_percent)
    )
    return [rounded_line("extra", words, Decimal(1), "", more, deck.deck_index)]


def visit_lines(prices: PriceTable, decks: Sequence[DeckWork]) -> list[PricedLine]:
    """Prices a visit are charged once, however many decks there are."""
    rates = visit_rates(prices, decks)
    return [
        rounded_line("work", TASK_LABELS[rate.task], Decimal(1), "visit", rate.amount)
        for rate in rates
        if rate.amount
    ]


def material_lines(prices: PriceTable, deck: DeckWork, units: str) -> list[PricedLine]:
    """By the litre used, at what a litre costs the business and the mark-up."""
    lines = []
    for material in deck.materials:
        price = material.price_per_litre * (1 + prices.markup_percent / HUNDRED)
        quantity, unit, price = in_display_units(material.litres, price, "L", units)
        lines.append(
            rounded_line("material", material.words, quantity, unit, price, deck.deck_index)
        )
    return [line for line in lines if line.amount]


def reduction_line(
    prices: PriceTable, work: Sequence[PricedLine], reductions: Reductions
) -> list[PricedLine]:
    """Of two reductions the larger counts; both are on the work alone."""
    off = prices.off_season_percent
    early = prices.early_percent
    choices: list[tuple[Decimal, StrOrPromise]] = []
    if reductions.month in prices.off_season_months and off:
        words = _("Off-season discount, {percent} % on the work")
        choices.append((off, format_lazy(words, percent=lazy_percent(off))))
    if reductions.is_early and early:
        words = _("Discount for booking before the due date, {percent} % on the work")
        choices.append((early, format_lazy(words, percent=lazy_percent(early))))
    if not choices or not work:
        return []
    less, said = max(choices, key=lambda choice: choice[0])
    return [
        rounded_line(
            "less", said, Decimal(1), "", -sum(line.amount for line in work) * less / HUNDRED
        )
    ]


def minimum_line(prices: PriceTable, lines: Sequence[PricedLine]) -> list[PricedLine]:
    missing = prices.minimum_charge - sum(line.amount for line in lines)
    return (
        [rounded_line("extra", _("Up to the minimum charge"), Decimal(1), "", missing)]
        if missing > 0
        else []
    )


def travel_line(prices: PriceTable, journey: Journey, visits: int) -> list[PricedLine]:
    """For each day on site the charge of the town's zone; else each kilometre one way beyond the
    free ones."""
    zone = prices.zones.get(journey.town.strip().lower())
    if zone is not None:
        words = format_lazy(_("Travel to {town}"), town=journey.town)
        return [rounded_line("travel", words, Decimal(visits), "visit", zone)] if zone else []
    if journey.km is None or not prices.travel_per_km:
        return []
    km = cents(journey.km - prices.travel_free_km) * visits
    said = (
        _("Travel to {town} (distance estimated)") if journey.is_estimate else _("Travel to {town}")
    )
    words = format_lazy(said, town=journey.town)
    return [rounded_line("travel", words, km, "km", prices.travel_per_km)] if km > 0 else []
