"""What is asked before a list comes in, and its rows as they are read."""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

from django.db import connection

from clients.models import Business
from clients.notation import Units
from jobs.importing.cells import area_code_of
from jobs.importing.guessing import GROUP_HEAD
from jobs.importing.rows import (
    Answers,
    BookFacts,
    ClientCells,
    Doubt,
    KnownProduct,
    ListFacts,
    ListRow,
    RowReader,
    UnitRead,
    find_doubts,
)
from jobs.importing.staging import load_gazetteer
from jobs.models import ImportRow, ListImport, Product

COUNTED_FIELDS = {
    *("done", "notes", "area", "phone", "mobile", "town", "address", "street", "kind", "species"),
    *("product", "item", "deck"),
}
MAX_TEXTS = 20_000  # different texts of a column that are looked at for doubts
MAX_CLIENTS = 20_000
CARRIED_FIELDS = ("client", "first_name", "last_name", "company", "phone", "mobile", "email")
PLACE_FIELDS = ("address", "house_number", "street", "town", "region", "postcode")
DECK_FIELDS = ("deck", "area", "species")


def book_facts(business: Business, now: datetime) -> BookFacts:
    """What of the book is needed to read a list."""
    products = [
        KnownProduct(product.name, product.kind, product.finish_class, tuple(product.colour_list))
        for product in Product.objects.order_by("id")
    ]
    return BookFacts(
        gazetteer=load_gazetteer(business),
        today=business.today(now),
        country=business.country,
        currency=business.currency,
        town=business.town,
        area_code=area_code_of(business.phone),
        is_metric=business.units == Units.METRIC,
        products=products,
    )


@dataclass(slots=True)
class StagedRow:
    """A row of a list as it waits, without what only the pages ask of it."""

    source_id: int
    number: int
    ordinal: int
    cells: list[str]

    def cell(self, at: int) -> str:
        return self.cells[at] if at < len(self.cells) else ""


@dataclass
class ListReading:
    """One list with the book it goes into. Everything is worked out when it is first asked for."""

    source: ListImport
    book: BookFacts

    @cached_property
    def facts(self) -> ListFacts:
        source = self.source
        counts = {
            at: column_counts(source, at)
            for at, field in enumerate(source.mapping)
            if field in COUNTED_FIELDS
        }
        return ListFacts(source.heads, source.mapping, counts, client_cells(source))

    @cached_property
    def doubts(self) -> list[Doubt]:
        return find_doubts(self.facts, self.book, self.source.decisions)

    @cached_property
    def answers(self) -> Answers:
        return Answers.of(self.doubts, self.source.decisions)

    @cached_property
    def reader(self) -> RowReader:
        return RowReader(self.source.heads, self.source.mapping, self.book, self.answers)

    def forget_facts(self) -> None:
        """Once the answers are known the counts of all texts only take room."""
        assert self.reader  # noqa: S101 - worked out before what it is worked out from goes
        self.__dict__.pop("facts", None)
        self.__dict__.pop("doubts", None)

    def units(self, rows: Sequence[ListRow]) -> Iterator[UnitRead]:
        """Each row, or the lines of each invoice together."""
        for group in grouped_by_invoice(rows, self.source.mapping):
            yield self.reader.read(group)


def column_counts(source: ListImport, at: int) -> Counter[str]:
    """How often each text stands in a column."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT coalesce(cells[%s], ''), count(*) FROM jobs_importrow WHERE source_id = %s"
            " GROUP BY 1 ORDER BY 2 DESC, 1 LIMIT %s",
            [at + 1, source.pk, MAX_TEXTS],
        )
        return Counter(dict(cursor.fetchall()))


def client_cells(source: ListImport) -> list[ClientCells]:
    """Who the rows are about, each once."""
    places = {
        name: [at + 1 for at, field in enumerate(source.mapping) if field == name]
        for name in ("client", "last_name", "phone", "mobile", "email", "street", "address")
    }
    columns = [
        places["client"] or places["last_name"],
        [*places["phone"], *places["mobile"]],
        places["email"],
        places["street"] or places["address"],
    ]
    parts = ", ".join(
        f"concat_ws('; ', {', '.join(['cells[%s]'] * len(c)) or 'NULL'})" for c in columns
    )
    with connection.cursor() as cursor:
        cursor.execute(
            f"SELECT DISTINCT {parts} FROM jobs_importrow WHERE source_id = %s LIMIT %s",  # noqa: S608 - made of places
            [*(at for column in columns for at in column), source.pk, MAX_CLIENTS],
        )
        return [ClientCells(*row) for row in sorted(cursor.fetchall())]


def grouped_by_invoice(rows: Sequence[ListRow], mapping: Sequence[str]) -> Iterator[list[ListRow]]:
    """Neighbours that have the same invoice number; each other row by itself."""
    at = mapping.index("invoice") if "invoice" in mapping and "item" in mapping else None
    group: list[ListRow] = []
    for row in rows:
        if group and (
            at is None or not invoice_of(row, at) or invoice_of(row, at) != invoice_of(group[0], at)
        ):
            yield group
            group = []
        group.append(row)
    if group:
        yield group


def invoice_of(row: ListRow, at: int) -> str:
    return row.cells[at] if at < len(row.cells) else ""


def rows_of(source: ListImport, rows: Sequence[ImportRow | StagedRow]) -> list[ListRow]:
    """Rows to read; one that tells neither a name nor how to reach anybody goes with the row above
    it."""
    found = []
    last: list[str] | None = None
    carried = [at for at, field in enumerate(source.mapping) if field in CARRIED_FIELDS]
    decked = [at for at, field in enumerate(source.mapping) if field in DECK_FIELDS]
    placed = [
        at
        for at, field in enumerate(source.mapping)
        if field in PLACE_FIELDS and source.heads[at] != GROUP_HEAD
    ]
    names = [
        at
        for at, field in enumerate(source.mapping)
        if field in {"client", "first_name", "last_name", "company"}
    ]
    if rows and names and not any(rows[0].cell(at) for at in names):
        last = row_above(rows[0], names)
    for row in rows:
        cells = list(row.cells)
        if names and last is not None and not any(row.cell(at) for at in carried):
            cells = filled_from(cells, last, carried, placed, decked)
        elif any(row.cell(at) for at in names):
            last = cells
        found.append(ListRow(row.number, cells))
    return found


def filled_from(
    cells: list[str],
    above: list[str],
    carried: Sequence[int],
    placed: Sequence[int],
    decked: Sequence[int],
) -> list[str]:
    """Who it is from the row above; where it is and which deck too, unless the row says so
    itself."""
    cells = cells + [""] * (len(above) - len(cells))
    wanted = list(carried)
    if not any(cells[at] for at in placed):
        wanted += placed
        if not any(cells[at] for at in decked):
            wanted += decked
    for at in wanted:
        cells[at] = cells[at] or above[at]
    return cells


def row_above(row: ImportRow | StagedRow, names: Sequence[int]) -> list[str] | None:
    """The last row before this one that names somebody."""
    earlier = ImportRow.objects.filter(source=row.source_id, ordinal__lt=row.ordinal)
    for cells in earlier.order_by("-ordinal").values_list("cells", flat=True)[:200]:
        if any(cells[at] for at in names if at < len(cells)):
            return list(cells)
    return None
