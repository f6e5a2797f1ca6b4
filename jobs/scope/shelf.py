"""What the business works with: products in use, the packs they are sold in, and the tins on the
shelf."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import Count

from jobs import materials
from jobs.models import CoatApplied, Pack, Product, StockTin

RECENT_COATS = 2_000  # rows of the newest jobs by which a product counts as usual


@dataclass
class Shelf:
    """Products in use, the most used first; packs by product;
    tins with something left, the oldest first."""

    products: list[Product]
    packs: dict[int, list[materials.PackPrice]]
    tins: dict[int, list[StockTin]]

    def finishes(self) -> list[Product]:
        return self.of_kind(Product.Kind.FINISH)

    def of_kind(self, kind: str) -> list[Product]:
        return [product for product in self.products if product.kind == kind]

    def most_used(self, kind: str) -> Product | None:
        """The product of a kind that was used most of late."""
        return next(iter(self.of_kind(kind)), None)

    def tins_for(self, product: Product, colour: str) -> list[StockTin]:
        """Tins of this product in this colour;
        a tin without a colour serves where none is wanted or sold."""
        wanted = "" if len(product.colour_list) <= 1 else colour.casefold()
        tins = self.tins.get(product.pk, [])
        return [tin for tin in tins if not wanted or tin.colour.casefold() == wanted]


def load_shelf(*, today: date) -> Shelf:
    """In four queries, however much is on it."""
    packs: dict[int, list[materials.PackPrice]] = {}
    for pack in Pack.objects.filter(is_active=True).order_by("product_id", "litres"):
        packs.setdefault(pack.product_id, []).append(materials.PackPrice(pack.litres, pack.price))
    return Shelf(shelf_of_products().products, packs, tins_by_product(usable_tins(today)))


def shelf_of_products() -> Shelf:
    """Only the products, without packs and tins: two queries."""
    products = list(Product.objects.in_use())
    used = recent_use()
    products.sort(key=lambda product: (-used.get(product.pk, 0), product.name.casefold()))
    return Shelf(products, {}, {})


def recent_use() -> dict[int, int]:
    newest = CoatApplied.objects.order_by("-id").values("id")[:RECENT_COATS]
    counted = (
        CoatApplied.objects.filter(id__in=newest, product__isnull=False)
        .values("product_id")
        .annotate(times=Count("id"))
        .order_by()
    )
    return {row["product_id"]: row["times"] for row in counted}


def usable_tins(today: date) -> list[StockTin]:
    """What counts: neither past the date of its batch nor unseen for a year."""
    tins = StockTin.objects.in_stock().select_related("batch")
    return [
        tin for tin in tins if not tin.is_expired(today=today) and not tin.is_stale(today=today)
    ]


def tins_by_product(tins: Iterable[StockTin]) -> dict[int, list[StockTin]]:
    found: dict[int, list[StockTin]] = {}
    for tin in tins:
        found.setdefault(tin.product_id, []).append(tin)
    return found
