"""The structure of a deck as one of us found it: the check, and each defect that it found.

No source: which defects a crew looks for and the three degrees are common practice. Nobody of the
crew is an engineer: a report says what was seen, and that somebody licensed has to judge it.
"""

from collections.abc import Collection

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from clients.models import Deck


class StructureCheckQuerySet(models.QuerySet["StructureCheck"]):
    def with_report(self) -> "StructureCheckQuerySet":
        """With deck, owner, defects and photographs, in a fixed number of queries."""
        return self.select_related("deck__site__client").prefetch_related("defects__photos")


class StructureCheck(models.Model):
    """Somebody looked at ledger, posts, joists, stairs and railings; without defects nothing was
    found. What it found is one report, which the client gets and acknowledges."""

    deck = models.ForeignKey(Deck, on_delete=models.CASCADE, related_name="structure_checks")
    checked_on = models.DateField()
    checked_by = models.CharField(max_length=120, blank=True, help_text="Who looked.")
    told_at = models.DateTimeField(
        null=True, blank=True, help_text="When the report was sent to the client."
    )
    acknowledged_by = models.CharField(
        max_length=200, blank=True, help_text="The name of whoever has read the report."
    )
    acknowledged_on = models.DateField(null=True, blank=True)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL
    )
    created_at = models.DateTimeField(db_default=Now())

    objects = StructureCheckQuerySet.as_manager()

    class Meta:
        ordering = ["-checked_on", "-id"]
        indexes = [models.Index(fields=["deck", "-checked_on"], name="structure_check_by_deck")]
        constraints = [
            models.CheckConstraint(
                name="acknowledged_report_names_who_and_when",
                condition=Q(acknowledged_by="", acknowledged_on=None)
                | ~Q(acknowledged_by="") & Q(acknowledged_on__isnull=False),
            ),
        ]

    def __str__(self) -> str:
        return f"Structure of {self.deck} on {self.checked_on}"

    @property
    def is_acknowledged(self) -> bool:
        return self.acknowledged_on is not None


class DefectQuerySet(models.QuerySet["Defect"]):
    def still_open(self) -> "DefectQuerySet":
        """Not repaired yet, the dangerous ones first."""
        rows = self.filter(fixed_on=None).select_related("structure_check__deck__site__client")
        return rows.order_by("severity", "-structure_check__checked_on", "id")

    def open_on(self, deck_ids: Collection[int]) -> "DefectQuerySet":
        """Of these decks."""
        return self.still_open().filter(structure_check__deck__in=deck_ids)

    def open_by_deck(self, deck_ids: Collection[int]) -> "dict[int, list[Defect]]":
        """The open defects of these decks, in one query; decks without any are left out."""
        found: dict[int, list[Defect]] = {}
        for defect in self.open_on(deck_ids):
            found.setdefault(defect.structure_check.deck_id, []).append(defect)
        return found


class Defect(models.Model):
    """One thing that is not as it should be, until somebody has repaired it."""

    class Kind(models.TextChoices):
        ROT = "rot", _("Rotten wood")
        RAILING = "railing", _("Loose railing")
        STAIRS = "stairs", _("Loose stairs")
        LEDGER = "ledger", _("Loose or wet where the deck meets the house")
        FASTENERS = "fasteners", _("Loose or rusted fasteners")
        HEIGHT = "height", _("A drop without a railing, or one that is too low")
        OTHER = "other", _("Something else")

    class Severity(models.TextChoices):
        """In the order of their values, most dangerous first."""

        DANGEROUS = "1", _("Dangerous: keep off")
        REPAIR = "2", _("Needs repair soon")
        WATCH = "3", _("To be watched")

    structure_check = models.ForeignKey(
        StructureCheck, on_delete=models.CASCADE, related_name="defects"
    )
    kind = models.CharField(max_length=9, choices=Kind.choices)
    severity = models.CharField(max_length=1, choices=Severity.choices)
    place = models.CharField(max_length=120, help_text="Such as stairs, second tread from below.")
    words = models.TextField("what is wrong", blank=True, max_length=2_000)
    form_key = models.UUIDField(
        null=True, unique=True, editable=False, help_text="Its photographs follow by it."
    )
    fixed_on = models.DateField(null=True, blank=True)
    fixed_words = models.CharField(
        max_length=300, blank=True, help_text="Who repaired it, and how."
    )
    created_at = models.DateTimeField(db_default=Now())

    objects = DefectQuerySet.as_manager()

    class Meta:
        ordering = ["structure_check_id", "severity", "id"]
        constraints = [
            models.CheckConstraint(name="defect_has_a_place", condition=~Q(place="")),
            models.CheckConstraint(
                name="defect_severity_known", condition=Q(severity__in=["1", "2", "3"])
            ),
        ]

    def __str__(self) -> str:
        words = gettext("{what}: {place}")
        return words.format(what=self.get_kind_display(), place=self.place.rstrip("."))

    @property
    def is_dangerous(self) -> bool:
        return self.severity == self.Severity.DANGEROUS
