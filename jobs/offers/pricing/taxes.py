"""From lines to taxes and totals, in the ways that price lists know.

Prices without tax, rounded once: each tax is taken of the sum of its lines (EN 16931, BR-CO-17:
base times rate, rounded). Rounded on every line: the tax of each line is rounded, and the sum is
the tax. Prices that hold the tax: the sum of the lines is what is paid, and each tax is its share
of what is paid, calculated once for all lines that carry the same taxes, or line by line. Every
rounding is half up to the cent.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from jobs.offers.pricing.prices import PricedLine, PricingError, TaxRule
from jobs.offers.pricing.rounding import cents

HUNDRED = Decimal(100)
MAX_LINE_AMOUNT = Decimal(9_999_999)  # no deck costs more; beyond it somebody mistyped a number


@dataclass(frozen=True)
class TaxSum:
    """One tax: what it is on (without tax) and what it comes to."""

    name: str
    percent: Decimal
    base: Decimal
    amount: Decimal


@dataclass(frozen=True)
class Totals:
    """Before tax, tax, to pay: the third is the sum of the other two."""

    net: Decimal
    tax: Decimal
    total: Decimal
    taxes: tuple[TaxSum, ...]


@dataclass(frozen=True)
class TaxedAmount:
    """An amount without tax and the tax of each name on it."""

    net: Decimal
    taxes: dict[str, Decimal]


def calculate_totals(
    lines: Sequence[PricedLine],
    rules: Sequence[TaxRule],
    *,
    is_inclusive: bool,
    rounds_lines: bool,
    may_be_less: bool = False,
) -> Totals:
    """Raises `PricingError` where reductions are larger than all the rest (unless `may_be_less`:
    of a change order, which may take away), or an amount cannot be right."""
    large = next((line for line in lines if abs(line.amount) > MAX_LINE_AMOUNT), None)
    if large is not None:
        raise PricingError(
            f"“{large.words}” comes to more than {MAX_LINE_AMOUNT:,}. Check its quantity and price."
        )
    parts = list(
        tax_inclusive_amounts(lines, rules, rounds_lines)
        if is_inclusive
        else tax_exclusive_amounts(lines, rules)
    )
    taxes = tuple(
        sum_of_tax(rule, parts, once=not is_inclusive and not rounds_lines) for rule in rules
    )
    net = sum((part.net for part in parts), Decimal(0))
    tax = sum((each.amount for each in taxes), Decimal(0))
    totals = Totals(cents(net), cents(tax), cents(net + tax), taxes)
    if not may_be_less:
        check_not_negative(totals)
    return totals


def check_not_negative(totals: Totals) -> None:
    """Raises `PricingError` where reductions are larger than all the rest."""
    if totals.net < 0 or any(each.base < 0 for each in totals.taxes):
        raise PricingError(
            "The discounts are larger than what they reduce. Make them smaller, or take them out."
        )


def tax_exclusive_amounts(
    lines: Iterable[PricedLine], rules: Sequence[TaxRule]
) -> Iterable[TaxedAmount]:
    for line in lines:
        on_it = [rule for rule in rules if rule.name in line.taxes]
        yield TaxedAmount(
            line.amount, {rule.name: cents(line.amount * rule.percent / HUNDRED) for rule in on_it}
        )


def tax_inclusive_amounts(
    lines: Sequence[PricedLine], rules: Sequence[TaxRule], rounds_lines: bool
) -> Iterable[TaxedAmount]:
    for taxes, paid in (
        [(line.taxes, line.amount) for line in lines] if rounds_lines else amounts_by_taxes(lines)
    ):
        on_it = [rule for rule in rules if rule.name in taxes]
        whole = HUNDRED + sum(rule.percent for rule in on_it)
        shares = {rule.name: cents(paid * rule.percent / whole) for rule in on_it}
        yield TaxedAmount(paid - sum(shares.values()), shares)


def amounts_by_taxes(lines: Iterable[PricedLine]) -> Iterable[tuple[tuple[str, ...], Decimal]]:
    """The sums of lines that carry the same taxes."""
    sums: dict[tuple[str, ...], Decimal] = {}
    for line in lines:
        sums[line.taxes] = sums.get(line.taxes, Decimal(0)) + line.amount
    return sums.items()


def sum_of_tax(rule: TaxRule, parts: Iterable[TaxedAmount], *, once: bool) -> TaxSum:
    under = [part for part in parts if rule.name in part.taxes]
    base = sum((part.net for part in under), Decimal(0))
    amount = (
        base * rule.percent / HUNDRED
        if once
        else sum((part.taxes[rule.name] for part in under), Decimal(0))
    )
    return TaxSum(rule.name, rule.percent, cents(base), cents(amount))
