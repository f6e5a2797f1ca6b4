"""SI inside, metric or US customary on screen: the factors and the words, in one place.

Factors are the exact definitions of the international yard (1959) and the US gallon (231 cubic
inches).
"""

from dataclasses import dataclass
from decimal import Decimal

from django.db import models

FOOT = Decimal("0.3048")
SQUARE_FOOT = FOOT * FOOT  # m²
US_GALLON = Decimal("3.785411784")  # L


class Units(models.TextChoices):
    METRIC = "metric", "Metric (m², L, °C)"
    US = "us", "US customary (ft², gal, °F)"


@dataclass(frozen=True)
class Quantity:
    """A kind of measure: its factor to SI in US customary units and its symbols."""

    us_factor: Decimal  # SI value of one US unit
    metric_symbol: str
    us_symbol: str
    us_offset: Decimal = Decimal(0)  # US reading at SI zero

    def symbol(self, units: str) -> str:
        return self.us_symbol if units == Units.US else self.metric_symbol

    def from_si(self, si: Decimal, units: str) -> Decimal:
        """The SI value as it is read on screen."""
        return si / self.us_factor + self.us_offset if units == Units.US else si

    def to_si(self, value: Decimal, units: str) -> Decimal:
        """What was typed on screen, in SI."""
        return (value - self.us_offset) * self.us_factor if units == Units.US else value


AREA = Quantity(SQUARE_FOOT, "m²", "ft²")
LENGTH = Quantity(FOOT, "m", "ft")
VOLUME = Quantity(US_GALLON, "L", "gal")
SPREAD = Quantity(SQUARE_FOOT / US_GALLON, "m²/L", "ft²/gal")
TEMPERATURE = Quantity(Decimal(5) / Decimal(9), "°C", "°F", Decimal(32))
QUANTITIES = {
    "area": AREA,
    "length": LENGTH,
    "volume": VOLUME,
    "spread": SPREAD,
    "temperature": TEMPERATURE,
}
