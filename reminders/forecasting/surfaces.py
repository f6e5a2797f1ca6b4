"""Rails, stairs and screens: their newest coats read, and when each is due by the belief about the
boards, moved by what is known of such surfaces."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import date
from functools import cached_property
from operator import itemgetter
from typing import Any

import numpy as np
from django.db import connection

from clients.models import Surface
from reminders import forecast
from reminders.forecast import Floats
from reminders.forecasting.bridge import (
    EXPOSURE_SQL,
    GRADE_SQL,
    IS_DATED_SQL,
    MAX_SOUND_GRADE,
    NewestCoats,
    active_posterior,
    core_coats,
    days_since_epoch,
    epoch_days,
    postgres_array,
    read_newest_coats,
    workable_months_of_coats,
)
from reminders.forecasting.price_ratio import strip_price_ratio

# An index holds the few products that went on more than boards.
DECKS_WITH_MORE_SQL = """
SELECT DISTINCT job.deck_id FROM jobs_job job
WHERE job.deck_id = ANY (%(decks)s::bigint[]) AND EXISTS (
    SELECT FROM jobs_coatapplied applied WHERE applied.job_id = job.id
        AND NOT (applied.surfaces = ARRAY['boards']::varchar(7)[])
)
"""
# One row a surface that the deck has and that has a coat. Nobody grades rails: a visit that found
# the boards sound found these no worse, and any other says nothing of them.
SURFACE_COATS_SQL = f"""
SELECT deck.id, coat.job_id, coat.kind, coat.finished_from, coat.finished_on, coat.finish_class,
    coat.pigment, coat.base, coat.coats, NULL, sound.seen_on, NULL, NULL, NULL, NULL, NULL,
    {EXPOSURE_SQL}, part.surface
FROM clients_deck deck
JOIN clients_property place ON place.id = deck.property_id
JOIN clients_client client ON client.id = place.client_id
JOIN LATERAL (VALUES ('stairs', deck.stair_treads > 0), ('rails', deck.rail_m > 0),
    ('screens', deck.screen_m2 > 0)) AS part (surface, is_there) ON part.is_there
JOIN LATERAL (
    SELECT job.id AS job_id, job.kind, job.finished_from, job.finished_on, finish.*
    FROM jobs_job job
    JOIN LATERAL (
        SELECT coalesce((array_agg(product.finish_class ORDER BY applied.position DESC))[1], '')
                AS finish_class,
            coalesce((array_agg(product.pigment ORDER BY applied.position DESC))[1], '') AS pigment,
            coalesce((array_agg(product.base ORDER BY applied.position DESC))[1], '') AS base,
            CASE WHEN bool_and(applied.coats IS NOT NULL) THEN sum(applied.coats) END AS coats
        FROM jobs_coatapplied applied
        LEFT JOIN jobs_product product ON product.id = applied.product_id
        WHERE applied.job_id = job.id AND part.surface = ANY (applied.surfaces)
            AND coalesce(product.kind, 'finish') = 'finish'
        HAVING count(*) > 0
    ) AS finish ON true
    WHERE job.deck_id = deck.id AND job.kind IN ('strip', 'recoat')
    ORDER BY job.finished_on DESC, job.id DESC LIMIT 1
) AS coat ON true
LEFT JOIN LATERAL (
    SELECT max(v.visited_on) AS seen_on FROM jobs_visit v
    WHERE v.deck_id = deck.id AND v.visited_on > coat.finished_on AND v.visited_on <= %(today)s
        AND {GRADE_SQL} <= {MAX_SOUND_GRADE} AND {IS_DATED_SQL} AND v.observer = 'crew'
) AS sound ON true
LEFT JOIN clients_localnormals normals
    ON (normals.town, normals.region, normals.country) = (place.town, place.region, place.country)
WHERE deck.archived_at IS NULL AND client.archived_at IS NULL
    AND deck.id = ANY (%(decks)s::bigint[])
"""  # noqa: S608 - made of constants


@dataclass(frozen=True, slots=True)
class SurfaceCoats(NewestCoats):
    """Columns of n coats, one a deck and surface."""

    surface: tuple[str, ...]

    @property
    def rows(self) -> list[tuple[Any, ...]]:
        """Coat by coat, in the order of the columns."""
        return list(zip(*(getattr(self, each.name) for each in fields(self)), strict=True))


@dataclass(frozen=True)
class SurfacePrediction:
    """What is believed of the coats on one kind of surface; `due` in days since 1970-01-01."""

    surface: str
    coats: NewestCoats
    found: forecast.Prediction
    due: Floats

    @cached_property
    def laid_from(self) -> Floats:
        """The first day on which each coat may have been laid, in days since 1970-01-01."""
        first = days_since_epoch(self.coats.finished_from)
        return np.where(np.isnan(first), days_since_epoch(self.coats.finished_on), first)


def read_surface_coats(
    deck_ids: Sequence[int], boards: Mapping[int, int], *, today: date
) -> SurfaceCoats | None:
    """The newest coat on each surface that may be due on another day than the boards, whose newest
    job `boards` tells by deck; None if there is none."""
    with connection.cursor() as cursor:
        cursor.execute(DECKS_WITH_MORE_SQL, {"decks": postgres_array(deck_ids)})
        found = [deck for (deck,) in cursor.fetchall()]
        if not found:
            return None
        cursor.execute(SURFACE_COATS_SQL, {"decks": postgres_array(found), "today": today})
        rows = [
            row for row in cursor.fetchall() if row[-1] != "stairs" or row[1] != boards.get(row[0])
        ]
    rows.sort(key=itemgetter(0, -1))
    return SurfaceCoats(*zip(*rows, strict=True)) if rows else None


def predict_surfaces(coats: SurfaceCoats, today: date) -> Iterator[SurfacePrediction]:
    """One for each kind of surface, by the belief of its own."""
    core = core_coats(coats, today=today)
    workable = workable_months_of_coats(coats, core)
    price_ratio = strip_price_ratio(today=today)
    listed = coats.rows
    for name in forecast.SURFACE_PRIORS:
        rows = [row for row, surface in enumerate(coats.surface) if surface == name]
        if not rows:
            continue
        part = core.take(np.array(rows))
        found = forecast.predict(part, belief_about(name), epoch_days(today))
        due = forecast.best_work_days(
            part, found, epoch_days(today), workable[rows], price_ratio=price_ratio
        )
        own = NewestCoats(*zip(*(listed[row][:-1] for row in rows), strict=True))
        yield SurfacePrediction(name, own, found, due)


def belief_about(surface: str) -> forecast.Posterior:
    """That of the boards, moved by what is known of such surfaces."""
    belief = active_posterior()
    if surface == Surface.BOARDS:
        return belief
    prior = forecast.SURFACE_PRIORS[surface]
    return belief.with_longer_lives(prior.mean, prior.sd)


def read_leading_coats(surface_by_deck: Mapping[int, str], *, today: date) -> NewestCoats | None:
    """The newest coat of each deck on the surface that is named, in order of deck; None if there
    is none."""
    on_boards = [deck for deck, name in surface_by_deck.items() if name == Surface.BOARDS]
    coats = read_newest_coats(on_boards, today=today)
    if len(on_boards) == len(surface_by_deck):
        return coats
    elsewhere = [deck for deck, name in surface_by_deck.items() if name != Surface.BOARDS]
    others = read_surface_coats(elsewhere, {}, today=today)
    rows = [
        row[:-1] for row in (others.rows if others else []) if row[-1] == surface_by_deck[row[0]]
    ]
    if coats:
        rows += zip(*(getattr(coats, each.name) for each in fields(coats)), strict=True)
    rows.sort(key=itemgetter(0))
    return NewestCoats(*zip(*rows, strict=True)) if rows else None
