"""Products, batches and what went on in each job."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from jobs.importing.rows import CoatRead, JobRead, UnitRead
from jobs.importing.writing.changes import Changes
from jobs.importing.writing.copying import insert_rows
from jobs.importing.writing.known import KnownClients, KnownJob
from jobs.models import Batch, CoatApplied, ListImport, Product

if TYPE_CHECKING:
    from jobs.importing.writing.chunks import Keys


@dataclass(slots=True)
class KnownCoat:
    """A coat that is in the book already."""

    pk: int
    product_id: int | None
    values: dict[str, Any]


class CoatWriter:
    """Products are few and known for the whole run; batches and coats are those of a chunk."""

    def __init__(self, keys: "Keys", source: ListImport) -> None:
        self.keys = keys
        self.source = source
        self.made: dict[str, list[int]] = {"products": [], "batches": []}
        self.products: dict[tuple[str, str], int] = {}
        self.by_name: dict[str, int] = {}
        for pk, name, maker in Product.objects.order_by("-id").values_list("id", "name", "maker"):
            self.products[name.casefold(), maker.casefold()] = pk
            self.by_name[name.casefold()] = pk

    def start_chunk(self, units: Sequence[UnitRead], known: KnownClients) -> None:
        self.rows: list[dict[str, Any]] = []
        self.new_products: list[dict[str, Any]] = []
        self.new_batches: list[dict[str, Any]] = []
        codes = {
            coat.batch.casefold()
            for unit in units
            for job in unit.jobs
            for coat in job.coats
            if coat.batch
        }
        self.batches = self.load_batches() if codes else {}
        self.coats = self.load_coats(known)

    def load_batches(self) -> dict[tuple[int, str], int]:
        rows = Batch.objects.order_by().values_list("product_id", "code", "id")
        return {(product, code.casefold()): pk for product, code, pk in rows}

    def load_coats(self, known: KnownClients) -> dict[int, list[KnownCoat]]:
        """Of the jobs that the book has on decks of this chunk."""
        jobs = [
            job.pk
            for slots in known.by_name.values()
            for slot in slots
            for site in slot.sites
            for deck in site.decks
            for job in deck.jobs
        ]
        found: dict[int, list[KnownCoat]] = {}
        names = ("id", "job_id", "product_id", "colour", "batch_id", "coats", "litres")
        for row in CoatApplied.objects.filter(job__in=jobs).order_by("position").values(*names):
            found.setdefault(row["job_id"], []).append(
                KnownCoat(row["id"], row["product_id"], dict(row))
            )
        return found

    def flush(self) -> None:
        insert_rows(Product, self.new_products)
        insert_rows(Batch, self.new_batches)
        insert_rows(CoatApplied, self.rows)

    def add(self, job: KnownJob, read: JobRead) -> None:
        """All that went on in a new job."""
        for position, coat in enumerate(read.coats, start=1):
            product = self.product(coat)
            self.rows.append(
                {
                    "id": self.keys.draw(CoatApplied),
                    "job_id": job.pk,
                    "position": position,
                    "product_id": product,
                    "batch_id": self.batch(product, coat.batch),
                    "colour": coat.colour,
                    "coats": coat.coats,
                    "litres": coat.litres,
                }
            )

    def product(self, coat: CoatRead) -> int | None:
        """The product of the book, or a new one; None where nobody knows it."""
        if not coat.product:
            return None
        name = coat.product.casefold()
        maker = coat.maker.casefold()
        there = self.products.get((name, maker)) or (None if maker else self.by_name.get(name))
        if there:
            return there
        key = self.keys.draw(Product)
        self.new_products.append(
            {
                "id": key,
                "name": coat.product,
                "maker": coat.maker,
                "kind": coat.kind,
                "finish_class": coat.finish_class if coat.kind == Product.Kind.FINISH else "",
            }
        )
        self.products[name, maker] = key
        self.by_name.setdefault(name, key)
        self.made["products"].append(key)
        return key

    def batch(self, product: int | None, code: str) -> int | None:
        if not product or not code:
            return None
        there = self.batches.get((product, code.casefold()))
        if there:
            return there
        key = self.keys.draw(Batch)
        self.new_batches.append({"id": key, "product_id": product, "code": code})
        self.batches[product, code.casefold()] = key
        self.made["batches"].append(key)
        return key

    def change(self, job: KnownJob, coats: Iterable[CoatRead], changes: Changes) -> None:
        """What the list says otherwise about a job of the book; nothing is taken away."""
        for coat in coats:
            product = self.product(coat)
            known = next(
                (each for each in self.coats.get(job.pk, ()) if each.product_id == product), None
            )
            if known is None:
                continue
            given = {
                "colour": coat.colour,
                "batch_id": self.batch(product, coat.batch),
                "coats": coat.coats,
                "litres": coat.litres,
            }
            for name, value in given.items():
                if value and known.values[name] != value:
                    changes.add(CoatApplied, known.pk, name, known.values[name], value)
                    known.values[name] = value
