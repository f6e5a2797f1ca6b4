"""`manage.py litres PRODUCT --area 18 --coats 2`:
how much of a product an area takes, and what to buy."""

from argparse import ArgumentParser
from collections.abc import Iterator
from decimal import Decimal, InvalidOperation
from difflib import get_close_matches
from typing import Any

from django.core.management.base import CommandError
from django.utils import timezone

from clients import display
from clients.management.opening import BookCommand
from clients.models import Business, Deck
from clients.tables import add_format_option, write_rows
from jobs import materials
from jobs.models import Product
from jobs.scope import Need, Supply, load_shelf, need_from_supply
from jobs.work import is_film

PURCHASE_COLUMNS = [
    "product",
    "colour",
    "litres",
    "from_tins",
    "to_buy",
    "pack_litres",
    "packs",
    "price",
    "cost",
    "left_over",
]


def decimal_argument(text: str) -> Decimal:
    try:
        return Decimal(text)
    except InvalidOperation:
        raise CommandError(
            f"“{text}” is not a number. Write it with a point, such as 18.5."
        ) from None


class Command(BookCommand):
    help = (
        "Calculate the litres of a product for an area, take what is in cans, and choose the"
        " cheapest packs."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("product", help="Its name, as on the page Products.")
        parser.add_argument("--area", required=True, help="Square metres.")
        parser.add_argument(
            "--coats", type=int, default=1, help="Coats or full applications (default 1)."
        )
        parser.add_argument("--spread", help="m² a litre a coat, instead of the data sheet's.")
        parser.add_argument("--film", help="Wet film in mm, instead of a spread rate.")
        parser.add_argument(
            "--texture", choices=Deck.Texture.values, default="smooth", help="Default: smooth."
        )
        parser.add_argument("--colour", default="", help="Cans in this colour are used first.")
        add_format_option(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        product = find_product(options["product"])
        now = timezone.now()
        business = Business.current()
        today = business.today(now) if business else timezone.localdate(now)
        try:
            litres = litres_required(product, options)
            materials.require_plausible_litres(litres)
        except materials.MaterialError as error:
            raise CommandError(str(error)) from error
        need = Need(product, product.kind, "", litres=litres, colour=options["colour"])
        with display.override_business(business):
            found = need_from_supply(need, Supply(load_shelf(today=today)))
        if found.note:
            self.stderr.write(found.note.strip())
        write_rows(
            purchase_rows(found),
            format=options["format"],
            out=self.stdout,
            columns=PURCHASE_COLUMNS,
        )


def find_product(name: str) -> Product:
    """Any product of that name; one that is not known is answered with the nearest."""
    product = Product.objects.filter(name__iexact=name.strip()).order_by("-is_active").first()
    if product:
        return product
    near = get_close_matches(name, Product.objects.values_list("name", flat=True), n=1, cutoff=0.4)
    hint = f" Did you mean “{near[0]}”?" if near else " The page Products lists them."
    raise CommandError(f"No product is called “{name}”.{hint}")


def litres_required(product: Product, options: dict[str, Any]) -> Decimal:
    """By the film if one is given or known, else by the spread rate."""
    area = decimal_argument(options["area"])
    loss = Decimal(product.loss_percent) / 100
    film = (
        decimal_argument(options["film"])
        if options["film"]
        else None
        if options["spread"]
        else product.film_mm
    )
    if film is not None:
        return materials.litres_at_film(
            area_m2=area, film_mm=film, applications=options["coats"], loss_share=loss
        )
    spread = decimal_argument(options["spread"]) if options["spread"] else product.spread_m2_per_l
    if spread is None:
        raise materials.MaterialError(
            f"The data sheet of {product} gives no spread rate. Add --spread or --film."
        )
    held = materials.expected_spread(
        spread, texture=options["texture"], species_class="soft", is_film=is_film(product)
    )
    return materials.litres_at_spread(
        area_m2=area, coats=options["coats"], spread_m2_per_l=held, loss_share=loss
    )


def purchase_rows(need: Need) -> Iterator[dict[str, Any]]:
    """One row a size to buy; one without a size where nothing is bought or no pack is known."""
    whole = {
        "product": str(need.product),
        "colour": need.colour,
        "litres": need.litres,
        "from_tins": need.from_tins,
        "to_buy": need.to_buy,
        "cost": need.cost,
        "left_over": need.leftover_litres,
    }
    for pack in need.packs:
        yield whole | {"pack_litres": pack.litres, "packs": pack.number, "price": pack.price}
    if not need.packs:
        yield whole
