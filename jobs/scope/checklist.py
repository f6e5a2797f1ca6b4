"""The weather rules of a day as a checklist: what must hold, and whether it does where something was measured."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal

from clients import display
from jobs.models import Product
from jobs.scope.compatibility import is_film
from jobs.work.care import WALK_HOURS
from jobs.work.weather import LEAST_GAP_C, degrees, dew_point_c, resting_moisture_percent

# Where a data sheet is silent. Lowest: Wood Handbook FPL-GTR-190, ch. 16, 10 °C for water-borne and 4 °C for oil-based
# finishes. Highest: common practice, no source.
LOWEST_C = {"water": Decimal(10), "solvent": Decimal(4)}
HIGHEST_C = Decimal(35)
# Moisture of the wood, per cent: common practice, no source. A film traps what is below it.
MOST_MOISTURE = {"film": Decimal(15), "soaks_in": Decimal(18)}


@dataclass(frozen=True)
class Reading:
    """What was measured on the day; None was not. The surface temperature is that of the boards."""

    air_c: Decimal | None = None
    humidity_percent: int | None = None
    surface_c: Decimal | None = None
    moisture_percent: Decimal | None = None

    @property
    def boards_c(self) -> Decimal | None:
        """The boards if they were measured, else the air."""
        return self.air_c if self.surface_c is None else self.surface_c

    @property
    def dew_c(self) -> float | None:
        if self.air_c is None or not self.humidity_percent:
            return None
        return dew_point_c(float(self.air_c), self.humidity_percent)


@dataclass(frozen=True)
class Rule:
    """One rule: `is_met` None where nothing was measured, `found` what was, `source` where the limit is from."""

    name: str
    words: str
    source: str
    is_met: bool | None = None
    found: str = ""


NOTHING = Reading()


def checklist(products: Iterable[Product | None], reading: Reading = NOTHING) -> list[Rule]:
    """For sealing with these products on a day; the strictest of them counts."""
    finishes = [product for product in products if product and product.kind == Product.Kind.FINISH]
    return [
        *air(finishes, reading),
        *night(finishes, reading),
        dew(reading),
        moisture(finishes, reading),
        *by_eye(finishes),
    ]


def limits(finishes: Sequence[Product]) -> tuple[Decimal, Decimal, str]:
    """Lowest and highest temperature [°C], and where they are from."""
    lows = [LOWEST_C[p.base] if p.minimum_c is None else p.minimum_c for p in finishes] or [LOWEST_C["water"]]
    highs = [HIGHEST_C if p.maximum_c is None else p.maximum_c for p in finishes] or [HIGHEST_C]
    is_known = bool(finishes) and all(p.minimum_c is not None and p.maximum_c is not None for p in finishes)
    return max(lows), min(highs), "data sheet" if is_known else "Wood Handbook, common practice"


def air(finishes: Sequence[Product], reading: Reading) -> Iterator[Rule]:
    low, high, source = limits(finishes)
    words = f"Air and boards from {temperature(low)} to {temperature(high)}."
    values = [value for value in (reading.air_c, reading.surface_c) if value is not None]
    if not values:
        yield Rule("Temperature", words, source)
        return
    found = " and ".join(temperature(value) for value in values)
    yield Rule("Temperature", words, source, all(low <= value <= high for value in values), found)


def night(finishes: Sequence[Product], reading: Reading) -> Iterator[Rule]:
    """A water-borne finish must stay warm for a day; the dew point says how cold the night may get (Wood Handbook)."""
    if finishes and all(product.base == Product.Base.SOLVENT for product in finishes):
        return
    low, dew_c = limits(finishes)[0], reading.dew_c
    words = f"It stays above {temperature(low)} for 24 hours after. The dew point tells how cold the night may get."
    is_met = None if dew_c is None else dew_c >= low
    found = "" if dew_c is None else f"dew point {temperature(dew_c)}"
    yield Rule("The night after", words, "Wood Handbook", is_met, found)


def dew(reading: Reading) -> Rule:
    words = f"Boards at least {degrees(LEAST_GAP_C)} above the dew point, and rising."
    dew_c, boards_c = reading.dew_c, reading.boards_c
    if dew_c is None or boards_c is None:
        return Rule("Dew", words, "common practice")
    gap = float(boards_c) - dew_c
    return Rule("Dew", words, "common practice", gap >= LEAST_GAP_C, f"{degrees(gap)} above {temperature(dew_c)}")


def moisture(finishes: Sequence[Product], reading: Reading) -> Rule:
    most = MOST_MOISTURE["film" if any(is_film(product) for product in finishes) else "soaks_in"]
    words = f"Wood at {display.number(most)} % moisture or less, measured in several boards."
    rest = resting(reading)
    if reading.moisture_percent is None:
        return Rule("Wood moisture", words + rest, "common practice")
    found = f"{display.number(reading.moisture_percent)} %"
    return Rule("Wood moisture", words + rest, "common practice", reading.moisture_percent <= most, found)


def resting(reading: Reading) -> str:
    if reading.air_c is None or not reading.humidity_percent:
        return ""
    rest = resting_moisture_percent(float(reading.air_c), reading.humidity_percent)
    return f" In this air wood comes to rest at about {display.number(rest, 0)} % (Wood Handbook, eq. 4-5)."


def by_eye(finishes: Sequence[Product]) -> Iterator[Rule]:
    hours = max([WALK_HOURS if p.walk_hours is None else p.walk_hours for p in finishes] or [WALK_HOURS])
    yield Rule(
        "Rain",
        f"None while the wood dries, and none for {display.number(hours)} hours after the last coat.",
        "common practice",
    )
    yield Rule("Sun", "No hot boards in full sun, nor boards that the sun will heat within hours.", "Wood Handbook")


def temperature(value: Decimal | float) -> str:
    return display.measure(Decimal(str(value)), "temperature")
