"""SI inside, metric or US customary on screen: the factors and the words, in one place.

Factors are the exact definitions of the international yard (1959) and the US gallon (231 cubic
inches).
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from django.db import models

FOOT = Decimal("0.3048")
SQUARE_FOOT = FOOT * FOOT  # m²
US_GALLON = Decimal("3.785411784")  # L
INCH_MM = Decimal("25.4")


class Units(models.TextChoices):
    METRIC = "metric", "Metric (m², L, °C)"
    US = "us", "US customary (ft², gal, °F)"


@dataclass(frozen=True)
class Quantity:
    """A kind of measure: its factor to SI in US customary units and its symbols; rain is in mm."""

    us_factor: Decimal  # SI value of one US unit
    metric_symbol: str
    us_symbol: str
    us_offset: Decimal = Decimal(0)  # US reading at SI zero
    # the units that people write behind a number: one of the two above, or a factor to SI
    unit_words: Mapping[str, "str | Decimal"] = field(default_factory=dict)

    def symbol(self, units: str) -> str:
        return self.us_symbol if units == Units.US else self.metric_symbol

    def typed_to_si(self, value: Decimal, unit: str, units: str) -> Decimal:
        """What was typed, in the unit that stands behind it, else in the business's. Raises
        KeyError on a unit of something else."""
        if not unit:
            return self.to_si(value, units)
        written = self.unit_words[unit.casefold().rstrip(".").replace(" ", "").replace("²", "2")]
        return self.to_si(value, written) if isinstance(written, str) else value * written

    def from_si(self, si: Decimal, units: str) -> Decimal:
        """The SI value as it is read on screen."""
        return si / self.us_factor + self.us_offset if units == Units.US else si

    def to_si(self, value: Decimal, units: str) -> Decimal:
        """What was typed on screen, in SI."""
        return (value - self.us_offset) * self.us_factor if units == Units.US else value


def unit_words(metric: str, us: str, **factors: Decimal) -> dict[str, "str | Decimal"]:
    """The words of each, parted by spaces."""
    return {
        **dict.fromkeys(metric.split(), "metric"),
        **dict.fromkeys(us.split(), "us"),
        **factors,
    }


AREA_WORDS = unit_words("m2 sqm qm", "ft2 sqft sf sq.ft p2 pi2")
LENGTH_WORDS = unit_words(
    "m metre metres meter meters", "ft ' foot feet", cm=Decimal("0.01"), mm=Decimal("0.001")
)
VOLUME_WORDS = unit_words(
    "l litre litres liter liters",
    "gal gallon gallons",
    ml=Decimal("0.001"),
    qt=US_GALLON / 4,
    quart=US_GALLON / 4,
    quarts=US_GALLON / 4,
)
SPREAD_WORDS = unit_words("m2/l", "ft2/gal sqft/gal")
TEMPERATURE_WORDS = unit_words("c °c", "f °f")

AREA = Quantity(SQUARE_FOOT, "m²", "ft²", unit_words=AREA_WORDS)
LENGTH = Quantity(FOOT, "m", "ft", unit_words=LENGTH_WORDS)
VOLUME = Quantity(US_GALLON, "L", "gal", unit_words=VOLUME_WORDS)
SPREAD = Quantity(SQUARE_FOOT / US_GALLON, "m²/L", "ft²/gal", unit_words=SPREAD_WORDS)
TEMPERATURE = Quantity(
    Decimal(5) / Decimal(9), "°C", "°F", Decimal(32), unit_words=TEMPERATURE_WORDS
)
RAIN = Quantity(INCH_MM, "mm", "in")
QUANTITIES = {
    "area": AREA,
    "length": LENGTH,
    "volume": VOLUME,
    "spread": SPREAD,
    "temperature": TEMPERATURE,
    "rain": RAIN,
}
