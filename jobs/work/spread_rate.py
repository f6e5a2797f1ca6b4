"""The arithmetic of how far a product goes: spread rate, wet film, litres."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from clients.models import Deck
from jobs.models import CoatApplied, Product

# Wide on purpose: the Wood Handbook (FPL-GTR-190, ch. 16) gives one stain a factor of two on smooth
# wood alone (4.9 to 9.8 m² a litre), and half of it on sawn or weathered wood (2.4 to 4.9).
MIN_SPREAD_SHARE = {"smooth": Decimal("0.6"), "sawn": Decimal("0.3"), "weathered": Decimal("0.3")}
MAX_SPREAD_SHARE = Decimal("1.5")


@dataclass(frozen=True)
class MeasuredSpread:
    """What one product did on the boards: measured and stated spread rate a coat, and whether they
    agree."""

    product: Product
    spread_m2_per_l: Decimal
    stated_m2_per_l: Decimal | None
    is_far_off: bool

    @property
    def is_thin(self) -> bool:
        return self.stated_m2_per_l is not None and self.spread_m2_per_l > self.stated_m2_per_l


def measured_spreads(deck: Deck, coats: Iterable[CoatApplied]) -> list[MeasuredSpread]:
    """Each product of a job whose litres all went on the boards, whose area we know."""
    if deck.area_m2 is None:
        return []
    by_product: dict[Product, list[CoatApplied]] = {}
    for coat in coats:
        if coat.product:
            by_product.setdefault(coat.product, []).append(coat)
    return [
        compare_to_data_sheet(product, rows, texture=deck.texture, area_m2=deck.area_m2)
        for product, rows in by_product.items()
        if all(row.litres and row.coats and is_only_on_boards(deck, row) for row in rows)
    ]


def is_only_on_boards(deck: Deck, coat: CoatApplied) -> bool:
    """Whether the litres went on the deck boards alone;
    what went on rails, stairs and screens is not told apart."""
    return set(coat.surfaces) & set(deck.surfaces) == {"boards"}


def compare_to_data_sheet(
    product: Product, rows: list[CoatApplied], *, texture: str, area_m2: Decimal
) -> MeasuredSpread:
    """Two rows of one product may be two coats, or two tins of one coat:
    the reading nearer to the sheet counts."""
    counted = [row.coats or 0 for row in rows]
    litres = sum(row.litres or Decimal(0) for row in rows)
    stated = product.spread_m2_per_l
    readings = [area_m2 * coats / litres for coats in (sum(counted), max(counted))]
    if stated is None:
        return MeasuredSpread(product, readings[0], None, is_far_off=False)
    fitting = [
        reading
        for reading in readings
        if MIN_SPREAD_SHARE[texture] <= reading / stated <= MAX_SPREAD_SHARE
    ]
    spread = min(fitting or readings, key=lambda reading: max(reading / stated, stated / reading))
    return MeasuredSpread(product, spread, stated, is_far_off=not fitting)
