"""The newest coat of each deck with all that wears it, read in one query:
what the bridge hands to the core."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from operator import itemgetter

from django.db import connection

from jobs.models.visit import GRADE_FIELDS

# the highest as-found grade at which a coat still protects; recoat limit at 3 (docs/forecast.md)
MAX_SOUND_GRADE = 2
GRADE_SQL = (  # as Visit.grade
    f"coalesce(v.overall, greatest({', '.join(f'v.{name}' for name in GRADE_FIELDS[1:])}))"
)

EXPOSURE_SQL = """
place.latitude, place.longitude, normals.wet_days, deck.species, deck.texture, deck.roof_percent,
deck.summer_shade_percent, deck.winter_shade_percent, deck.orientation_deg, deck.airflow,
    deck.traffic, deck.salt,
deck.pool, deck.litter, deck.height_m
"""

# One row a deck that has a coat. LATERAL and not CTEs: the planner guesses the size of the
# latter so badly that it may choose a plan that takes minutes; index look-ups deck by deck cannot
# go wrong. What was found on the day of the job came before the coat; of visits that disagree the
# later one is believed.
NEWEST_COATS_SQL = f"""
SELECT deck.id, coat.job_id, coat.kind, coat.laid_on, coat.finish_class, coat.pigment, coat.base,
    coat.coats, coat.build, sound.seen_on, worn.seen_on, {EXPOSURE_SQL}
FROM clients_deck deck
JOIN clients_property place ON place.id = deck.property_id
JOIN clients_client client ON client.id = place.client_id
JOIN LATERAL (
    SELECT * FROM jobs_coat WHERE deck_id = deck.id ORDER BY laid_on DESC, job_id DESC LIMIT 1
) coat ON true
LEFT JOIN LATERAL (
    SELECT max(v.visited_on) AS seen_on FROM jobs_visit v
    WHERE v.deck_id = deck.id AND v.visited_on > coat.laid_on
        AND v.visited_on <= %(today)s AND {GRADE_SQL} <= {MAX_SOUND_GRADE}
) sound ON true
LEFT JOIN LATERAL (
    SELECT min(v.visited_on) AS seen_on FROM jobs_visit v
    WHERE v.deck_id = deck.id AND v.visited_on > coalesce(sound.seen_on, coat.laid_on)
        AND v.visited_on <= %(today)s AND {GRADE_SQL} > {MAX_SOUND_GRADE}
) worn ON true
LEFT JOIN clients_localnormals normals
    ON (normals.town, normals.region, normals.country) = (place.town, place.region, place.country)
WHERE deck.archived_at IS NULL AND client.archived_at IS NULL
    AND deck.id = ANY (%(decks)s::bigint[])
"""  # noqa: S608 - made of constants


@dataclass(frozen=True, slots=True)
class NewestCoats:
    """Columns of n decks in order of deck; None or nothing in a column was not recorded."""

    deck_id: tuple[int, ...]
    job_id: tuple[int, ...]
    kind: tuple[str, ...]
    finished_on: tuple[date, ...]
    finish_class: tuple[str, ...]
    pigment: tuple[str, ...]
    base: tuple[str, ...]
    coats: tuple[int | None, ...]
    build: tuple[int, ...]
    sound_on: tuple[date | None, ...]
    worn_on: tuple[date | None, ...]
    latitude: tuple[float, ...]
    longitude: tuple[float, ...]
    wet_days: tuple[list[float] | None, ...]
    species: tuple[str, ...]
    texture: tuple[str, ...]
    roof_percent: tuple[int, ...]
    summer_shade_percent: tuple[int, ...]
    winter_shade_percent: tuple[int, ...]
    orientation_deg: tuple[int | None, ...]
    airflow: tuple[str, ...]
    traffic: tuple[str, ...]
    salt: tuple[str, ...]
    pool: tuple[bool, ...]
    litter: tuple[str, ...]
    height_m: tuple[Decimal | None, ...]

    def __len__(self) -> int:
        return len(self.deck_id)


def postgres_array(numbers: Iterable[int]) -> str:
    """As PostgreSQL writes an array: for tens of thousands much faster than a list parameter."""
    return "{" + ",".join(map(str, numbers)) + "}"


def read_newest_coats(deck_ids: Sequence[int], *, today: date) -> NewestCoats | None:
    """Of decks with a coating job that are neither archived nor a former client's;
    None if there is no such deck."""
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL jit = off")  # compiling takes longer than running
        cursor.execute(NEWEST_COATS_SQL, {"decks": postgres_array(deck_ids), "today": today})
        rows = sorted(cursor.fetchall(), key=itemgetter(0))  # cheaper here than as part of the plan
    return NewestCoats(*zip(*rows, strict=True)) if rows else None
