"""The work that a row tells of: by its date, by its notes, or by the lines of an invoice."""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from decimal import Decimal
from typing import TYPE_CHECKING, TypeVar

from jobs.importing.cells import (
    PLANS,
    Calendar,
    FinishRead,
    PastWork,
    UnreadableCell,
    coats_within,
    finish_class_of,
    finish_in_work,
    lacks_year,
    product_kind_of,
    read_coats,
    read_finish,
    read_kind,
    read_litres,
    read_money,
    read_past_work,
    read_span,
    read_spans,
)
from jobs.importing.columns import COLUMNS_BY_NAME, CellError
from jobs.importing.guessing import YEAR_HEAD, volume_unit_of_head
from jobs.importing.rows.doubts import finish_key_of, lays_a_coat
from jobs.importing.rows.facts import BookFacts
from jobs.importing.rows.invoices import InvoiceLine, read_invoice_line
from jobs.importing.rows.product_cells import ProductCell, split_product_cell
from jobs.importing.rows.values import CoatRead, JobRead, UnitRead
from jobs.partial_dates import DaySpan

if TYPE_CHECKING:
    from jobs.importing.rows.doubts import Answers
    from jobs.importing.rows.row_reader import Cells

Value = TypeVar("Value")
KIND_ORDER = ["strip", "recoat", "clean", "repair"]
NO_WORK_ENTRY = re.compile(
    r"\b(?:estimate|quot\w+|proposal|payment|deposit|credit|refund|journal|purchase|bill|statement|"
    r"sales order)\b",
    re.I,
)
PRICE_IN_WORDS = re.compile(r"[$€£] ?\d[\d,.]*")


class JobReader:
    """Jobs of one list."""

    def __init__(
        self,
        heads: Sequence[str],
        places: Mapping[str, Sequence[int]],
        book: BookFacts,
        answers: "Answers",
        calendar: Calendar,
    ) -> None:
        self.book = book
        self.answers = answers
        self.calendar = calendar
        self.places = places
        self.read_coats: dict[str, CoatRead] = {}  # by the words of their cell
        self.names = {finish_key_of(name): name for name in answers.values.get("classes", {})}
        self.year_columns = [at for at in places.get("done", ()) if heads[at] == YEAR_HEAD]
        self.volume_units = {at: volume_unit_of_head(heads[at]) for at in places.get("litres", ())}

    def read(self, lines: Sequence["Cells"], unit: UnitRead) -> None:
        """Fills the unit's jobs, and its client's notes with what is no work."""
        first = lines[0]
        notes = [
            note
            for cells in lines
            for note in (*cells.all("notes"), self.product_cell(cells).note)
            if note
        ]
        told = [work for note in notes for work in read_past_work(note, self.calendar)]
        spans = self.spans(first, unit, told)
        works = [self.invoice_line(cells) for cells in lines if cells.first("item")]
        kind = self.kind(first, works)
        if entry := next(filter(NO_WORK_ENTRY.search, (c.first("entry") for c in lines)), ""):
            unit.remarks.append(f"“{entry}” is no work that was done.")
            return
        if works and not any(line.kind or line.products for line in works):
            unit.remarks.append("No work on a deck is on this invoice.")
            spans = []
        jobs = self.merge(spans, told, kind)
        self.describe(jobs, lines, works, unit)
        if unit.client is not None and notes:
            unit.client.notes += [] if unit.deck is not None else notes
        if unit.deck is not None:
            self.keep_notes(jobs, notes, unit)
        unit.jobs = jobs

    def spans(self, cells: "Cells", unit: UnitRead, told: list[PastWork]) -> list[DaySpan]:
        """The days of the date columns; the year that heads a group counts where no date stands."""
        heading = next(
            (cells.row.cells[at] for at in self.year_columns if at < len(cells.row.cells)), ""
        )
        texts = [cell for cell in cells.all("done") if not heading or cell != heading]
        found = []
        for text in texts or ([heading] if heading and not told and tells_of_work(cells) else []):
            try:
                found += self.dates(text, heading, told)
            except UnreadableCell as error:
                unit.problems["done"] = str(error)
        return found

    def dates(self, text: str, heading: str, told: list[PastWork]) -> list[DaySpan]:
        """One date, several in one cell, or work with its date; the year may head the group."""
        if heading and lacks_year(text):
            return [read_span(f"{text} {heading[-4:]}", self.calendar)]
        try:
            return list(read_spans(text, self.calendar))
        except UnreadableCell:
            work = read_past_work(text, self.calendar)
            if not work and not heading:
                raise
            told += work
            return [] if work else [read_span(f"{text} {heading}", self.calendar)]

    def kind(self, cells: "Cells", works: Sequence[InvoiceLine]) -> str:
        """What was done, as far as words say it; nothing where none do."""
        text = cells.first("kind")
        if text:
            strict = text.casefold()
            return (
                strict
                if strict in KIND_ORDER
                else read_kind(text) or self.answers.get("kinds", text)
            )
        kinds = {line.kind for line in works if line.is_work} or {line.kind for line in works}
        found = [kind for kind in KIND_ORDER if kind in kinds]
        if found:
            return found[0]
        return next(filter(None, map(self.kind_of_note, cells.all("notes"))), "")

    def kind_of_note(self, note: str) -> str:
        """“stripped” beside a date is what was done then; work with a date of its own is not."""
        if PLANS.search(note) or read_past_work(note, self.calendar):
            return ""
        kind = read_kind(note)
        return kind if kind in {"strip", "recoat"} else ""

    def merge(self, spans: list[DaySpan], told: list[PastWork], kind: str) -> list[JobRead]:
        """Jobs by date; a note about the same time says what was done and when more closely."""
        rest = list(told)
        jobs = []
        for span in spans:
            same = next((work for work in rest if overlaps(work.span, span)), None)
            closer = span
            if same is not None and (not kind or same.kind == kind):
                rest.remove(same)
                closer = same.span if same.span.days < span.days else span
            default = self.answers.get("kinds", default="recoat") or "recoat"
            jobs.append(JobRead(kind or (same.kind if same else default), closer))
            if same is not None and same.coats:
                jobs[-1].coats.append(CoatRead("", coats=same.coats))
        for work in rest:
            coats = [CoatRead("", coats=work.coats)] if work.kind in {"strip", "recoat"} else []
            jobs.append(
                JobRead(work.kind, work.span, coats if work.coats else [], notes=[work.words])
            )
        return sorted(jobs, key=lambda job: (job.span.last, job.span.first), reverse=True)

    def describe(
        self,
        jobs: list[JobRead],
        lines: Sequence["Cells"],
        works: Sequence[InvoiceLine],
        unit: UnitRead,
    ) -> None:
        """Product, price and crew belong to the newest job of the row that laid a coat."""
        coats = self.coats(lines, works, unit)
        if not jobs:
            if coats and unit.deck is not None:
                unit.deck.notes += [words for coat in coats if (words := coat_words(coat))]
            return
        job = next((job for job in jobs if job.kind in {"strip", "recoat"}), jobs[0])
        if coats:
            counted = job.coats[0].coats if job.coats else None
            job.coats = [
                coat if coat.coats or not counted else replace(coat, coats=counted)
                for coat in coats
            ]
        job.notes += [words for coat in coats if (words := unnamed_words(coat))]
        job.coats = [
            coat if is_named(coat) or not coat.product else replace(coat, product="")
            for coat in job.coats
        ]
        job.price = self.price(lines, works)
        job.currency = lines[0].first("currency").upper()[:3] or self.book.currency
        job.crew = lines[0].first("crew")[:120]
        job.notes += [line.words for line in works]
        self.read_grade(job, lines[0], unit)

    def read_grade(self, job: JobRead, cells: "Cells", unit: UnitRead) -> None:
        for name in ("grade", "visit_reason"):
            if not (text := cells.first(name)):
                continue
            try:
                value = COLUMNS_BY_NAME[name].read(text)
            except CellError as error:
                unit.problems[name] = str(error)
                continue
            if name == "grade":
                job.grade = value
            else:
                job.reason = value

    def price(self, lines: Sequence["Cells"], works: Sequence[InvoiceLine]) -> Decimal | None:
        """What was charged before tax; of an invoice the sum of its lines."""
        if works:
            amounts = [line.amount for line in works if line.counts_for_price and line.amount]
            total = sum(amounts, Decimal(0))
            return total if amounts and total >= 0 else None
        texts = [*lines[0].all("price")]
        if "price" not in self.places:
            texts += PRICE_IN_WORDS.findall(self.product_cell(lines[0]).note)
        prices = [price for text in texts if (price := money_or_none(text)) is not None]
        return prices[0] if prices and prices[0] >= 0 else None

    def invoice_line(self, cells: "Cells") -> InvoiceLine:
        price = money_or_none(cells.first("price"))
        return read_invoice_line(cells.first("item"), price)

    def coats(
        self, lines: Sequence["Cells"], works: Sequence[InvoiceLine], unit: UnitRead
    ) -> list[CoatRead]:
        """What went on, each product once."""
        found: dict[str, CoatRead] = {}
        for cells in lines:
            coat = self.coat_of_columns(cells, unit) or self.coat_of_work(cells)
            if coat is not None:
                found.setdefault(coat.product.casefold(), coat)
        for cells, line in zip((c for c in lines if c.first("item")), works, strict=True):
            for words in line.products:
                coat = self.coat_of_words(words)
                litres = coat.litres or quantity_litres(cells.first("quantity"), line)
                found.setdefault(coat.product.casefold(), replace(coat, litres=litres))
        return list(found.values())

    def coat_of_columns(self, cells: "Cells", unit: UnitRead) -> CoatRead | None:
        product = self.product_cell(cells).product
        colour = cells.first("colour")
        batch = cells.first("batch")[:60]
        if not (product or colour or cells.first("coats")):
            return None
        coat = self.coat_of_words(product) if product else CoatRead("")
        coats = self.number(read_coats, cells.first("coats"), unit, "coats") or coat.coats
        coats = coats or coats_within(cells.first("kind"))
        return replace(
            coat,
            maker=cells.first("maker")[:120] or coat.maker,
            kind=cells.first("product_kind") or coat.kind,
            finish_class=self.strict_class(cells, coat),
            colour=(colour or coat.colour)[:80],
            batch=(batch or coat.batch) if coat.product else "",
            coats=coats,
            litres=self.litres(cells, unit) or coat.litres,
        )

    def product_cell(self, cells: "Cells") -> ProductCell:
        return split_product_cell(cells.first("product"), self.calendar, self.book.colours)

    def coat_of_work(self, cells: "Cells") -> CoatRead | None:
        """What the words for the work say of the finish: “oiled 2 coats walnut”."""
        text = cells.first("kind")
        if not lays_a_coat(text):
            return None
        finish = FinishRead("") if "product" in self.places else finish_in_work(text)
        coats = coats_within(text)
        if not (finish.name or coats):
            return None
        coat = self.coat_of_words(finish.name) if finish.name else CoatRead("")
        return replace(coat, colour=finish.colour, coats=coats)

    def strict_class(self, cells: "Cells", coat: CoatRead) -> str:
        """The column of the documented sheet wins over what was answered."""
        text = cells.first("finish_class")
        try:
            return str(COLUMNS_BY_NAME["finish_class"].read(text)) if text else coat.finish_class
        except CellError:
            return coat.finish_class

    def coat_of_words(self, words: str) -> CoatRead:
        """A product with its colour, coats and litres, as one cell has them."""
        if words not in self.read_coats:
            self.read_coats[words] = self.new_coat(words)
        return self.read_coats[words]

    def new_coat(self, words: str) -> CoatRead:
        written = read_finish(words, self.book.colours)
        name = self.answers.get("products", finish_key_of(written.name)) or self.canonical(
            written.name
        )
        known = self.book.product(name)
        kind = known.kind if known else product_kind_of(name)
        finish_class = (
            known.finish_class
            if known
            else self.answers.get("classes", name, finish_class_of(name))
            if kind == "finish"
            else ""
        )
        return CoatRead(
            name[:120],
            kind=kind,
            finish_class=finish_class,
            colour=written.colour[:80],
            batch=written.batch[:60],
            coats=quiet(read_coats, words),
            litres=quiet(read_litres, words) if re.search(r"[a-z]", words.casefold()) else None,
        )

    def canonical(self, name: str) -> str:
        """The first way in which a product was written, whatever the capitals."""
        known = self.book.product(name)
        return known.name if known else self.names.setdefault(finish_key_of(name), name)

    def litres(self, cells: "Cells", unit: UnitRead) -> Decimal | None:
        for at, bare in self.volume_units.items():
            if at < len(cells.row.cells) and (text := cells.row.cells[at]):
                try:
                    return read_litres(text, bare)
                except UnreadableCell as error:
                    unit.remarks.append(str(error))
        return None

    def number(
        self, read: Callable[[str], Value | None], text: str, unit: UnitRead, field: str
    ) -> Value | None:
        """What the cell says; one that cannot be read is a problem of its field."""
        if not text:
            return None
        try:
            return read(text)
        except UnreadableCell as error:
            unit.problems[field] = str(error)
            return None

    def keep_notes(self, jobs: list[JobRead], notes: list[str], unit: UnitRead) -> None:
        """Notes stay as they are written: with the newest job, or with the deck."""
        if jobs:
            jobs[0].notes[:0] = notes
        elif unit.deck is not None:
            unit.deck.notes += notes


def tells_of_work(cells: "Cells") -> bool:
    """Whether a row without a date says anything of work done."""
    return any(map(cells.first, ("kind", "product", "coats", "price", "item", "litres")))


def overlaps(one: DaySpan, other: DaySpan) -> bool:
    return one.first <= other.last and other.first <= one.last


def money_or_none(text: str) -> Decimal | None:
    try:
        return read_money(text) if text else None
    except UnreadableCell:
        return None


def quiet(read: Callable[[str], Value | None], text: str) -> Value | None:
    """What the words say by the way, if anything."""
    try:
        return read(text)
    except UnreadableCell:
        return None


def quantity_litres(text: str, line: InvoiceLine) -> Decimal | None:
    """The quantity of a line that sells a product and says its unit."""
    return (
        quiet(read_litres, text) if re.search(r"[a-z]", text.casefold()) and line.products else None
    )


def is_named(coat: CoatRead) -> bool:
    """A finish needs its class: without one its name is kept in the notes."""
    return bool(coat.product) and (coat.kind != "finish" or bool(coat.finish_class))


def unnamed_words(coat: CoatRead) -> str:
    return f"Product: {coat.product}" if coat.product and not is_named(coat) else ""


def coat_words(coat: CoatRead) -> str:
    return " ".join(filter(None, ["Product:", coat.product, coat.colour])) if coat.product else ""
