"""What stands on the shelf of the invented business: sizes, prices, a few opened tins;
every number is made up."""

from datetime import date, timedelta
from decimal import Decimal

from jobs.can_codes import read_can_code
from jobs.models import Batch, CanCode, Pack, Product, StockTin

# Litres and dollars. The larger the pack the cheaper the litre, but for one: a litre from 4 L tins
# costs less than one from the 10 L pail.
PACKS = {
    "Tidewood Deck Oil": "1:42 4:149 10:389 20:699",
    "Tidewood Clear Guard": "1:36 4:128 18.9:529",
    "Saltmarsh Tint": "0.946:39.50 3.785:139 18.927:629",
    "Boreal Stain": "0.946:44 3.785:158 18.927:698",
    "Harbour Solid": "3.785:119",
    "Kelp Strip": "4:58 20:239",
    "Foam Wash": "1:14.50 5:54",
    "Bright Tide": "1:18.75 5:72",
}
# Product, colour, litres, whether its batch is past its date.
TINS = [
    ("Tidewood Deck Oil", "Driftwood", "2.5", False),
    ("Tidewood Deck Oil", "Cedar", "0.8", False),
    ("Tidewood Deck Oil", "Slate", "3", True),
    ("Saltmarsh Tint", "Honey", "1.9", False),
    ("Boreal Stain", "Walnut", "2", False),
    ("Kelp Strip", "", "12", False),
    ("Bright Tide", "", "3.5", False),
]
# What stands on the cans of each size; the GS1 prefix 952 is for examples only.
CAN_CODES = {
    "Tidewood Deck Oil": "9520000010010 9520000010027",
    "Saltmarsh Tint": "9520000020019",
    "Boreal Stain": "9520000030018",
    "Kelp Strip": "9520000040017",
}
FILM_MM = {"Kelp Strip": "1", "Foam Wash": "0.17", "Bright Tide": "0.12"}
DISCONTINUED_PRODUCT = "Harbour Solid"  # the business lays no films any more


def stock_demo_shelf(*, today: date) -> None:
    """Packs, tins and films of the products that are in the book."""
    products = {product.name: product for product in Product.objects.all()}
    for name, sizes in PACKS.items():
        for size in sizes.split():
            litres, price = map(Decimal, size.split(":"))
            Pack.objects.create(product=products[name], litres=litres, price=price)
    for name, codes in CAN_CODES.items():
        for code in codes.split():
            CanCode.objects.create(product=products[name], gtin=read_can_code(code))
    for name, film in FILM_MM.items():
        Product.objects.filter(name=name).update(film_mm=Decimal(film))
    Product.objects.filter(name=DISCONTINUED_PRODUCT).update(is_active=False)
    Product.objects.filter(kind=Product.Kind.FINISH).update(loss_percent=5)
    for name, colour, litres_left, is_expired in TINS:
        add_demo_tin(products[name], colour, Decimal(litres_left), is_expired, today)


def add_demo_tin(
    product: Product, colour: str, litres: Decimal, is_expired: bool, today: date
) -> None:
    batch = Batch.objects.filter(product=product).order_by("-id").first()
    if is_expired:
        batch = Batch.objects.create(
            product=product, code="TDO-22/041", expires_on=today - timedelta(days=90)
        )
    StockTin.objects.create(
        product=product,
        colour=colour,
        litres=litres,
        batch=batch,
        noted_on=today - timedelta(days=20),
    )
