"""Products as their data sheets describe them, and the dates of a batch."""

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from django.db import transaction

from clients.actions.saving import (
    NameTakenError,
    holds_values,
    lock_row,
    lock_until_commit,
    save_if_changed,
)
from clients.events import decks_changed
from jobs.models import Batch, CanCode, Job, Product

SAME_PRODUCT = "A product of this name and maker already exists. Open it in the list instead."
FORECAST_FIELDS = ("finish_class", "pigment", "base")


@transaction.atomic
def add_product(*, values: Mapping[str, Any]) -> Product:
    """A new product; a second click finds what the first one made. Raises `NameTakenError`."""
    lock_until_commit(f"product {values['name'].casefold()} {values['maker'].casefold()}")
    facts, codes = without_can_codes(values)
    if there := same_product(values):
        if holds_values(there, facts) and (codes is None or codes <= set_of_can_codes(there)):
            return there
        raise NameTakenError(SAME_PRODUCT)
    product = Product.objects.create(**facts)
    replace_can_codes(product, codes)
    return product


@transaction.atomic
def change_product(*, product: Product, values: Mapping[str, Any], now: datetime) -> Product:
    """Correct a product; when its class or pigment changed, its decks are forecast again.
    Raises `NameTakenError`."""
    lock_until_commit(f"product {values['name'].casefold()} {values['maker'].casefold()}")
    product = lock_row(product)
    there = same_product(values)
    if there and there != product:
        raise NameTakenError(SAME_PRODUCT)
    before = [getattr(product, name) for name in FORECAST_FIELDS]
    facts, codes = without_can_codes(values)
    save_if_changed(product, facts)
    replace_can_codes(product, codes)
    if before != [getattr(product, name) for name in FORECAST_FIELDS]:
        decks = Job.objects.filter(coats_applied__product=product).values_list("deck_id", flat=True)
        decks_changed.send(Product, deck_ids=sorted(set(decks)), now=now)
    return product


def same_product(values: Mapping[str, Any]) -> Product | None:
    return Product.objects.filter(
        name__iexact=values["name"], maker__iexact=values["maker"]
    ).first()


def without_can_codes(values: Mapping[str, Any]) -> tuple[dict[str, Any], set[str] | None]:
    """The fields of a product, and the codes on its cans; None leaves those as they are."""
    facts = dict(values)
    codes = facts.pop("can_codes", None)
    return facts, None if codes is None else set(codes)


def set_of_can_codes(product: Product) -> set[str]:
    return set(product.can_codes.values_list("gtin", flat=True))


def replace_can_codes(product: Product, codes: set[str] | None) -> None:
    """Make the codes on its cans these. Raises `NameTakenError`."""
    if codes is None:
        return
    for row in product.can_codes.exclude(gtin__in=codes):
        row.delete()
    for gtin in sorted(codes):
        remember_can_code(product, gtin)


def remember_can_code(product: Product, gtin: str) -> None:
    """By this code a camera finds this product from now on. Raises `NameTakenError` if it is
    another one's."""
    lock_until_commit(f"can code {gtin}")
    there = CanCode.objects.select_related("product").filter(gtin=gtin).first()
    if there is None:
        CanCode.objects.create(product=product, gtin=gtin)
    elif there.product_id != product.pk:
        raise NameTakenError(
            f"The code {there.printed} is of {there.product}. Choose that, or take this code out.",
            "can_codes",
        )


@transaction.atomic
def change_batch(*, batch: Batch, received_on: date | None, expires_on: date | None) -> Batch:
    batch = lock_row(batch)
    save_if_changed(batch, {"received_on": received_on, "expires_on": expires_on})
    return batch
