"""What went on the decks that were found, with the lines that answer the question first."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db import connection

from jobs.day_words import say_coats, say_span
from jobs.partial_dates import DaySpan
from jobs.search.finding import AskedDecks
from jobs.search.questions import Topic

COATS_ON_DECKS_SQL = """
SELECT j.deck_id, j.id, j.finished_from, j.finished_on, place.latitude < 0, j.kind,
    a.id IS NOT NULL, p.name, p.maker, a.colour, coalesce(b.code, ''), a.coats, a.litres,
    p.id, coalesce(p.finish_class, ''), coalesce(a.surfaces, ARRAY[]::varchar[]),
    tsvector_to_array(job_lexemes(coalesce(j.finished_from, j.finished_on), j.finished_on, j.kind,
        place.latitude < 0)::tsvector),
    fold(concat_ws(' ', p.name, p.maker, a.colour, b.code,
        regexp_replace(b.code, '[^[:alnum:]]', '', 'g'), j.crew, j.notes))
FROM jobs_job j JOIN clients_deck d ON d.id = j.deck_id
JOIN clients_property place ON place.id = d.property_id
LEFT JOIN jobs_coatapplied a ON a.job_id = j.id
LEFT JOIN jobs_product p ON p.id = a.product_id
LEFT JOIN jobs_batch b ON b.id = a.batch_id
WHERE j.deck_id = ANY (%s) ORDER BY j.finished_on DESC, j.id DESC, a.position
"""


@dataclass(frozen=True)
class CoatRecord:
    """What one product of one job was, ready to be read out."""

    deck_id: int
    job_id: int
    finished_from: date | None
    finished_on: date
    is_south: bool
    kind: str
    is_recorded: bool  # whether anything is noted of a product, if only that nobody knows which
    product: str | None
    maker: str | None
    colour: str | None
    batch: str
    coats: int | None
    litres: Decimal | None
    product_id: int | None
    finish_class: str
    surfaces: Sequence[str]
    lexemes: Sequence[str]  # when and what, as the search keeps it
    words: str  # of the product, batch, colour, crew and notes, folded

    @property
    def span(self) -> DaySpan:
        return DaySpan(self.finished_from or self.finished_on, self.finished_on)

    @property
    def day_words(self) -> str:
        return say_span(self.span, is_south=self.is_south)

    @property
    def edtf(self) -> str:
        return self.span.edtf(is_south=self.is_south)

    @property
    def coats_words(self) -> str:
        return say_coats(self.coats)

    def has_word(self, beginnings: Sequence[str]) -> bool:
        parts = "".join(letter if letter.isalnum() else " " for letter in self.words).split()
        return any(part.startswith(each) for part in parts for each in beginnings)


def coat_records_by_deck(deck_ids: Sequence[int]) -> dict[int, list[CoatRecord]]:
    """Everything that ever went on these decks, newest first, in one query."""
    lines: dict[int, list[CoatRecord]] = {deck_id: [] for deck_id in deck_ids}
    with connection.cursor() as cursor:
        cursor.execute(COATS_ON_DECKS_SQL, [list(deck_ids)])
        for row in cursor.fetchall():
            lines[row[0]].append(CoatRecord(*row))
    return lines


@dataclass(frozen=True)
class AnsweringHistory:
    """What went on one deck: the lines that answer the question, best first, and the others."""

    matching: Sequence[CoatRecord]
    others: Sequence[CoatRecord]

    @property
    def lines(self) -> list[CoatRecord]:
        return [*self.matching, *self.others]


def split_history(records: Sequence[CoatRecord], asked: AskedDecks) -> AnsweringHistory:
    """A line answers if it is of the time, work, surface, product and finish asked for; if none of
    these was, if it holds one of the words. Those with most of the words come first."""
    counted = [(words_held(record, asked), record) for record in records]
    chosen = asked.filters.product or asked.filters.finish or asked.of_topic(Topic.SURFACE)
    is_dated = bool(job_names(asked) or chosen)
    matching = [
        (count, record)
        for count, record in counted
        if (count or is_dated) and fits_job(record, asked)
    ]
    matching.sort(key=lambda pair: -pair[0])
    lines = [record for _, record in matching]
    return AnsweringHistory(lines, [record for record in records if record not in lines])


def words_held(record: CoatRecord, asked: AskedDecks) -> int:
    return sum(
        record.has_word(asked.readings[part.value].candidates)
        for part in asked.of_topic(Topic.WORD)
    )


def job_names(asked: AskedDecks) -> list[str]:
    """The lexemes of the times and kinds of work asked for, both together where both were."""
    times = [part.value for part in asked.of_topic(Topic.TIME)]
    works = [part.value for part in asked.of_topic(Topic.WORK)]
    if not works:
        return [f"={time}" for time in times]
    return [f"={time}/{work}" for time in times or [""] for work in works]


def fits_job(record: CoatRecord, asked: AskedDecks) -> bool:
    names = job_names(asked)
    surfaces = {part.value for part in asked.of_topic(Topic.SURFACE)}
    return (
        (not surfaces or not surfaces.isdisjoint(record.surfaces))
        and (not names or any(name in record.lexemes for name in names))
        and (not asked.filters.product or record.product_id in asked.chosen_products)
        and asked.filters.finish in {"", record.finish_class}
    )
