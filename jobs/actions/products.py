"""Products as their data sheets describe them, and the dates of a batch."""

from datetime import date, datetime

from django.db import transaction

from clients.events import decks_changed
from jobs.models import Batch, Job, Product


@transaction.atomic
def save_product(*, product: Product, now: datetime) -> Product:
    """Keep a product; when its class or pigment changed, its decks are forecast again."""
    before = (
        Product.objects.filter(pk=product.pk).values_list("finish_class", "pigment", "base").first()
    )
    product.save()
    if before and before != (product.finish_class, product.pigment, product.base):
        decks = Job.objects.filter(coats_applied__product=product).values_list("deck_id", flat=True)
        decks_changed.send(Product, deck_ids=sorted(set(decks)), now=now)
    return product


@transaction.atomic
def change_batch(*, batch: Batch, received_on: date | None, expires_on: date | None) -> Batch:
    batch.received_on = received_on
    batch.expires_on = expires_on
    batch.save(update_fields=["received_on", "expires_on"])
    return batch
