"""The whole book for the numerical core:
every coat that ever was on a deck, and what each visit found of it."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, fields
from datetime import date
from typing import Any, NamedTuple

import numpy as np
from django.db import connection
from numpy.typing import NDArray

from clients.models import Deck
from reminders import forecast
from reminders.forecasting import bridge
from reminders.forecasting.bridge import (
    EXPOSURE_SQL,
    GRADE_SQL,
    GRADER_SQL,
    IS_DATED_SQL,
    NewestCoats,
    postgres_array,
)

DECKS_A_QUERY = 10_000  # decks at a time: bounds memory

EVERY_COAT_SQL = f"""
SELECT deck.id, coat.job_id, coat.kind, coat.laid_from, coat.laid_on, coat.finish_class,
    coat.pigment, coat.base, coat.coats, NULL, NULL, NULL, NULL, NULL, NULL, NULL, {EXPOSURE_SQL},
    CASE WHEN coat.ended_on <= %(today)s THEN coat.ended_on END,
    deck.archived_at IS NOT NULL OR client.archived_at IS NOT NULL
FROM clients_deck deck
JOIN clients_property place ON place.id = deck.property_id
JOIN clients_client client ON client.id = place.client_id
JOIN jobs_coat coat ON coat.deck_id = deck.id AND coat.laid_on <= %(today)s
LEFT JOIN clients_localnormals normals
    ON (normals.town, normals.region, normals.country) = (place.town, place.region, place.country)
WHERE deck.id = ANY (%(decks)s::bigint[])
ORDER BY deck.id, coat.laid_on, coat.job_id
"""  # noqa: S608 - made of constants

# What was found on the day of a job was found on the coat before it, so the coat seen is the newest
# earlier one.
EVERY_VISIT_SQL = f"""
SELECT seen.job_id, v.visited_on, {GRADE_SQL}, v.reason, v.observer = 'client',
    {GRADER_SQL}, {IS_DATED_SQL} AND coalesce(later.laid_from > v.visited_on, true)
FROM jobs_visit v
LEFT JOIN LATERAL (
    SELECT job_id FROM jobs_coat WHERE deck_id = v.deck_id AND laid_on < v.visited_on
    ORDER BY laid_on DESC, job_id DESC LIMIT 1
) seen ON true
LEFT JOIN LATERAL (
    SELECT laid_from FROM jobs_coat WHERE deck_id = v.deck_id AND laid_on >= v.visited_on
    ORDER BY laid_on, job_id LIMIT 1
) later ON true
WHERE v.deck_id = ANY (%(decks)s::bigint[]) AND v.visited_on <= %(today)s
ORDER BY v.deck_id, v.visited_on, v.id
"""  # noqa: S608 - made of constants

FINISH_COLUMN = 5
NOT_GRADED = "visits at which nothing was graded"
BEFORE_FIRST_COAT = "visits before the first coat in the book"
NOT_DATED = "visits of which nobody knows which coat they found, for a day is not known"
FINISH_UNKNOWN = "coats whose finish was not recorded"
NEVER_INSPECTED = "coats that no visit graded"
CONTRADICTORY = "coats whose grades contradict each other"


@dataclass(frozen=True, slots=True)
class EveryCoat(NewestCoats):
    """Columns of n coats, several a deck in order of time."""

    ended_on: tuple[date | None, ...]
    is_archived: tuple[bool, ...]


@dataclass(frozen=True)
class TrainingData:
    """All that the book can teach; `left_out` says in words what it could not use and how often."""

    book: forecast.InspectionData
    job_id: NDArray[np.int64]
    is_archived: NDArray[np.bool_]
    left_out: dict[str, int]

    @property
    def visits(self) -> int:
        return len(self.book.visits)

    @property
    def decks(self) -> int:
        return len(np.unique(self.book.coats.deck))


class SeenVisit(NamedTuple):
    """A graded visit to a known coat: its place among them, the day, the grade, why, whether the
    client looked, and the key of who graded."""

    coat: int
    day: float
    grade: float
    reason: str
    by_client: bool
    grader: int


@dataclass(frozen=True)
class TrainingChunk:
    """What a chunk of decks gave."""

    coats: forecast.Coats
    ended_on: NDArray[np.float64]
    job_id: NDArray[np.int64]
    is_archived: NDArray[np.bool_]
    seen: list[SeenVisit]


def load_training_data(*, today: date) -> TrainingData | None:
    """The book up to and including today; None while no coat with a known finish is in it."""
    left_out: Counter[str] = Counter()
    decks = list(Deck.objects.order_by("pk").values_list("pk", flat=True))
    chunks = (decks[at : at + DECKS_A_QUERY] for at in range(0, len(decks), DECKS_A_QUERY))
    parts = [
        part
        for chunk in chunks
        if (part := read_training_chunk(chunk, today, left_out)) is not None
    ]
    if not parts:
        return None
    book = forecast.InspectionData(
        concatenate_coats([part.coats for part in parts]),
        concatenate_visits(parts),
        concatenate_column(parts, "ended_on"),
    )
    count_unusable_coats(book, left_out)
    return TrainingData(
        book,
        concatenate_column(parts, "job_id"),
        concatenate_column(parts, "is_archived"),
        dict(left_out),
    )


def read_training_chunk(
    deck_ids: Sequence[int], today: date, left_out: Counter[str]
) -> TrainingChunk | None:
    """The coats and visits of some decks, in two queries."""
    where: dict[str, str | date] = {"decks": postgres_array(deck_ids), "today": today}
    with connection.cursor() as cursor:
        cursor.execute(EVERY_COAT_SQL, where)
        rows = cursor.fetchall()
        cursor.execute(EVERY_VISIT_SQL, where)
        visits = cursor.fetchall()
    known = [row for row in rows if row[FINISH_COLUMN]]
    left_out[FINISH_UNKNOWN] += len(rows) - len(known)
    seen = visits_of_known_coats(
        visits, {row[1]: place for place, row in enumerate(known)}, left_out
    )
    if not known:
        return None
    found = EveryCoat(*zip(*known, strict=True))
    ended = np.array([bridge.epoch_days(day) for day in found.ended_on])
    return TrainingChunk(
        bridge.core_coats(found, today=today),
        ended,
        np.array(found.job_id),
        np.array(found.is_archived),
        seen,
    )


def visits_of_known_coats(
    visits: Sequence[tuple[int | None, date, int | None, str, bool, str, bool]],
    place: dict[int, int],
    left_out: Counter[str],
) -> list[SeenVisit]:
    """Visits that saw a known coat, with the place of the coat; the others are counted."""
    found = []
    for job, day, grade, reason, by_client, grader, is_dated in visits:
        if grade is None:
            left_out[NOT_GRADED] += 1
        elif not is_dated:
            left_out[NOT_DATED] += 1
        elif job is None:
            left_out[BEFORE_FIRST_COAT] += 1
        elif job in place:  # else its coat is among those without a finish, and counted there
            day_number = bridge.epoch_days(day)
            key = -1 if by_client else bridge.grader_key(grader)
            found.append(SeenVisit(place[job], day_number, float(grade), reason, by_client, key))
    return found


def concatenate_coats(parts: Sequence[forecast.Coats]) -> forecast.Coats:
    """The coats of all parts below each other."""
    names = [field.name for field in fields(forecast.Coats) if field.name != "mix"]
    columns = {name: np.concatenate([getattr(part, name) for part in parts]) for name in names}
    return forecast.Coats(mix=parts[0].mix, **columns)


def concatenate_column(parts: Sequence[TrainingChunk], name: str) -> NDArray[Any]:
    return np.concatenate([getattr(part, name) for part in parts])


def concatenate_visits(parts: Sequence[TrainingChunk]) -> forecast.Visits:
    """The visits of all parts, their coats counted through."""
    starts = np.cumsum([0] + [len(part.coats) for part in parts])
    rows = [
        visit._replace(coat=visit.coat + int(start))
        for part, start in zip(parts, starts[:-1], strict=True)
        for visit in part.seen
    ]
    columns = zip(*rows, strict=True) if rows else ((),) * len(SeenVisit._fields)
    coat, day, grade, reason, by_client, grader = columns
    return forecast.Visits(
        coat=np.array(coat, dtype=np.int64),
        visited_on=np.array(day, dtype=float),
        grade=np.array(grade, dtype=float),
        reason=np.array(reason, dtype=object),
        by_client=np.array(by_client, dtype=bool),
        grader=np.array(grader, dtype=np.int64),
    )


def count_unusable_coats(book: forecast.InspectionData, left_out: Counter[str]) -> None:
    """Coats with no graded visit, or with grades that cannot all be true, teach nothing."""
    found = forecast.life_bounds(book.coats, book.visits)
    left_out[NEVER_INSPECTED] += int((~found.seen).sum())
    left_out[CONTRADICTORY] += int(found.conflict.sum())
