"""What will become of each row, found out by writing it and taking it back."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from clients import display
from clients.models import Species
from jobs.day_words import say_span
from jobs.importing.asking import ListReading, rows_of
from jobs.importing.rows import CoatRead, DeckRead, JobRead, UnitRead
from jobs.importing.writing import ChunkWriter, Outcome
from jobs.models import ImportRow, Job

PREVIEW_ROWS = 1_500
SHOWN_ROWS = 25
State = ImportRow.State


@dataclass(frozen=True)
class PreviewRow:
    """One row as it will become, in words."""

    number: int
    state: str
    label: str
    who: str
    reach: str
    where: str
    deck: str
    jobs: list[str]
    notes: list[str]


@dataclass(frozen=True)
class ListPreview:
    """Rows of the beginning, those that need a person first; and counts of all that were tried."""

    rows: Sequence[PreviewRow]
    counts: dict[str, int]
    made: dict[str, int]
    tried: int
    is_whole: bool


def preview_list(reading: ListReading, now: datetime) -> ListPreview:
    """Of the whole list if it is short, else of its beginning."""
    source = reading.source
    rows = list(ImportRow.objects.filter(source=source).in_order()[:PREVIEW_ROWS])
    units = list(reading.units(rows_of(source, rows)))
    writer = ChunkWriter(source=source, book=reading.book, answers=reading.answers, now=now)
    with transaction.atomic():
        outcomes = writer.write(units, is_trial=True)
        transaction.set_rollback(True)
    pairs = list(zip(units, outcomes, strict=True))
    counts = Counter(outcome.state for unit, outcome in pairs for _ in unit.numbers)
    made: Counter[str] = Counter()
    for outcome in outcomes:
        made.update({kind: len(keys) for kind, keys in outcome.made.items()})
    first = sorted(pairs, key=lambda pair: pair[1].state != State.TO_COMPLETE)[:SHOWN_ROWS]
    return ListPreview(
        rows=[preview_row(unit, outcome) for unit, outcome in first],
        counts=dict(counts),
        made=dict(made) | {kind: len(keys) for kind, keys in writer.coats.made.items()},
        tried=len(rows),
        is_whole=len(rows) == source.rows_total,
    )


def preview_row(unit: UnitRead, outcome: Outcome) -> PreviewRow:
    client = unit.client
    site = unit.site
    reach = (
        [*(phone_words(p.written, p.is_mobile) for p in client.phones), *client.emails]
        if client
        else []
    )
    is_south = site is not None and site.latitude < 0
    return PreviewRow(
        number=unit.numbers[0],
        state=outcome.state,
        label=str(State(outcome.state).label),
        who=client.name if client else "",
        reach=", ".join(reach),
        where=", ".join(filter(None, [site.street, site.town, site.region])) if site else "",
        deck=deck_words(unit.deck) if unit.deck else "",
        jobs=[job_words(job, is_south=is_south) for job in unit.jobs],
        notes=[*outcome.why.values(), *dict.fromkeys(outcome.remarks)],
    )


def phone_words(written: str, is_mobile: bool) -> str:
    return f"{written} (mobile)" if is_mobile else written


def deck_words(deck: DeckRead) -> str:
    """Name, size and timber, as far as they are known."""
    area = display.format_measure(deck.area_m2, "area") if deck.area_m2 else "size not known"
    species = str(Species(deck.species or Species.UNKNOWN).label).lower()
    return ", ".join([deck.label, area, species])


def job_words(job: JobRead, *, is_south: bool) -> str:
    coats = [coat_line(coat) for coat in job.coats]
    price = display.format_money(job.price, job.currency) if job.price is not None else ""
    day = say_span(job.span, is_south=is_south)
    return ", ".join(filter(None, [f"{day}: {Job.Kind(job.kind).label}", *coats, price]))


def coat_line(coat: CoatRead) -> str:
    count = f"{coat.coats} coat{'s' * (coat.coats != 1)}" if coat.coats else ""
    litres = display.format_measure(coat.litres, "volume") if coat.litres else ""
    return " ".join(filter(None, [coat.product, coat.colour, count, litres]))
