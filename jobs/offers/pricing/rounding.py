"""The one way in which money is rounded: half up, away from zero, to the cent."""

from decimal import ROUND_HALF_UP, Decimal

CENT = Decimal("0.01")


def cents(amount: Decimal) -> Decimal:
    """Half a cent or more counts as one, as tax authorities have it (Revenu Québec, Calculating the
    taxes)."""
    return amount.quantize(CENT, rounding=ROUND_HALF_UP) + 0  # + 0 turns −0.00 into 0.00
