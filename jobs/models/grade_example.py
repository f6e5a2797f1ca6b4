"""Photographs of the business's own that show what an as-found grade looks like."""

from collections import defaultdict

from django.db import models
from django.db.models import Q

from jobs.models.job import Photo
from jobs.models.visit import GRADE_FIELDS, Visit


class GradeExampleQuerySet(models.QuerySet["GradeExample"]):
    def by_kind(self) -> "dict[str, dict[int, GradeExample]]":
        """Kind → grade → its example, the grades in order, with the photographs."""
        found: dict[str, dict[int, GradeExample]] = defaultdict(dict)
        for each in self.select_related("photo"):
            found[each.kind][each.grade] = each
        return dict(found)

    def no_longer_true_of(self, visit: Visit) -> "GradeExampleQuerySet":
        """Those by a visit that says another grade by now."""
        still = Q()
        for kind in GRADE_FIELDS:
            still |= Q(kind=kind, grade=getattr(visit, kind))
        return self.filter(visit=visit).exclude(still)


class GradeExample(models.Model):
    """One photograph that stands beside one grade wherever somebody grades: one a kind and grade.

    The visit is that on which the grade was given; with it or the photograph the example goes.
    """

    class Kind(models.TextChoices):
        OVERALL = "overall", "all in all"
        GREYING = "greying", "fading or greying"
        BEADING = "beading", "water no longer beads"
        FLAKING = "flaking", "peeling"
        CRACKING = "cracking", "cracking"
        MOULD = "mould", "mould or algae"

    kind = models.CharField(max_length=8, choices=Kind.choices)
    grade = models.PositiveSmallIntegerField()
    photo = models.ForeignKey(Photo, on_delete=models.CASCADE, related_name="grade_examples")
    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="grade_examples")

    objects = GradeExampleQuerySet.as_manager()

    class Meta:
        ordering = ["kind", "grade"]
        constraints = [
            models.CheckConstraint(
                name="grade_example_kind_known", condition=Q(kind__in=GRADE_FIELDS)
            ),
            models.CheckConstraint(name="grade_example_from_0_to_5", condition=Q(grade__lte=5)),
            models.UniqueConstraint(
                fields=["kind", "grade"], name="grade_example_once_a_kind_and_grade"
            ),
            models.UniqueConstraint(
                fields=["photo", "kind"], name="grade_example_one_grade_a_photo_and_kind"
            ),
        ]

    def __str__(self) -> str:
        return f"Grade {self.grade}, {self.get_kind_display()}"
