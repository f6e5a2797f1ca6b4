"""Finding decks: words and times in, the decks they mean out, typing errors forgiven, best first.

Three queries: the text is folded, then the words of the book are found that were meant, then the
decks. More only where nothing fits all of it, to say what does not.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cached_property
from typing import Any

from django.db import connection

from jobs.forecast_summary import overdue_decks_sql
from jobs.search.questions import (
    NO_FILTERS,
    QuestionPart,
    SearchFilters,
    Topic,
    parse_question,
    split_words,
)

MAX_SEARCH_LETTERS = 400
MAX_RANKED_HITS = 1_000  # beyond this a search says nothing; the page asks for another word
MIN_SIMILARITY = 0.35  # trigram similarity below which a word is another word

MAX_FORMS = 8  # so many words that begin alike are asked for one by one, which is faster
SHORT_NUMBER = 4  # digits; a shorter number is asked for as it stands

# All words of the book that begin so, as far as they are few.
FORMS_OF_WORDS_SQL = f"""
SELECT typed.word, ARRAY(
    SELECT w.word FROM jobs_searchword w WHERE w.word ~>=~ typed.word
        AND w.word ~<~ (typed.word || chr(1114111)) ORDER BY w.word USING ~<~ LIMIT {MAX_FORMS + 1}
) FROM unnest(%s::text[]) WITH ORDINALITY AS typed (word, place) ORDER BY typed.place
"""  # noqa: S608 - a constant

# First the words that one becomes when two letters beside each other change places, else the most
# similar.
CLOSE_WORDS_SQL = f"""
SELECT typed.word, coalesce(
    nullif(ARRAY(
        SELECT swapped FROM generate_series(1, length(typed.word) - 1) AS place,
            overlay(typed.word PLACING reverse(substr(typed.word, place, 2)) FROM place) AS swapped
        WHERE length(typed.word) > 2 AND EXISTS (
            SELECT FROM jobs_searchword w WHERE w.word ~>=~ swapped
                AND w.word ~<~ (swapped || chr(1114111))
        ) ORDER BY place LIMIT 4
    ), ARRAY[]::text[]),
    ARRAY(
        SELECT w.word FROM jobs_searchword w
        WHERE w.word %% typed.word AND similarity(w.word, typed.word) >= {MIN_SIMILARITY}
        ORDER BY similarity(w.word, typed.word) DESC, w.word LIMIT 4
    )
) FROM unnest(%s::text[]) AS typed (word)
"""  # noqa: S608 - a constant

PRODUCTS_OF_WORDS_SQL = """
SELECT typed.word, array_agg(p.id ORDER BY p.id) FROM unnest(%s::text[]) AS typed (word)
JOIN jobs_product p ON ' ' || regexp_replace(fold(p.name || ' ' || p.maker), '[^[:alnum:]]+', ' ',
    'g') LIKE '%% ' || typed.word || '%%'
GROUP BY typed.word
"""

RANKED_HITS_SQL = f"""
SELECT client_id, deck_id, rank FROM (
    SELECT e.client_id, e.deck_id, ts_rank('{{{{0.1, 0.4, 0.5, 1.0}}}}', e.document, query) AS rank
    FROM (SELECT %s::tsquery AS query) AS asked, jobs_searchentry e
        WHERE {{condition}} LIMIT {MAX_RANKED_HITS}
) AS ranked ORDER BY rank DESC, deck_id DESC NULLS LAST LIMIT %s OFFSET %s
"""  # noqa: S608 - a constant
FITS_QUERY = "e.document @@ query"
NO_PRODUCT = 0  # a number that none has
STATE_CONDITIONS = {
    "booked": """e.deck_id IN (SELECT chosen.deck_id FROM jobs_booking_decks chosen
        JOIN jobs_booking b ON b.id = chosen.booking_id WHERE b.state IN ('booked', 'held'))""",
}
ARCHIVED_BY_STATE = {"archived": "'=archived'", "overdue": "!'=archived'"}
# Work there, or the word itself: somebody may be called so.
SURFACE_CONDITION = """(e.document @@ %s::tsquery OR EXISTS (
    SELECT FROM jobs_job j JOIN jobs_coatapplied a ON a.job_id = j.id
    WHERE j.deck_id = e.deck_id AND %s = ANY (a.surfaces)))"""
OFFER_CONDITION = """e.deck_id IN (SELECT scope.deck_id FROM jobs_offerscope scope
    JOIN jobs_offer o ON o.id = scope.offer_id WHERE o.number = %s)"""


@dataclass(frozen=True)
class SearchHit:
    """A deck that was found, or a client who has none."""

    client_id: int
    deck_id: int | None
    rank: float


@dataclass(frozen=True)
class WordReading:
    """How a word was read: whether the book knows it (or a word that begins so), else the words it
    may have been meant for; and the whole words that are asked for, any that begins so if none."""

    word: str
    is_known: bool
    close: Sequence[str] = ()
    forms: Sequence[str] = ()

    @property
    def is_readable(self) -> bool:
        return self.is_known or bool(self.close)

    @property
    def candidates(self) -> Sequence[str]:
        return [self.word] if self.is_known or not self.close else self.close

    def term(self, weights: str = "") -> str:
        """As a part of a tsquery, of these weights or any."""
        if self.forms:
            ending = f":{weights}" if weights else ""
            return any_of(lexeme(form) + ending for form in self.forms)
        return any_of(f"{lexeme(each)}:*{weights}" for each in self.candidates)


@dataclass(frozen=True)
class AskedDecks:
    """A whole question: its parts, how its words were read, and what was chosen beside them."""

    parts: Sequence[QuestionPart] = ()
    readings: dict[str, WordReading] = field(default_factory=dict)
    filters: SearchFilters = NO_FILTERS
    town: str = ""  # of the filters, folded, its words joined by “_”
    products: dict[str, list[int]] = field(default_factory=dict)  # which each word may mean
    chosen_products: Sequence[int] = ()  # those that the product of the filters means
    today: date | None = None

    def of_topic(self, topic: Topic) -> list[QuestionPart]:
        return [part for part in self.parts if part.topic is topic]

    def with_parts(self, parts: Sequence[QuestionPart]) -> "AskedDecks":
        return replace(self, parts=parts)

    @cached_property
    def years(self) -> list[str]:
        return list(dict.fromkeys(part.year for part in self.of_topic(Topic.TIME) if part.year))

    def search_query(self, *, is_strict: bool) -> str:
        """The tsquery; empty if it asks for no word and no time.

        Strictly, a number that may be a year is no number in a note, and a word that is a product
        is one of the year asked for.
        """
        terms = [
            *self.filter_terms(),
            *(self.word_term(part.value, is_strict) for part in self.of_topic(Topic.WORD)),
            *self.time_and_work_terms(is_strict),
        ]
        for part in self.of_topic(Topic.STATE):
            if part.value in ARCHIVED_BY_STATE:
                terms.append(ARCHIVED_BY_STATE[part.value])
        return " & ".join(terms)

    def filter_terms(self) -> list[str]:
        chosen = self.filters
        terms: list[str] = []
        if chosen.product:
            numbers = self.chosen_products or [NO_PRODUCT]
            terms.append(self.made_term([f"p{number}" for number in numbers]))
        if chosen.finish:
            terms.append(self.made_term([f"f_{chosen.finish}"]))
        if chosen.species:
            terms.append(lexeme(f"=species/{chosen.species}"))
        if self.town:
            terms.append(lexeme(f"=town/{self.town}") + ":*")
        if chosen.archived:
            terms.append(("!" if chosen.archived == "no" else "") + lexeme("=archived"))
        return terms

    def made_term(self, parts: Sequence[str]) -> str:
        """One of these products or finish classes, in one of the years if any is asked for."""
        times = [f"{year}/" for year in self.years] or [""]
        return any_of(lexeme(f"={time}{part}") for part in parts for time in times)

    def word_term(self, word: str, is_strict: bool) -> str:
        reading = self.readings[word]
        numbers = self.products.get(word, []) if is_strict and self.years else []
        if not numbers:
            return reading.term()
        elsewhere = reading.term("ABD")  # C is the product
        return any_of([self.made_term([f"p{number}" for number in numbers]), elsewhere])

    def time_and_work_terms(self, is_strict: bool) -> list[str]:
        """Work and time that are both asked for are of one job."""
        times = self.of_topic(Topic.TIME)
        works = self.of_topic(Topic.WORK)
        if not works:
            return [time_term(part, is_strict) for part in times]
        if not times:
            return [
                either(f"=/{part.value}", part.other_word, "ABC" if is_strict else "")
                for part in works
            ]
        return [lexeme(f"={time.value}/{work.value}") for time in times for work in works]

    def conditions(self) -> tuple[list[str], list[Any]]:
        """What no word says: numbers of offers, surfaces, and states that follow the day; with
        values."""
        found: list[str] = []
        values: list[Any] = []
        for part in self.of_topic(Topic.OFFER):
            found.append(OFFER_CONDITION)
            values.append(int(part.value))
        for part in self.of_topic(Topic.SURFACE):
            found.append(SURFACE_CONDITION)
            values += [f"{lexeme(part.typed)}:*", part.value]
        for part in self.of_topic(Topic.STATE):
            if part.value in STATE_CONDITIONS:
                found.append(STATE_CONDITIONS[part.value])
            elif part.value == "overdue":
                sql, more = overdue_decks_sql(today=self.today or date.max)
                found.append(f"e.deck_id IN ({sql})")
                values += more
        return found, values

    def hits(self, limit: int, offset: int = 0) -> list[SearchHit]:
        """The decks that fit all of it, best first."""
        strict = self.search_query(is_strict=True)
        loose = self.search_query(is_strict=False)
        found = self.query_hits(strict, limit, offset)
        if found or loose == strict or (offset and self.query_hits(strict, 1, 0)):
            return found
        return self.query_hits(loose, limit, offset)

    def is_whole(self, asked: "AskedDecks") -> bool:
        return len(self.parts) == len(asked.parts)

    def has_hits(self) -> bool:
        """Whether anything fits; of one word alone the vocabulary says so already."""
        is_word = len(self.parts) == 1 and self.parts[0].topic is Topic.WORD
        if is_word and self.filters == NO_FILTERS and self.readings[self.parts[0].value].forms:
            return True
        return bool(self.query_hits(self.search_query(is_strict=False), 1, 0))

    def query_hits(self, query: str, limit: int, offset: int) -> list[SearchHit]:
        sql, values = self.statement(query, limit, offset)
        if not sql:
            return []
        with connection.cursor() as cursor:
            cursor.execute(sql, values)
            return [SearchHit(*row) for row in cursor.fetchall()]

    def statement(self, query: str, limit: int, offset: int = 0) -> tuple[str, list[Any]]:
        """The SQL that finds the decks, with its values; empty if nothing is asked for."""
        conditions, values = self.conditions()
        if query:
            conditions = [FITS_QUERY, *conditions]
        if not conditions:
            return "", []
        sql = RANKED_HITS_SQL.format(condition=" AND ".join(conditions))
        return sql, [query, *values, limit, offset]


@dataclass(frozen=True)
class SearchResult:
    """The answer: hits best first, what was read instead of what was typed, words the book does not
    know, and what was left out since nothing fits it together with the rest."""

    hits: Sequence[SearchHit]
    read_as: dict[str, str]
    unknown: Sequence[str]
    failed: Sequence[str] = ()
    asked: AskedDecks = AskedDecks()


def lexeme(text: str) -> str:
    """One lexeme of a tsquery, as it stands; none holds a quote or a backslash."""
    return f"'{text}'"


def any_of(terms: Iterable[str]) -> str:
    found = list(terms)
    return f"({' | '.join(found)})" if len(found) > 1 else found[0]


def either(name: str, word: str, weights: str) -> str:
    """A lexeme, or else a word of these weights (any, and any word that begins so, if none)."""
    if not word:
        return lexeme(name)
    return any_of([lexeme(name), f"{lexeme(word)}:{weights or '*'}"])


def time_term(part: QuestionPart, is_strict: bool) -> str:
    """A year may be a number of an address, and a month the beginning of a name."""
    weights = ("*AB" if part.value.startswith("-") else "AB") if is_strict else ""
    return either(f"={part.value}", part.other_word, weights)


def find_decks(
    text: str,
    *,
    limit: int = 50,
    offset: int = 0,
    filters: SearchFilters = NO_FILTERS,
    today: date | None = None,
) -> SearchResult:
    """Decks (and clients without one) that fit everything asked for.

    If none does, what the book has nothing of together with the rest is left out and named. What is
    overdue needs `today`.
    """
    asked = read_question(text, filters, today)
    readings = asked.readings.values()
    known = asked.with_parts(
        [
            part
            for part in asked.parts
            if part.topic is not Topic.WORD or asked.readings[part.value].is_readable
        ]
    )
    hits = known.hits(limit, offset)
    failed: list[str] = []
    if not hits and len(known.parts) > 1 and not (offset and known.hits(1)):
        known, failed = drop_what_fails(known)
        hits = known.hits(limit, offset) if failed else []
        failed = failed if hits else []
    return SearchResult(
        hits,
        {each.word: each.close[0] for each in readings if not each.is_known and each.close},
        [each.word for each in readings if not each.is_readable],
        failed,
        known,
    )


def drop_what_fails(asked: AskedDecks) -> tuple[AskedDecks, list[str]]:
    """A question that nothing fits, without each part that leaves nothing of what was kept before
    it, and those parts as typed. Words are kept before offers, work and states, and times go first.
    """
    kept = asked.with_parts([part for part in asked.parts if part.is_firm])
    failed: list[str] = []
    for topic in Topic:
        for part in asked.of_topic(topic):
            if part.is_firm:
                continue
            more = kept.with_parts([*kept.parts, part])
            if more.is_whole(asked) or not more.has_hits():
                failed.append(part.typed)
            else:
                kept = more
    has_typed = any(not part.is_firm for part in kept.parts)
    return (kept, failed) if has_typed else (asked.with_parts([]), [])


def read_question(text: str, filters: SearchFilters, today: date | None) -> AskedDecks:
    folded, town, product = fold_texts([text[:MAX_SEARCH_LETTERS], filters.town, filters.product])
    parts = parse_question(split_words(folded))
    words = [part.value for part in parts if part.topic is Topic.WORD]
    readings = word_readings(words) if words else []
    asked = AskedDecks(
        [*parts, *filters.firm_parts],
        {each.word: each for each in readings},
        filters,
        "_".join(split_words(town)),
        today=today,
    )
    return replace(
        asked,
        products=products_of_words(readings) if words and asked.years else {},
        chosen_products=products_named(product) if product else (),
    )


def fold_texts(texts: Sequence[str]) -> list[str]:
    """Small letters without accents, as the search keeps words."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT coalesce(fold(text), '') FROM unnest(%s::text[]) WITH ORDINALITY"
            " AS given (text, place) ORDER BY place",
            [[text.replace("\x00", " ") for text in texts]],
        )
        return [row[0] for row in cursor.fetchall()]


def word_readings(words: Sequence[str]) -> list[WordReading]:
    """How each of these words was read."""
    forms = forms_of_words(words)
    unknown = [word for word in words if not word.isdecimal() and not forms[word]]
    close = close_words(unknown) if unknown else {}
    forms |= forms_of_words([each for found in close.values() for each in found])
    return [read_word(word, close.get(word, []), forms) for word in words]


def read_word(word: str, close: Sequence[str], forms: dict[str, list[str]]) -> WordReading:
    if word.isdecimal():
        return WordReading(word, True, forms=[word] if len(word) < SHORT_NUMBER else [])
    meant = [word] if forms[word] else close
    found = [form for each in meant for form in forms[each]]
    is_few = all(len(forms[each]) <= MAX_FORMS for each in meant)
    return WordReading(word, bool(forms[word]), close, found if is_few else [])


def forms_of_words(words: Sequence[str]) -> dict[str, list[str]]:
    if not words:
        return {}
    with connection.cursor() as cursor:
        cursor.execute(FORMS_OF_WORDS_SQL, [list(words)])
        return dict(cursor.fetchall())


def close_words(words: Sequence[str]) -> dict[str, list[str]]:
    with connection.cursor() as cursor:
        cursor.execute(CLOSE_WORDS_SQL, [list(words)])
        return dict(cursor.fetchall())


def products_of_words(readings: Iterable[WordReading]) -> dict[str, list[int]]:
    """Word → the products that it may be a word of."""
    typed = {candidate: each.word for each in readings for candidate in each.candidates}
    found: dict[str, list[int]] = {}
    with connection.cursor() as cursor:
        cursor.execute(PRODUCTS_OF_WORDS_SQL, [list(typed)])
        for candidate, numbers in cursor.fetchall():
            found.setdefault(typed[candidate], []).extend(numbers)
    return found


def products_named(folded: str) -> list[int]:
    """The products that hold all of these words, or words that begin so."""
    words = [WordReading(word, is_known=True) for word in split_words(folded)]
    found = products_of_words(words)
    numbers = [set(found.get(each.word, ())) for each in words]
    return sorted(set.intersection(*numbers)) if numbers else []
