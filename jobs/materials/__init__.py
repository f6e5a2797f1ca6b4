"""Pure arithmetic of materials: litres by film or spread rate, surfaces, and the cheapest packs. Knows no database."""

from jobs.materials.litres import MaterialError, at_film, at_spread, held_spread
from jobs.materials.packs import Count, Pack, Purchase, cheapest, demand_reasonable
from jobs.materials.surfaces import Surfaces

__all__ = [
    "Count",
    "MaterialError",
    "Pack",
    "Purchase",
    "Surfaces",
    "at_film",
    "at_spread",
    "cheapest",
    "demand_reasonable",
    "held_spread",
]
