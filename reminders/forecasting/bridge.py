"""The bridge: the newest coat of each deck with all that wears it, read in one query → arrays → the
numerical core, by the fit in use or the published priors → forecasts, written back."""

import json
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import lru_cache
from hashlib import blake2b
from math import nan
from operator import itemgetter

import numpy as np
from django.db import connection
from django.db.models import Value
from numpy.typing import NDArray

from clients.models import SPECIES_CLASS, Business, Species
from clients.places import climate
from jobs.models import GRADE_FIELDS
from jobs.work import FILM_STRIP_GRADE, FLAKING_GRADE, OIL_STRIP_GRADE
from reminders import forecast
from reminders.forecast import Booleans, Floats
from reminders.models import LearnedStart, ModelFit


def active_posterior() -> forecast.Posterior:
    """What forecasts rest on now: the fit in use, else the start; one small query, their parameters
    are read once a process."""
    fits = ModelFit.objects.filter(is_in_use=True).order_by()
    starts = LearnedStart.objects.order_by()
    columns = ("is_start", "pk", "version")
    rows = (
        fits.annotate(is_start=Value(False))
        .values_list(*columns)
        .union(starts.annotate(is_start=Value(True)).values_list(*columns), all=True)
    )
    for is_start, pk, version in sorted(rows):
        found = load_start(version) if is_start else load_posterior(pk, version)
        if is_usable(found):
            return found
    return forecast.PUBLISHED_PRIOR


def starting_belief() -> forecast.Posterior:
    """What is believed without visits of this book: what others learned, if the owner took that
    over, else the published figures."""
    version = LearnedStart.objects.values_list("version", flat=True).first()
    found = forecast.PUBLISHED_PRIOR if version is None else load_start(version)
    return found if is_usable(found) else forecast.PUBLISHED_PRIOR


@lru_cache(maxsize=2)
def load_posterior(pk: int, version: str) -> forecast.Posterior:
    """The belief of one fit."""
    parameters = ModelFit.objects.values_list("parameters", flat=True).get(pk=pk, version=version)
    return forecast.Fit.from_dict(parameters).posterior


@lru_cache(maxsize=1)
def load_start(version: str) -> forecast.Posterior:
    """The belief that other books gave."""
    rows = LearnedStart.objects.values_list("parameters", flat=True)
    return forecast.Posterior.from_dict(rows.get(version=version))


def is_usable(belief: forecast.Posterior) -> bool:
    """Whether a stored belief still says anything: it knows the factors that the core knows now,
    and it did not break, as some did before 0.3 (then it is wider than the published figures)."""
    published = forecast.PUBLISHED_PRIOR
    is_readable = belief.path is None or belief.path.is_complete
    return belief.names == published.names and is_readable and belief.is_no_wider_than(published)


# the highest as-found grade at which a coat still protects; recoat limit at 3 (docs/forecast.md)
MAX_SOUND_GRADE = 2
GRADE_SQL = (  # as Visit.grade
    f"coalesce(v.overall, greatest({', '.join(f'v.{name}' for name in GRADE_FIELDS[1:])}))"
)

# Who graded, as their name was given; whoever wrote it down or read in a list need not have looked.
GRADER_SQL = "v.found_by"
GRADER_KEY_BYTES = 6  # exact in a float
MAX_GRADED_VISITS = 8  # to one coat; older ones tell little beside the newest

# A visit of a job of which only the month, season or year is known may have found another coat.
IS_DATED_SQL = (
    "NOT EXISTS (SELECT FROM jobs_job of_visit"
    " WHERE of_visit.visit_id = v.id AND of_visit.finished_from IS NOT NULL)"
)

EXPOSURE_SQL = """
place.latitude, place.longitude, normals.wet_days, deck.species, deck.texture, deck.roof_percent,
deck.summer_shade_percent, deck.winter_shade_percent, deck.orientation_deg, deck.airflow,
    deck.traffic, deck.salt,
deck.pool, deck.litter, deck.height_m
"""

# One row a deck that has a coat. LATERAL and not CTEs: the planner guesses the size of the
# latter so badly that it may choose a plan that takes minutes; index look-ups deck by deck cannot
# go wrong. The range of the decks keeps the planner from reading all others of the book with each
# part of it. What was found on the day of the job came before the coat; of visits that disagree the
# later one is believed.
NEWEST_COATS_SQL = f"""
SELECT deck.id, coat.job_id, coat.kind, coat.laid_from, coat.laid_on, coat.finish_class,
    coat.pigment, coat.base, coat.coats, coat.build, sound.seen_on, worn.seen_on,
    recoatable.seen_on, asked.seen_on, asked.is_worn, graded.visits, {EXPOSURE_SQL}
FROM clients_deck deck
JOIN clients_property place ON place.id = deck.property_id
JOIN clients_client client ON client.id = place.client_id
JOIN LATERAL (
    SELECT * FROM jobs_coat WHERE deck_id = deck.id ORDER BY laid_on DESC, job_id DESC LIMIT 1
) coat ON true
LEFT JOIN LATERAL (
    SELECT max(v.visited_on) AS seen_on FROM jobs_visit v
    WHERE v.deck_id = deck.id AND v.visited_on > coat.laid_on
        AND v.visited_on <= %(today)s AND {GRADE_SQL} <= {MAX_SOUND_GRADE} AND {IS_DATED_SQL}
        AND v.observer = 'crew'
) sound ON true
LEFT JOIN LATERAL (
    SELECT min(v.visited_on) AS seen_on FROM jobs_visit v
    WHERE v.deck_id = deck.id AND v.visited_on > coalesce(sound.seen_on, coat.laid_on)
        AND v.visited_on <= %(today)s AND {GRADE_SQL} > {MAX_SOUND_GRADE} AND {IS_DATED_SQL}
        AND v.observer = 'crew'
) worn ON true
LEFT JOIN LATERAL (
    SELECT max(v.visited_on) AS seen_on FROM jobs_visit v
    WHERE v.deck_id = deck.id AND v.visited_on > coat.laid_on
        AND v.visited_on <= %(today)s AND {IS_DATED_SQL} AND v.observer = 'crew'
        AND {GRADE_SQL} < CASE WHEN coat.finish_class <> '' AND coat.finish_class NOT LIKE '%%film'
            THEN {OIL_STRIP_GRADE} ELSE {FILM_STRIP_GRADE} END
        AND coalesce(v.flaking, 0) < {FLAKING_GRADE}
) recoatable ON true
LEFT JOIN LATERAL (
    SELECT v.visited_on AS seen_on, {GRADE_SQL} > {MAX_SOUND_GRADE} AS is_worn FROM jobs_visit v
    WHERE v.deck_id = deck.id AND v.visited_on > coalesce(sound.seen_on, coat.laid_on)
        AND v.visited_on <= %(today)s AND {GRADE_SQL} IS NOT NULL AND v.observer = 'client'
    ORDER BY v.visited_on DESC, v.id DESC LIMIT 1
) asked ON true
LEFT JOIN LATERAL (
    SELECT jsonb_agg(jsonb_build_array(day, grade, by_client, grader)) AS visits FROM (
        SELECT v.visited_on - date '1970-01-01' AS day, {GRADE_SQL} AS grade,
            v.observer = 'client' AS by_client, {GRADER_SQL} AS grader FROM jobs_visit v
        WHERE v.deck_id = deck.id AND v.visited_on > coat.laid_on
            AND v.visited_on <= %(today)s AND {GRADE_SQL} IS NOT NULL AND {IS_DATED_SQL}
        ORDER BY v.visited_on DESC, v.id DESC LIMIT {MAX_GRADED_VISITS}
    ) newest
) graded ON true
LEFT JOIN clients_localnormals normals
    ON (normals.town, normals.region, normals.country) = (place.town, place.region, place.country)
WHERE deck.archived_at IS NULL AND client.archived_at IS NULL
    AND deck.id = ANY (%(decks)s::bigint[]) AND deck.id BETWEEN %(first)s AND %(last)s
"""  # noqa: S608 - made of constants


@dataclass(frozen=True, slots=True)
class NewestCoats:
    """Columns of n decks in order of deck; None or nothing in a column was not recorded."""

    deck_id: tuple[int, ...]
    job_id: tuple[int, ...]
    kind: tuple[str, ...]
    finished_from: tuple[date | None, ...]
    finished_on: tuple[date, ...]
    finish_class: tuple[str, ...]
    pigment: tuple[str, ...]
    base: tuple[str, ...]
    coats: tuple[int | None, ...]
    build: tuple[int, ...]
    sound_on: tuple[date | None, ...]
    worn_on: tuple[date | None, ...]
    recoatable_on: tuple[date | None, ...]
    asked_on: tuple[date | None, ...]
    asked_worn: tuple[bool | None, ...]
    graded: tuple[str | None, ...]  # JSON, as Django's cursor leaves it
    latitude: tuple[float, ...]
    longitude: tuple[float, ...]
    wet_days: tuple[list[float] | None, ...]
    species: tuple[str, ...]
    texture: tuple[str, ...]
    roof_percent: tuple[int, ...]
    summer_shade_percent: tuple[int | None, ...]
    winter_shade_percent: tuple[int | None, ...]
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


FEW_DECKS = 20  # for so few nothing is compiled


def read_newest_coats(deck_ids: Sequence[int], *, today: date) -> NewestCoats | None:
    """Of decks with a coating job that are neither archived nor a former client's;
    None if there is no such deck."""
    with connection.cursor() as cursor:
        if connection.in_atomic_block and len(deck_ids) > FEW_DECKS:  # of a transaction alone
            cursor.execute("SET LOCAL jit = off")  # compiling takes longer than running
        asked: dict[str, str | int | date] = {
            "decks": postgres_array(deck_ids),
            "first": min(deck_ids, default=0),
            "last": max(deck_ids, default=0),
            "today": today,
        }
        cursor.execute(NEWEST_COATS_SQL, asked)
        rows = sorted(cursor.fetchall(), key=itemgetter(0))  # cheaper here than as part of the plan
    return NewestCoats(*zip(*rows, strict=True)) if rows else None


MIXED_COATS = 5_000  # newest finishes by which an unknown one is judged
APPLIED_SQL = """
SELECT product.finish_class, product.pigment, product.base, deck.species, newest.coats,
    round(deck.summer_shade_percent / 25.0) / 4, count(*)
FROM (SELECT * FROM jobs_coatapplied ORDER BY id DESC LIMIT %(coats)s) newest
JOIN jobs_product product ON product.id = newest.product_id AND product.kind = 'finish'
JOIN jobs_job job ON job.id = newest.job_id
JOIN clients_deck deck ON deck.id = job.deck_id
GROUP BY 1, 2, 3, 4, 5, 6
"""
MID_MONTH_DAYS = (
    30.4 * np.arange(1, 13) - 15
)  # day of the year that stands for a month, FAO-56 eq. 22 and its note
EPOCH_ORDINAL = date(1970, 1, 1).toordinal()
PREPARATION_OF_JOB_KIND = {"strip": "strip", "recoat": "clean"}


def workable_months_of_coats(coats: NewestCoats, core: forecast.Coats) -> Booleans:
    """Which months can be worked at the place of each deck and by this business."""
    business = Business.current()
    season = [not business or month in business.season_months for month in range(1, 13)]
    places, place = distinct_places(coats)
    temperature = climate.normals(places[:, 0], places[:, 1]).temperature_c
    return forecast.workable_months(temperature[place], core.wet_days, season=season)


def distinct_places(coats: NewestCoats) -> tuple[Floats, NDArray[np.intp]]:
    """Latitude and longitude of each place once, and the place of each deck."""
    return np.unique(
        np.column_stack([coats.latitude, coats.longitude]), axis=0, return_inverse=True
    )


def lock_decks(deck_ids: Sequence[int]) -> None:
    """Two refreshes of one deck follow each other, so that the later one sees the other's job:
    the newest coat wins."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT FROM clients_deck WHERE id = ANY (%s::bigint[]) ORDER BY id FOR NO KEY UPDATE",
            [postgres_array(deck_ids)],
        )


def epoch_days(value: date | None) -> float:
    """Days since 1970-01-01, the core's calendar."""
    return np.nan if value is None else value.toordinal() - EPOCH_ORDINAL


def days_since_epoch(column: Sequence[date | None]) -> Floats:
    """The same of a whole column."""
    ordinals = [nan if day is None else day.toordinal() for day in column]
    return np.array(ordinals, dtype=float) - EPOCH_ORDINAL


def core_coats(coats: NewestCoats, *, today: date) -> forecast.Coats:
    """The rows in the core's words; finish, timber, number of coats, shade and day that nobody
    knows stay unknown, the rest of what was not recorded is as on the reference deck."""
    sun, wet_days = monthly_climate(coats)
    middle, within = middle_days(coats, today)
    return forecast.Coats(
        deck=coats.deck_id,
        coated_on=middle,
        coated_within=within,
        sound_on=days_since_epoch(coats.sound_on),
        worn_on=days_since_epoch(coats.worn_on),
        recoatable_on=days_since_epoch(coats.recoatable_on),
        asked_on=days_since_epoch(coats.asked_on),
        asked_worn=[bool(value) for value in coats.asked_worn],
        **graded_columns(coats),
        latitude=coats.latitude,
        sun=sun,
        wet_days=wet_days,
        finish_class=[value or forecast.UNKNOWN for value in coats.finish_class],
        pigment=[value or "none" for value in coats.pigment],
        base=[value or "water" for value in coats.base],
        coats=np.array(coats.coats, dtype=float),
        preparation=[PREPARATION_OF_JOB_KIND[kind] for kind in coats.kind],
        species_class=[SPECIES_CLASS.get(species, forecast.UNKNOWN) for species in coats.species],
        roof_cover=np.array(coats.roof_percent) / 100,
        summer_shade=np.array(coats.summer_shade_percent, dtype=float) / 100,
        winter_shade=np.array(coats.winter_shade_percent, dtype=float) / 100,
        orientation=np.array(coats.orientation_deg, dtype=float),
        height=np.array(coats.height_m, dtype=float),
        **{
            name: getattr(coats, name)
            for name in ("texture", "airflow", "traffic", "salt", "pool", "litter")
        },
        mix=mix_of_book() if is_anything_unknown(coats) else forecast.PUBLISHED_MIX,
    )


def graded_columns(coats: NewestCoats) -> dict[str, Floats]:
    """The newest graded visits of each coat, side by side."""
    lists = [json.loads(each) if each else [] for each in coats.graded]
    shape = (len(lists), max(map(len, lists), default=0))
    found = {
        "graded_on": np.full(shape, np.nan),
        "grades": np.zeros(shape),
        "graded_by_client": np.zeros(shape),
        "graders": np.full(shape, -1.0),
    }
    for row, visits in enumerate(lists):
        for place, (day, grade, by_client, grader) in enumerate(visits):
            found["graded_on"][row, place] = day
            found["grades"][row, place] = grade
            found["graded_by_client"][row, place] = by_client
            found["graders"][row, place] = -1 if by_client else grader_key(grader)
    return found


@lru_cache(maxsize=1024)
def grader_key(grader: str) -> int:
    """A number in place of who graded, so that no stored fit holds a name; −1 if nobody is
    named."""
    word = " ".join(grader.casefold().split())
    if not word:
        return -1
    return int.from_bytes(blake2b(word.encode(), digest_size=GRADER_KEY_BYTES).digest())


def middle_days(coats: NewestCoats, today: date) -> tuple[Floats, Floats]:
    """The day in the middle of those on which each coat may have been laid, none later than today,
    and the days either way."""
    last = np.minimum(days_since_epoch(coats.finished_on), epoch_days(today))
    first = days_since_epoch(coats.finished_from)
    first = np.where(np.isnan(first), last, np.minimum(first, last))
    return np.floor((first + last) / 2), (last - first) / 2


def is_anything_unknown(coats: NewestCoats) -> bool:
    return (
        "" in coats.finish_class
        or None in coats.coats
        or None in coats.summer_shade_percent
        or Species.UNKNOWN in coats.species
    )


def mix_of_book() -> forecast.UnknownMix:
    """What an unknown finish, timber or number of coats may be: what this business lately applied,
    and everything else a little, as the published mix has it."""
    with connection.cursor() as cursor:
        cursor.execute(APPLIED_SQL, {"coats": MIXED_COATS})
        applied = cursor.fetchall()
    finishes: defaultdict[tuple[str, str, str], float] = defaultdict(float)
    timbers: defaultdict[str, float] = defaultdict(float)
    numbers: defaultdict[float, float] = defaultdict(float)
    shades: defaultdict[float, float] = defaultdict(float)
    for finish_class, pigment, base, species, number, shade, times in applied:
        finishes[finish_class, pigment or "none", base or "water"] += times
        timbers[SPECIES_CLASS.get(species, forecast.UNKNOWN)] += times
        numbers[float(number or 0)] += times
        if shade is not None:
            shades[float(shade)] += times
    for finish_class, pigment, base, share in forecast.PUBLISHED_MIX.finishes:
        finishes[finish_class, pigment, base] += share
    for timber, share in forecast.PUBLISHED_MIX.species:
        timbers[timber] += share
    for count, share in forecast.PUBLISHED_MIX.coats:
        numbers[count] += share
    for shade, share in forecast.PUBLISHED_MIX.shades:
        shades[shade] += share
    timbers.pop(forecast.UNKNOWN, None)
    numbers.pop(0.0, None)
    return forecast.UnknownMix(
        tuple((*words, share) for words, share in sorted(finishes.items())),
        tuple(sorted(timbers.items())),
        tuple(sorted(numbers.items())),
        tuple(sorted(shades.items())),
    )


def monthly_climate(coats: NewestCoats) -> tuple[Floats, Floats]:
    """Sun and wet days by month; the owner's own wet days stand in place of the estimate."""
    places, place = distinct_places(coats)
    normals = climate.normals(places[:, 0], places[:, 1])
    above_air = forecast.extraterrestrial_radiation(places[:, :1], MID_MONTH_DAYS)
    on_ground = forecast.radiation_from_sunshine(
        normals.sunshine_fraction, above_air, normals.height_m[:, None]
    )
    sun = forecast.SUNSHINE_BIAS * on_ground
    wet_days = normals.wet_days.astype(float)[place]
    for row, own in enumerate(coats.wet_days):
        if own is not None:
            wet_days[row] = own
    return sun[place], wet_days
