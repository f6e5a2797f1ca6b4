"""Pure arithmetic of materials: litres by film or spread rate, surfaces, and the cheapest packs.
Knows no database."""

from jobs.materials.litres import MaterialError, expected_spread, litres_at_film, litres_at_spread
from jobs.materials.packs import (
    PackPrice,
    PackQuantity,
    Purchase,
    cheapest_purchase,
    require_plausible_litres,
)
from jobs.materials.surfaces import RAIL_M2_PER_M, TREAD_M2, Surfaces

__all__ = [
    "RAIL_M2_PER_M",
    "TREAD_M2",
    "MaterialError",
    "PackPrice",
    "PackQuantity",
    "Purchase",
    "Surfaces",
    "cheapest_purchase",
    "expected_spread",
    "litres_at_film",
    "litres_at_spread",
    "require_plausible_litres",
]
