"""Which grades a photograph may stand for: those that were given when it was taken."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from jobs.models import GRADE_FIELDS, GradeExample, Photo, Visit


@dataclass(frozen=True)
class GradeMark:
    """One grade that a photograph shows, and whether it is the example of it."""

    kind: str
    grade: int
    is_example: bool

    @property
    def words(self) -> str:
        """“example of grade 3”, “example of grade 4, peeling”."""
        label = GradeExample.Kind(self.kind).label
        of_what = "" if self.kind == GradeExample.Kind.OVERALL else f", {label}"
        return f"example of grade {self.grade}{of_what}"


def graded_visits(photos: Collection[Photo]) -> dict[int, Visit]:
    """Number of a photograph → the visit of ours that graded what it shows: that of its job, or the
    check of its deck and day. Only of the deck as it was found, and where nobody can be
    recognised."""
    fitting = [each for each in photos if is_fitting(each)]
    loose = [each for each in fitting if each.job_id is None]
    checks = checks_by_day(loose) if loose else {}
    found = {
        each.pk: each.job.visit if each.job else checks.get((each.deck_id, each.taken_on))
        for each in fitting
    }
    return {pk: visit for pk, visit in found.items() if visit}


def is_fitting(photo: Photo) -> bool:
    return photo.moment == Photo.Moment.FOUND and photo.defect_id is None and not photo.shows_people


def checks_by_day(photos: Sequence[Photo]) -> dict[tuple[int, object], Visit]:
    """Deck and day → the newest check of that day."""
    rows = Visit.objects.filter(
        deck__in={each.deck_id for each in photos},
        visited_on__in={each.taken_on for each in photos},
        observer=Visit.Observer.CREW,
        job=None,
    )
    return {(row.deck_id, row.visited_on): row for row in rows.order_by("pk")}


def with_grade_marks(photos: Collection[Photo]) -> list[tuple[Photo, list[GradeMark]]]:
    """The photographs in their order, each with the grades it may stand for."""
    visits = graded_visits(photos)
    rows = GradeExample.objects.filter(photo__in=visits) if visits else GradeExample.objects.none()
    there = set(rows.values_list("photo_id", "kind", "grade")) if visits else set()
    return [
        (each, marks_by(visits[each.pk], each.pk, there) if each.pk in visits else [])
        for each in photos
    ]


def marks_by(visit: Visit, photo_id: int, there: set[tuple[int, str, int]]) -> list[GradeMark]:
    given = {kind: getattr(visit, kind) for kind in GRADE_FIELDS}
    return [
        GradeMark(kind, grade, (photo_id, kind, grade) in there)
        for kind, grade in given.items()
        if grade is not None
    ]
