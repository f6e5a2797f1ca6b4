"""Prices: from a frozen price list and the work to lines, taxes and totals.
Decimal arithmetic, no rows, no clock."""

from jobs.offers.pricing.calculation import (
    PricedWork,
    price_work,
    rounded_line,
    task_charge,
    task_minutes,
    totals_of_lines,
    with_tax_names,
)
from jobs.offers.pricing.prices import (
    DeckWork,
    Journey,
    MaterialUse,
    PricedLine,
    PriceTable,
    PricingError,
    Reductions,
    TaskRate,
    TaxRule,
)
from jobs.offers.pricing.rounding import cents
from jobs.offers.pricing.taxes import TaxSum, Totals, calculate_totals

__all__ = [
    "DeckWork",
    "Journey",
    "MaterialUse",
    "PriceTable",
    "PricedLine",
    "PricedWork",
    "PricingError",
    "Reductions",
    "TaskRate",
    "TaxRule",
    "TaxSum",
    "Totals",
    "calculate_totals",
    "cents",
    "price_work",
    "rounded_line",
    "task_charge",
    "task_minutes",
    "totals_of_lines",
    "with_tax_names",
]
