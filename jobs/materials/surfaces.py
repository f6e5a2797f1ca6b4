"""The square metres of a deck that take a product: boards, stairs, rails, screens."""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

# Common practice, no source; calculated from usual sizes. A tread 0.9 m wide, 0.28 m deep with a
# riser of 0.18 m.
TREAD_M2 = Decimal("0.4")
# One metre of open rail 0.9 m high, all round: two 38 × 89 mm rails, a 38 mm baluster every 0.14 m
# and an 89 mm post every 1.8 m. No cap board: one of 140 mm adds about 0.3 m².
RAIL_M2_PER_M = Decimal("1.6")


@dataclass(frozen=True)
class Surfaces:
    """Square metres [m²] of each surface; none is negative."""

    boards: Decimal
    stairs: Decimal = Decimal(0)
    rails: Decimal = Decimal(0)
    screens: Decimal = Decimal(0)

    @classmethod
    def from_measures(
        cls,
        *,
        area_m2: Decimal,
        treads: int = 0,
        rail_m: Decimal = Decimal(0),
        screen_m2: Decimal = Decimal(0),
    ) -> "Surfaces":
        """From what is measured on a deck: treads by number, rails by length."""
        return cls(area_m2, TREAD_M2 * treads, RAIL_M2_PER_M * rail_m, screen_m2)

    @property
    def total(self) -> Decimal:
        return self.boards + self.stairs + self.rails + self.screens

    def nonzero_areas(self) -> Iterator[tuple[str, Decimal]]:
        """Name and square metres of each surface there is."""
        for name in ("boards", "stairs", "rails", "screens"):
            if getattr(self, name) > 0:
                yield name, getattr(self, name)
