"""Products as their data sheets describe them, and the dates of a batch."""

from datetime import date

from django.db import transaction

from jobs.after import publish_job_changes
from jobs.models import Batch, Job, Product


@transaction.atomic
def save_product(*, product: Product) -> Product:
    """Keep a product; when its class or pigment changed, the decks it lies on are forecast anew."""
    before = (
        Product.objects.filter(pk=product.pk).values_list("finish_class", "pigment", "base").first()
    )
    product.save()
    if before and before != (product.finish_class, product.pigment, product.base):
        decks = Job.objects.filter(coats_applied__product=product).values_list("deck_id", flat=True)
        publish_job_changes(sorted(set(decks)))
    return product


@transaction.atomic
def change_batch(*, batch: Batch, received_on: date | None, expires_on: date | None) -> Batch:
    batch.received_on = received_on
    batch.expires_on = expires_on
    batch.save(update_fields=["received_on", "expires_on"])
    return batch
