"""Looking things up: a few words in, the decks they mean out, typing errors forgiven, best first.

Two queries: the first finds, for each word typed, the words of the book that were meant; the second
finds the decks.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db import connection

from jobs.day_words import say_coats, say_span
from jobs.partial_dates import DaySpan

MAX_SEARCH_WORDS = 12
MAX_RANKED_HITS = 2_000  # beyond this a search says nothing; the page asks for another word
MIN_SIMILARITY = 0.35  # trigram similarity below which a word is another word

WORD_READINGS_SQL = f"""
SELECT typed.word, known.is_known, CASE WHEN known.is_known THEN ARRAY[]::text[] ELSE ARRAY(
        SELECT w.word FROM jobs_searchword w
        WHERE w.word %% typed.word AND similarity(w.word, typed.word) >= {MIN_SIMILARITY}
        ORDER BY similarity(w.word, typed.word) DESC, w.word LIMIT 4
    ) END
FROM unnest(%s::text[]) WITH ORDINALITY AS typed (word, place),
    LATERAL (SELECT typed.word ~ '^[0-9]+$' OR EXISTS (
    SELECT FROM jobs_searchword w WHERE w.word ~>=~ typed.word
        AND w.word ~<~ (typed.word || chr(1114111))
) AS is_known) AS known ORDER BY typed.place
"""  # noqa: S608 - a constant

RANKED_HITS_SQL = f"""
SELECT client_id, deck_id, rank FROM (
    SELECT e.client_id, e.deck_id, ts_rank('{{0.1, 0.2, 0.5, 1.0}}', e.document, query) AS rank
    FROM to_tsquery('simple', %s) AS query, jobs_searchentry e
        WHERE e.document @@ query LIMIT {MAX_RANKED_HITS}
) AS ranked ORDER BY rank DESC, deck_id DESC NULLS LAST LIMIT %s OFFSET %s
"""  # noqa: S608 - a constant


@dataclass(frozen=True)
class SearchHit:
    """A deck that was found, or a client who has none."""

    client_id: int
    deck_id: int | None
    rank: float


@dataclass(frozen=True)
class SearchResult:
    """The answer: hits best first, what was read instead of what was typed, and words the book does
    not know."""

    hits: Sequence[SearchHit]
    read_as: dict[str, str]
    unknown: Sequence[str]


def search_words(text: str) -> list[str]:
    """The words of a search, folded, in the order typed; digits of a telephone number joined."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT fold(%s)", [text[:400]])
        folded = cursor.fetchone()[0]
    words = "".join(letter if letter.isalnum() else " " for letter in folded).split()
    joined = "".join(words)
    if joined.isdigit() and len(joined) >= 4 and len(words) > 1:
        return [joined[-10:]]
    return list(dict.fromkeys(words))[:MAX_SEARCH_WORDS]


def word_readings(words: Sequence[str]) -> list[tuple[str, bool, list[str]]]:
    """For each word: itself, whether the book knows it (or a word that begins so), and the closest
    known words."""
    with connection.cursor() as cursor:
        cursor.execute(WORD_READINGS_SQL, [list(words)])
        rows: list[tuple[str, bool, list[str]]] = cursor.fetchall()
    return rows


def tsquery_term(word: str, is_known: bool, close: Sequence[str]) -> str:
    """A word as a tsquery: as a beginning if the book knows it, else the closest words (or one that
    finds nothing)."""
    if is_known or not close:
        return f"{word}:*"
    return "(" + " | ".join(f"{candidate}:*" for candidate in close) + ")"


def find_decks(text: str, *, limit: int = 50, offset: int = 0) -> SearchResult:
    """Decks (and clients without one) that hold all the words;
    if none does, those that hold any."""
    readings = word_readings(search_words(text))
    if not readings:
        return SearchResult([], {}, [])
    terms = [tsquery_term(*reading) for reading in readings]
    hits = query_hits(" & ".join(terms), limit, offset) or (
        query_hits(" | ".join(terms), limit, offset) if len(terms) > 1 else []
    )
    read_as = {word: close[0] for word, is_known, close in readings if not is_known and close}
    return SearchResult(
        hits, read_as, [word for word, is_known, close in readings if not is_known and not close]
    )


def query_hits(query: str, limit: int, offset: int) -> list[SearchHit]:
    with connection.cursor() as cursor:
        cursor.execute(RANKED_HITS_SQL, [query, limit, offset])
        return [SearchHit(*row) for row in cursor.fetchall()]


COATS_ON_DECKS_SQL = """
SELECT j.deck_id, j.id, j.finished_from, j.finished_on, place.latitude < 0, j.kind,
    a.id IS NOT NULL, p.name, p.maker, a.colour, coalesce(b.code, ''), a.coats, a.litres
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


def coat_records_by_deck(deck_ids: Sequence[int]) -> dict[int, list[CoatRecord]]:
    """Everything that ever went on these decks, newest first, in one query."""
    lines: dict[int, list[CoatRecord]] = {deck_id: [] for deck_id in deck_ids}
    with connection.cursor() as cursor:
        cursor.execute(COATS_ON_DECKS_SQL, [list(deck_ids)])
        for row in cursor.fetchall():
            lines[row[0]].append(CoatRecord(*row))
    return lines
