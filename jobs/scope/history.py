"""What the book knows about decks before new work:
their coats, last jobs and last grades, in few queries."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from typing import TypeVar

from clients.models import Deck, Surface
from jobs.models import Defect, Job, Product, Visit
from jobs.work import CoatBuild, measured_spreads

JobOrVisit = TypeVar("JobOrVisit", Job, Visit)


@dataclass(frozen=True)
class TopFinish:
    """The finish on top of the boards, where somebody knows its name."""

    product: Product
    colour: str = ""


@dataclass(frozen=True)
class DeckHistory:
    """One deck's past: coating jobs of its boards and later visits, the newest first."""

    deck: Deck
    build: CoatBuild
    jobs: list[Job] = field(default_factory=list)
    elsewhere: list[Job] = field(default_factory=list)  # coating jobs on other surfaces too
    later_checks: list[Visit] = field(default_factory=list)  # after the newest coating job
    defects: list[Defect] = field(default_factory=list)  # of its structure, not repaired yet
    surface: str = Surface.BOARDS  # whose past it is

    def on_surface(self, surface: str) -> "DeckHistory":
        """The past of another surface; visits grade the boards, so none is of it."""
        jobs = [job for job in self.elsewhere if surface in job.finished_surfaces]
        return replace(self, build=CoatBuild(0), jobs=jobs, later_checks=[], surface=surface)

    @property
    def last_coat(self) -> TopFinish | None:
        """The finish on top; None if there is none or nobody knows which."""
        for job in self.jobs:
            for coat in reversed(job.coats_applied.all()):
                if coat.is_finish and self.surface in coat.surfaces:
                    return TopFinish(coat.product, coat.colour) if coat.product else None
        return None

    @property
    def last_recoat_coats(self) -> int:
        """How many coats the last recoat laid; 0 if the newest job was none or nobody counted."""
        if not self.jobs or self.jobs[0].kind != Job.Kind.RECOAT:
            return 0
        coats = self.jobs[0].coats_applied.all()
        counted = [c.coats for c in coats if c.is_finish and self.surface in c.surfaces]
        return 0 if None in counted else sum(filter(None, counted))

    @property
    def last_seen_on(self) -> date | None:
        """The newest visit or coating job."""
        days = [visit.visited_on for visit in self.later_checks[:1]] + [
            job.finished_on for job in self.jobs[:1]
        ]
        return max(days, default=None)

    def last_grade(self, name: str = "grade") -> int | None:
        """The newest grade of that name that was given since the last coating job."""
        return next(
            (grade for visit in self.later_checks if (grade := getattr(visit, name)) is not None),
            None,
        )

    def measured_spread(self, product: Product) -> Decimal | None:
        """What this product did on these boards in earlier jobs [m²/L a coat];
        readings far off its sheet are left."""
        found = [
            m
            for job in self.jobs
            for m in measured_spreads(self.deck, job.coats_applied.all())
            if m.product == product
        ]
        readings = sorted(
            m.spread_m2_per_l for m in found if m.stated_m2_per_l and not m.is_far_off
        )
        return readings[len(readings) // 2] if readings else None


def deck_histories(decks: Sequence[Deck]) -> dict[int, DeckHistory]:
    """Of all these decks in five queries."""
    ids = [deck.pk for deck in decks]
    build = Job.objects.coat_build_by_deck(ids)
    coating = group_by_deck(Job.objects.filter(deck__in=ids).coating().with_coats().newest_first())
    visits = group_by_deck(
        Visit.objects.filter(deck__in=ids, observer="crew").order_by("-visited_on", "-id")
    )
    defects = Defect.objects.open_by_deck(ids)
    return {
        deck.pk: replace(
            history_of_deck(
                deck, CoatBuild(build[deck.pk]), coating.get(deck.pk, []), visits.get(deck.pk, [])
            ),
            defects=defects.get(deck.pk, []),
        )
        for deck in decks
    }


def history_of_deck(
    deck: Deck, build: CoatBuild, coating: list[Job], visits: list[Visit]
) -> DeckHistory:
    """What was found on the day of the last job on the boards came before its coat."""
    jobs = [job for job in coating if job.is_on_boards]
    seen = [visit for visit in visits if not jobs or visit.visited_on > jobs[0].finished_on]
    return DeckHistory(deck, build, jobs, coating, seen)


def group_by_deck(rows: Iterable[JobOrVisit]) -> dict[int, list[JobOrVisit]]:
    found: dict[int, list[JobOrVisit]] = {}
    for row in rows:
        found.setdefault(row.deck_id, []).append(row)
    return found
