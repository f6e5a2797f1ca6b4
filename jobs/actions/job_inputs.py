"""What a logged job and a visit are made of: the values that forms hand to the actions."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from clients.actions.saving import lock_until_commit, save_if_changed
from jobs.models import Batch, CoatApplied, Job, Product


class JobError(ValueError):
    """A job that cannot be; the message says why, `field` where."""

    def __init__(self, field: str, message: str) -> None:
        super().__init__(message)
        self.field = field


@dataclass(frozen=True)
class CoatInput:
    """One product that went on; SI inside."""

    product: Product
    batch_code: str = ""
    colour: str = ""
    surface: str = CoatApplied.Surface.BOARDS
    coats: int = 1
    litres: Decimal | None = None


@dataclass(frozen=True)
class NewDeck:
    """A client and deck that are not in the book yet.
    `place` holds region, country, latitude, longitude, time_zone."""

    name: str
    street: str
    town: str
    place: Mapping[str, Any]
    label: str
    species: str
    area_m2: Decimal
    emails: tuple[str, ...] = ()
    phones: tuple[str, ...] = ()


def get_or_create_batch(product: Product, code: str) -> Batch | None:
    """The batch with that code, made if it is new;
    capitals and spaces around do not make another batch."""
    code = " ".join(code.split())
    if not code:
        return None
    lock_until_commit(f"batch {product.pk} {code.casefold()}")
    there = product.batches.filter(code__iexact=code).first()
    return there or Batch.objects.create(product=product, code=code)


def replace_coats_applied(job: Job, coats: list[CoatInput]) -> None:
    """Make the job's rows these ones; rows that stay the same stay untouched, so the audit trail
    shows changes only."""
    there = list(job.coats_applied.order_by("position", "id"))
    for position, coat in enumerate(coats, 1):
        row = there[position - 1] if position <= len(there) else CoatApplied(job=job)
        values = {
            "position": position,
            "product": coat.product,
            "batch": get_or_create_batch(coat.product, coat.batch_code),
            "colour": coat.colour,
            "surface": coat.surface,
            "coats": coat.coats,
            "litres": coat.litres,
        }
        save_if_changed(row, values)
    for row in there[len(coats) :]:
        row.delete()
