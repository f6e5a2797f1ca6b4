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
from jobs.models import Batch, Job, Product

SAME_PRODUCT = "A product of this name and maker already exists. Open it in the list instead."
FORECAST_FIELDS = ("finish_class", "pigment", "base")


@transaction.atomic
def add_product(*, values: Mapping[str, Any]) -> Product:
    """A new product; a second click finds what the first one made. Raises `NameTakenError`."""
    lock_until_commit(f"product {values['name'].casefold()} {values['maker'].casefold()}")
    if there := same_product(values):
        if holds_values(there, values):
            return there
        raise NameTakenError(SAME_PRODUCT)
    return Product.objects.create(**values)


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
    save_if_changed(product, values)
    if before != [getattr(product, name) for name in FORECAST_FIELDS]:
        decks = Job.objects.filter(coats_applied__product=product).values_list("deck_id", flat=True)
        decks_changed.send(Product, deck_ids=sorted(set(decks)), now=now)
    return product


def same_product(values: Mapping[str, Any]) -> Product | None:
    return Product.objects.filter(
        name__iexact=values["name"], maker__iexact=values["maker"]
    ).first()


@transaction.atomic
def change_batch(*, batch: Batch, received_on: date | None, expires_on: date | None) -> Batch:
    batch = lock_row(batch)
    save_if_changed(batch, {"received_on": received_on, "expires_on": expires_on})
    return batch
