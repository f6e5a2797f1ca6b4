"""What goes into a price: the list in force, the work on each deck, the way there.
All frozen, all Decimal."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from clients.languages import StrOrPromise


class PricingError(ValueError):
    """No price can be calculated; the text says what is missing and where to put it."""


@dataclass(frozen=True)
class TaskRate:
    """A task's price for one unit (`per`: m2, m, tread, hour or job) and the minutes one unit
    takes."""

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
        return [rate for rate in self.rates if rate.task == task]


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
    height_m: Decimal | None = None
    materials: Sequence[MaterialUse] = ()

    def measure(self, task: str, per: str) -> Decimal | None:
        """How much of the task there is by that unit; None where the unit does not fit the task."""
        own = {"rails": {"m": self.rail_m}, "stairs": {"tread": self.stair_treads}}.get(
            task, {"m2": self.area_m2}
        )
        return own.get(per)


@dataclass(frozen=True)
class Journey:
    """The way to the property, one way in kilometres; None where it is not known."""

    town: str
    km: Decimal | None = None
    is_estimate: bool = False


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
