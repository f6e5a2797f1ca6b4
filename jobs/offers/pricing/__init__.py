"""Prices: from a frozen price list and the work to lines, taxes and totals. Decimal arithmetic, no rows, no clock."""

from jobs.offers.pricing.calculation import Reckoned, made, reckon, total_of, with_taxes
from jobs.offers.pricing.prices import (
    DeckWork,
    Journey,
    Line,
    Material,
    Prices,
    PricingProblem,
    Reductions,
    TaskRate,
    TaxRule,
)
from jobs.offers.pricing.rounding import cents
from jobs.offers.pricing.taxes import TaxSum, Totals, totals

__all__ = [
    "DeckWork",
    "Journey",
    "Line",
    "Material",
    "Prices",
    "PricingProblem",
    "Reckoned",
    "Reductions",
    "TaskRate",
    "TaxRule",
    "TaxSum",
    "Totals",
    "cents",
    "made",
    "reckon",
    "total_of",
    "totals",
    "with_taxes",
]
