"""The trace: every deck that a batch, a product or the work of some days went on."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django.db.models import Count, Max, Min, QuerySet, Sum

from jobs.models import Batch, CoatApplied, CoatAppliedQuerySet, Product

TRACE_COLUMNS = """
client deck deck_id street town region postcode finished_on product maker batch colour surfaces
coats litres emails phones
""".split()


@dataclass(frozen=True)
class ProductTrace:
    """What is traced: a batch, a product, the days of a span, or any of them together."""

    product: Product | None = None
    batch: Batch | None = None
    first_day: date | None = None
    last_day: date | None = None

    @property
    def is_empty(self) -> bool:
        return not any([self.product, self.batch, self.first_day, self.last_day])

    def coats(self) -> CoatAppliedQuerySet:
        """What went on. A job of which only the month or year is known counts for all of it."""
        rows = CoatApplied.objects.all()
        if self.batch:
            rows = rows.filter(batch=self.batch)
        if self.product:
            rows = rows.filter(product=self.product)
        return rows.done_between(self.first_day, self.last_day)

    @property
    def address(self) -> dict[str, str]:
        """As fields of an address; a field that is empty is left out."""
        values = {
            "product": self.product and self.product.pk,
            "batch": self.batch and self.batch.pk,
            "first_day": self.first_day,
            "last_day": self.last_day,
        }
        return {name: str(value) for name, value in values.items() if value}

    @property
    def file_name(self) -> str:
        """Of its PDF and CSV, without an ending."""
        return "-".join(["trace", *self.address.values()])


@dataclass(frozen=True)
class TraceFacts:
    """How much it is, all together."""

    coats: int
    decks: int
    clients: int
    litres: Decimal | None
    first_on: date | None
    last_on: date | None


def trace_facts(trace: ProductTrace) -> TraceFacts:
    """In one query."""
    found = trace.coats().aggregate(
        coats=Count("pk"),
        decks=Count("job__deck", distinct=True),
        clients=Count("job__deck__site__client", distinct=True),
        litres=Sum("litres"),
        first_on=Min("job__finished_on"),
        last_on=Max("job__finished_on"),
    )
    return TraceFacts(**found)


def coats_without_batch(trace: ProductTrace, facts: TraceFacts) -> int:
    """How often its product went on while the batch was in use and nobody noted which batch."""
    if trace.batch is None or facts.first_on is None:
        return 0
    others = CoatApplied.objects.filter(product=trace.batch.product_id, batch=None)
    return others.done_between(facts.first_on, facts.last_on).count()


def trace_rows(coats: "QuerySet[CoatApplied] | Iterable[CoatApplied]") -> Iterator[dict[str, Any]]:
    """One row a product that went on, for a sheet."""
    for coat in coats:
        deck = coat.job.deck
        points = list(deck.site.client.contact_points.all())
        yield {
            "client": deck.site.client.name,
            "deck": deck.label,
            "deck_id": deck.pk,
            "street": deck.site.street,
            "town": deck.site.town,
            "region": deck.site.region,
            "postcode": deck.site.postcode,
            "finished_on": coat.job.edtf,
            "product": coat.product.name if coat.product else "",
            "maker": coat.product.maker if coat.product else "",
            "batch": coat.batch.code if coat.batch else "",
            "colour": coat.colour,
            "surfaces": " ".join(coat.surfaces),
            "coats": coat.coats,
            "litres": coat.litres,
            "emails": " ".join(point.value for point in points if point.kind == "email"),
            "phones": " ".join(point.normalized for point in points if point.kind != "email"),
        }
