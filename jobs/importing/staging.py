"""From a file to rows of the database: nothing of the book is touched yet."""

import hashlib
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from functools import lru_cache

from auditlog.context import disable_auditlog
from django.db import connection, transaction

from clients.collecting import without_collecting
from clients.models import Business, Place, User
from clients.places.spelling import fold_place_name
from jobs.importing.files import ListError, RawSheet, read_pasted_cells, read_sheets
from jobs.importing.gazetteer import Gazetteer, KnownTown
from jobs.importing.guessing import (
    CLIENT_HEAD,
    GROUP_HEAD,
    YEAR_HEAD,
    ContentReader,
    SheetLayout,
    guess_columns,
    lay_out,
)
from jobs.importing.writing import insert_rows
from jobs.models import ImportRow, ListImport

SAMPLE_ROWS = 300
ROWS_A_COPY = 5_000


@transaction.atomic
def stage_list(
    *, name: str, content: bytes, business: Business, by: User | None, now: datetime
) -> list[ListImport]:
    """The sheets of a file, each ready to be asked about. Raises ListError."""
    return stage_sheets(read_sheets(content), name, business, by, now)


@transaction.atomic
def stage_pasted_cells(
    *, text: str, business: Business, by: User | None, now: datetime
) -> list[ListImport]:
    """The same for cells copied from a spreadsheet."""
    return stage_sheets(read_pasted_cells(text), "Pasted cells", business, by, now)


def stage_sheets(
    sheets: Iterable[RawSheet], name: str, business: Business, by: User | None, now: datetime
) -> list[ListImport]:
    with without_collecting():
        gazetteer = load_gazetteer(business)
        found = [stage_sheet(sheet, name, gazetteer, by, now) for sheet in sheets]
        staged = [source for source in found if source is not None]
        if not staged:
            raise ListError("The file holds no rows. Choose the list with your clients.")
        reader = ContentReader(gazetteer, business.today(now))
        for source in staged:
            guess_mapping(source, reader)
    return staged


def stage_sheet(
    sheet: RawSheet, name: str, gazetteer: Gazetteer, by: User | None, now: datetime
) -> ListImport | None:
    """None for a sheet without rows."""
    layout = lay_out(sheet, is_town=gazetteer.is_town)
    carried = [GROUP_HEAD, YEAR_HEAD, CLIENT_HEAD]
    with disable_auditlog():
        source = ListImport.objects.create(
            file_name=name[:200], sheet=sheet.name[:200], recorded_by=by, created_at=now
        )
    total = copy_rows(source, layout)
    if not total:
        source.delete()
        return None
    heads = [*layout.header, *(each if each in layout.group_heads else "" for each in carried)]
    source.heads = heads
    source.fingerprint = hashlib.sha256("\x1f".join(heads).casefold().encode()).hexdigest()
    source.rows_total = total
    source.remarks = layout.remarks
    return source


def copy_rows(source: ListImport, layout: SheetLayout) -> int:
    """As many rows as there are, a few thousand in memory at a time."""
    total = 0
    for rows in chunks_of(row_values(source, layout), ROWS_A_COPY):
        insert_rows(ImportRow, rows)
        total += len(rows)
    return total


def row_values(source: ListImport, layout: SheetLayout) -> Iterator[dict[str, object]]:
    for line in layout.rows:
        yield {
            "source_id": source.pk,
            "number": line.number,
            "ordinal": line.number,
            "cells": line.cells,
        }


def chunks_of(
    rows: Iterator[dict[str, object]], size: int
) -> Iterator[Sequence[dict[str, object]]]:
    chunk: list[dict[str, object]] = []
    for row in rows:
        chunk.append(row)
        if len(chunk) == size:
            yield chunk
            chunk = []
    if chunk:
        yield chunk


def guess_mapping(source: ListImport, reader: ContentReader) -> None:
    """By the last list that had these columns, else by what heads and cells say."""
    guesses = guess_columns(source.heads, sample_cells(source), reader)
    source.mapping = [guess.field for guess in guesses]
    source.scores = [guess.score for guess in guesses]
    before = ListImport.objects.same_header(source.fingerprint).first()
    if before is not None and len(before.mapping) == len(source.mapping):
        source.mapping = before.mapping
        source.decisions = before.decisions
        source.remarks.append(f"Read like {before}, which had the same columns.")
    with disable_auditlog():
        source.save()


def sample_cells(source: ListImport) -> list[list[str]]:
    """Rows from all over the list."""
    step = max(1, source.rows_total // SAMPLE_ROWS)
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT cells FROM (SELECT cells, row_number() OVER (ORDER BY ordinal) AS place"
            " FROM jobs_importrow WHERE source_id = %s) numbered WHERE place %% %s = 0 LIMIT %s",
            [source.pk, step, SAMPLE_ROWS],
        )
        return [cells for (cells,) in cursor.fetchall()]


def load_gazetteer(business: Business) -> Gazetteer:
    """The towns of the country of the business."""
    home = home_of(business)
    return cached_gazetteer(
        business.country, business.town, business.region, home, Place.objects.count()
    )


def home_of(business: Business) -> tuple[float, float] | None:
    """Where the business is, by its town."""
    named = Place.objects.filter(
        country=business.country, ascii_name__iexact=fold_place_name(business.town)
    )
    inside = named.filter(region__iexact=business.region) if business.region else named
    found = (inside or named).order_by("-population").values_list("latitude", "longitude").first()
    return found or None


@lru_cache(maxsize=1)
def cached_gazetteer(
    country: str, town: str, region: str, home: tuple[float, float] | None, edition: int
) -> Gazetteer:
    """Read once a process; `edition` is the number of towns, which a new table changes."""
    names = (*("geoname_id", "name", "region", "latitude", "longitude", "time_zone", "population"),)
    rows = Place.objects.filter(country=country).order_by("geoname_id").values_list(*names)
    gazetteer = Gazetteer.of(country, (KnownTown(*row) for row in rows), home, region)
    known = gazetteer.find(town, gazetteer.region(region))
    gazetteer.home_region = known.region if known else gazetteer.region(region)
    return gazetteer
