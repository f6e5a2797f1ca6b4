"""What a logged job and a visit are made of: the values that forms hand to the actions."""

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from django.core.files.base import ContentFile

from clients.actions.saving import lock_until_commit, save_if_changed
from clients.models import Deck
from jobs.models import Batch, Booking, CoatApplied, Job, Product


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


@dataclass(frozen=True)
class JobInput:
    """What was done and found: `details` are fields of Job, `findings` fields of Visit.

    A visit is kept when anything was found or a reason given. Of a job that is corrected, what
    `details` leaves out stays as it was.
    """

    details: Mapping[str, Any]
    coats: Sequence[CoatInput] = ()
    findings: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class NewJob:
    """A finished job to log: on which deck, what was done, and the photographs of it.

    `form_key` is that of the page it was written on: a job is logged once for each. `moment` is
    when the photographs were taken (of `Photo.Moment`). `booking` is the one that it was done for,
    if that is known.
    """

    deck: Deck | NewDeck
    work: JobInput
    form_key: uuid.UUID
    photos: Sequence["ContentFile[bytes]"] = ()
    moment: str = "finished"
    booking: Booking | None = None


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
