"""What goes into a price: the list in force, the work on each deck, the way there.
All frozen, all Decimal."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from math import ceil

from clients.notation import StrOrPromise
from jobs.materials import RAIL_M2_PER_M, TREAD_M2

# What goes over everything that is wood, not over the boards alone.
PASSES = ("strip", "clean", "brighten", "coat")
# Of each surface beside the boards: by what unit it is priced, and the square metres of one.
SURFACES = {
    "rails": ("m", RAIL_M2_PER_M),
    "stairs": ("tread", TREAD_M2),
    "screens": ("screen", Decimal(1)),
}
WORKING_DAY_HOURS = Decimal(8)  # of one person, to tell how many a crew has (a judgement)
ROAD_KM_H = Decimal(60)  # on country roads (common practice, no source)
WORK_UNITS = {"m2", *(unit for unit, _ in SURFACES.values())}
UNITS_OF_TASK = {"rails": {"job"}, "stairs": {"job"}, "hourly": {"hour"}, "set_up": {"m2"}}


class PricingError(ValueError):
    """No price can be calculated; the text says what is missing and where to put it."""


@dataclass(frozen=True)
class TaskRate:
    """A task's price for one unit and the minutes one unit takes.

    `per`: m2 of boards, m of rail, tread, screen (a square metre of it), hour or job (a visit).
    """

    task: str
    per: str
    amount: Decimal
    minutes: Decimal = Decimal(0)


@dataclass(frozen=True)
class TaxRule:
    """One tax in per cent, and the kinds of line it is on."""

    name: str
    percent: Decimal
    on_work: bool = True
    on_materials: bool = True
    on_travel: bool = True

    def is_on(self, kind: str) -> bool:
        """Surcharges and reductions are taxed as the work that they change."""
        return {"material": self.on_materials, "travel": self.on_travel}.get(kind, self.on_work)


@dataclass(frozen=True)
class PriceTable:
    """A price list as numbers; percentages as written, so 15 is 15 %."""

    rates: Sequence[TaskRate]
    taxes: Sequence[TaxRule] = ()
    zones: Mapping[str, Decimal] = field(default_factory=dict)  # town in small letters → charge
    minimum_charge: Decimal = Decimal(0)
    travel_free_km: Decimal = Decimal(0)
    travel_per_km: Decimal = Decimal(0)
    high_above_m: Decimal | None = None
    high_percent: Decimal = Decimal(0)
    markup_percent: Decimal = Decimal(0)
    off_season_months: Sequence[int] = ()
    off_season_percent: Decimal = Decimal(0)
    early_percent: Decimal = Decimal(0)
    is_inclusive: bool = False
    rounds_lines: bool = False
    name: str = "The price list"

    def rates_for_task(self, task: str) -> list[TaskRate]:
        """Its own, and for each surface without one that of as many square metres of boards."""
        own = [rate for rate in self.rates if rate.task == task]
        boards = next((rate for rate in own if rate.per == "m2"), None)
        if boards is None or task not in PASSES:
            return own
        priced = {rate.per for rate in own}
        return own + [
            TaskRate(task, unit, boards.amount * m2, boards.minutes * m2)
            for unit, m2 in SURFACES.values()
            if unit not in priced
        ]


@dataclass(frozen=True)
class MaterialUse:
    """What is used up on one deck, in litres, and what a litre costs the business."""

    words: str
    litres: Decimal
    price_per_litre: Decimal


@dataclass(frozen=True)
class DeckWork:
    """The work on one deck: each task with how often it is done over the whole surface (coats,
    applications)."""

    deck_index: int  # which deck of the offer, so that its lines find their scope again
    name: str
    tasks: Mapping[str, int]
    area_m2: Decimal
    rail_m: Decimal = Decimal(0)
    stair_treads: Decimal = Decimal(0)
    screen_m2: Decimal = Decimal(0)
    height_m: Decimal | None = None
    materials: Sequence[MaterialUse] = ()

    def measure(self, per: str) -> Decimal:
        """How much of it there is by that unit of a surface."""
        sizes = {
            "m2": self.area_m2,
            "m": self.rail_m,
            "tread": self.stair_treads,
            "screen": self.screen_m2,
        }
        return sizes[per]


@dataclass(frozen=True)
class Journey:
    """The way to the property, one way in kilometres; None where it is not known.

    `visits`: on how many days the waits of the work make somebody come, `day_hours`: what a crew
    works a day, all its people together; None where there is no crew.
    """

    town: str
    km: Decimal | None = None
    is_estimate: bool = False
    visits: int = 1
    day_hours: Decimal | None = None

    @property
    def hours_a_visit(self) -> Decimal:
        """What the way there and back takes everybody."""
        people = ceil((self.day_hours or WORKING_DAY_HOURS) / WORKING_DAY_HOURS)
        return 2 * (self.km or Decimal(0)) / ROAD_KM_H * people

    def days_for_work(self, hours: Decimal) -> int:
        """Days on site for so many hours of work: as many as it waits for, or as it fills."""
        if self.day_hours is None:
            return self.visits
        left = max(self.day_hours - self.hours_a_visit, self.day_hours / 2)
        return max(self.visits, ceil(hours / left))


@dataclass(frozen=True)
class Reductions:
    """Which reductions the offer may carry:
    the month of the work, and whether it is booked before it is due."""

    month: int | None = None
    is_early: bool = False


@dataclass(frozen=True)
class PricedLine:
    """One line: its amount is quantity times unit price, rounded half up to the cent."""

    kind: str
    words: StrOrPromise
    quantity: Decimal
    unit: str
    unit_price: Decimal
    amount: Decimal
    deck_index: int | None = None
    taxes: tuple[str, ...] = ()
