"""The weather rules of a day as a checklist:
what must hold, and whether it does where something was measured."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal

from clients import display
from jobs.models import Product
from jobs.scope.drying import LEAST_DRYING_HOURS
from jobs.work import (
    DEFAULT_WALK_HOURS,
    MIN_DEW_POINT_DEPRESSION_C,
    dew_point_c,
    equilibrium_moisture_percent,
    is_film,
    temperature_difference,
)

# Where a data sheet is silent. Lowest: Wood Handbook FPL-GTR-190, ch. 16, 10 °C for water-borne and
# 4 °C for oil-based finishes. Highest: common practice, no source.
MIN_APPLICATION_C = {"water": Decimal(10), "solvent": Decimal(4)}
MAX_APPLICATION_C = Decimal(35)
# Moisture of the wood, per cent: common practice, no source. A film traps what is below it.
MAX_MOISTURE_PERCENT = {"film": Decimal(15), "soaks_in": Decimal(18)}


@dataclass(frozen=True)
class RainAround:
    """The rain that is expected around the last coat: how long before it ended and how long after
    it begins [h], None where none is told; nothing is told beyond `known_hours` after."""

    known_hours: float
    ended_hours_before: float | None = None
    begins_hours_after: float | None = None
    words: str = ""  # such as “expected at 4:00 p.m.”

    def spares(self, hours: Decimal) -> bool | None:
        """Whether wood dries and coat sets before it rains, for so many hours; None where the
        source does not look that far."""
        before = self.ended_hours_before
        if before is not None and before < LEAST_DRYING_HOURS:
            return False
        if self.begins_hours_after is not None:
            return self.begins_hours_after >= hours
        return True if self.known_hours >= hours else None


@dataclass(frozen=True)
class SiteReading:
    """What was measured on the day; None was not. The surface temperature is that of the boards."""

    air_c: Decimal | None = None
    humidity_percent: int | None = None
    surface_c: Decimal | None = None
    moisture_percent: Decimal | None = None
    night_c: Decimal | None = None  # the lowest that is forecast for the night after
    rain: RainAround | None = None  # that is forecast

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
class WeatherRule:
    """One rule: `is_met` None where nothing was measured, `found` what was, `source` where the
    limit is from, `wants` the limit in few words."""

    name: str
    words: str
    source: str
    is_met: bool | None = None
    found: str = ""
    wants: str = ""


NO_READING = SiteReading()


def weather_checklist(
    products: Iterable[Product | None], reading: SiteReading = NO_READING
) -> list[WeatherRule]:
    """For sealing with these products on a day; the strictest of them counts."""
    finishes = [product for product in products if product and product.kind == Product.Kind.FINISH]
    return [
        *air_rules(finishes, reading),
        *night_rules(finishes, reading),
        dew_rule(reading),
        moisture_rule(finishes, reading),
        rain_rule(finishes, reading),
        SUN_RULE,
    ]


def temperature_limits(finishes: Sequence[Product]) -> tuple[Decimal, Decimal, str]:
    """Lowest and highest temperature [°C], and where they are from."""
    lows = [
        MIN_APPLICATION_C[p.base] if p.minimum_c is None else p.minimum_c for p in finishes
    ] or [MIN_APPLICATION_C["water"]]
    highs = [MAX_APPLICATION_C if p.maximum_c is None else p.maximum_c for p in finishes] or [
        MAX_APPLICATION_C
    ]
    is_known = bool(finishes) and all(
        p.minimum_c is not None and p.maximum_c is not None for p in finishes
    )
    return max(lows), min(highs), "data sheet" if is_known else "Wood Handbook, common practice"


def air_rules(finishes: Sequence[Product], reading: SiteReading) -> Iterator[WeatherRule]:
    low, high, source = temperature_limits(finishes)
    words = f"Air and boards from {temperature_text(low)} to {temperature_text(high)}."
    wants = display.format_whole_range(low, high, "temperature")
    values = [value for value in (reading.air_c, reading.surface_c) if value is not None]
    if not values:
        yield WeatherRule("Temperature", words, source, wants=wants)
        return
    found = " and ".join(temperature_text(value) for value in values)
    is_met = all(low <= value <= high for value in values)
    yield WeatherRule("Temperature", words, source, is_met, found, wants)


def night_rules(finishes: Sequence[Product], reading: SiteReading) -> Iterator[WeatherRule]:
    """A water-borne finish must stay warm for a day: by the lowest that is forecast; where nobody
    entered it, the dew point says how cold the night may get (Wood Handbook)."""
    if finishes and all(product.base == Product.Base.SOLVENT for product in finishes):
        return
    low = temperature_limits(finishes)[0]
    words = f"It stays above {temperature_text(low)} for 24 hours after."
    wants = f"{temperature_text(low)} or more for 24 hours"
    if reading.night_c is not None:
        found = f"{temperature_text(reading.night_c)} forecast"
        is_warm = reading.night_c >= low
        yield WeatherRule("The night after", words, "Wood Handbook", is_warm, found, wants)
        return
    words += " Without the forecast the dew point tells how cold the night may get."
    dew_c = reading.dew_c
    is_met = None if dew_c is None else dew_c >= low
    found = "" if dew_c is None else f"dew point {temperature_text(dew_c)}"
    yield WeatherRule("The night after", words, "Wood Handbook", is_met, found, wants)


def dew_rule(reading: SiteReading) -> WeatherRule:
    words = (
        f"Boards at least {temperature_difference(MIN_DEW_POINT_DEPRESSION_C)} above the dew point,"
        " and rising."
    )
    wants = f"boards {temperature_difference(MIN_DEW_POINT_DEPRESSION_C)} above it"
    dew_c = reading.dew_c
    boards_c = reading.boards_c
    if dew_c is None or boards_c is None:
        return WeatherRule("Dew", words, "common practice", wants=wants)
    gap = float(boards_c) - dew_c
    is_met = gap >= MIN_DEW_POINT_DEPRESSION_C
    found = f"{temperature_difference(gap)} above {temperature_text(dew_c)}"
    return WeatherRule("Dew", words, "common practice", is_met, found, wants)


def moisture_rule(finishes: Sequence[Product], reading: SiteReading) -> WeatherRule:
    most = MAX_MOISTURE_PERCENT[
        "film" if any(is_film(product) for product in finishes) else "soaks_in"
    ]
    words = f"Wood at {display.format_number(most)} % moisture or less, measured in several boards."
    rest = resting_moisture_text(reading)
    if reading.moisture_percent is None:
        return WeatherRule("Wood moisture", words + rest, "common practice")
    found = f"{display.format_number(reading.moisture_percent)} %"
    return WeatherRule(
        "Wood moisture", words + rest, "common practice", reading.moisture_percent <= most, found
    )


def resting_moisture_text(reading: SiteReading) -> str:
    if reading.air_c is None or not reading.humidity_percent:
        return ""
    rest = equilibrium_moisture_percent(float(reading.air_c), reading.humidity_percent)
    return (
        f" In this air wood comes to rest at about {display.format_number(rest, 0)} % (Wood"
        " Handbook, eq. 4-5)."
    )


def rain_rule(finishes: Sequence[Product], reading: SiteReading) -> WeatherRule:
    """By the longest time before walking; known only where a forecast was read."""
    hours = max(
        [DEFAULT_WALK_HOURS if p.walk_hours is None else p.walk_hours for p in finishes]
        or [DEFAULT_WALK_HOURS]
    )
    number = display.format_number(hours)
    words = f"None while the wood dries, and none for {number} hours after the last coat."
    rain = reading.rain
    is_met = rain.spares(hours) if rain else None
    found = rain.words if rain else ""
    wants = f"{number} hours without"
    return WeatherRule("Rain", words, "common practice", is_met, found, wants)


SUN_RULE = WeatherRule(
    "Sun",
    "No hot boards in full sun, nor boards that the sun will heat within hours.",
    "Wood Handbook",
)


def temperature_text(value: Decimal | float) -> str:
    return display.format_measure(Decimal(str(value)), "temperature")
