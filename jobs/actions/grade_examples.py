"""Which photograph stands beside which grade."""

from django.db import transaction

from clients.actions.saving import lock_until_commit
from jobs.models import GradeExample, Photo
from jobs.work import graded_visits


class GradeExampleError(ValueError):
    """A photograph that shows no such grade; the message says why."""


@transaction.atomic
def set_grade_example(*, photo: Photo, kind: str) -> GradeExample:
    """Make a photograph the example of the grade that was given when it was taken, in the place of
    the one before. Raises `GradeExampleError`."""
    lock_until_commit("grade examples")
    visit = graded_visits([photo]).get(photo.pk)
    grade = getattr(visit, kind) if visit and kind in GradeExample.Kind.values else None
    if visit is None or grade is None:
        raise GradeExampleError(
            "This photo shows no such grade. Choose one of the deck as found, of a day on which"
            " it was graded, in which nobody can be recognised."
        )
    there = GradeExample.objects.filter(kind=kind)
    if same := there.filter(photo=photo, visit=visit, grade=grade).first():
        return same
    there.filter(grade=grade).delete()
    there.filter(photo=photo).delete()
    return GradeExample.objects.create(photo=photo, visit=visit, kind=kind, grade=grade)


@transaction.atomic
def remove_grade_example(*, photo: Photo, kind: str) -> None:
    """A second time it changes nothing."""
    GradeExample.objects.filter(photo=photo, kind=kind).delete()
