"""Visits: somebody of the business stood on the deck and graded what they found."""

from django.conf import settings
from django.core.validators import MaxValueValidator
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from clients.models import Deck

GRADE_FIELDS = ["overall", "greying", "beading", "flaking", "cracking", "mould"]


def grade_field(label: str) -> "models.PositiveSmallIntegerField[int | None, int | None]":
    """An as-found grade from 0 (unchanged) to 5 (very marked), in the sense of ISO 4628-1;
    empty if not looked at."""
    return models.PositiveSmallIntegerField(
        label, null=True, blank=True, validators=[MaxValueValidator(5)]
    )


class Visit(models.Model):
    """What was found on a deck on a day, before any work, and why the visit happened."""

    class Observer(models.TextChoices):
        CREW = "crew", "One of us"
        CLIENT = "client", "The client"

    class Reason(models.TextChoices):
        ROUTINE = "routine", "Routine check"
        DUE = "due", "It was due"
        CALLED = "called", "The client called because it looked bad"
        QUOTE = "quote", "To price new work"
        OTHER = "other", "Other work at the property"

    deck = models.ForeignKey(Deck, on_delete=models.CASCADE, related_name="visits")
    visited_on = models.DateField()
    reason = models.CharField(max_length=8, choices=Reason.choices, default=Reason.DUE)
    overall = grade_field("overall")
    greying = grade_field("fading or greying")
    beading = grade_field("water no longer beads")
    flaking = grade_field("flaking")
    cracking = grade_field("cracking")
    mould = grade_field("mould")
    moisture_percent = models.DecimalField(
        "wood moisture",
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
        help_text="Per cent, by meter.",
    )
    observer = models.CharField(
        max_length=6,
        choices=Observer.choices,
        db_default=Observer.CREW,
        default=Observer.CREW,
        help_text="A client’s look is doubted more, and decides no work.",
    )
    found_by = models.CharField(max_length=120, blank=True, help_text="Who graded.")
    notes = models.TextField(blank=True, max_length=20_000)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL
    )
    form_key = models.UUIDField(
        null=True, unique=True, editable=False, help_text="Its photographs follow by it."
    )
    created_at = models.DateTimeField(db_default=Now())

    class Meta:
        ordering = ["-visited_on", "-id"]
        indexes = [models.Index(fields=["deck", "visited_on"], name="visit_by_deck")]
        constraints = [
            *(
                models.CheckConstraint(
                    name=f"visit_{name}_from_0_to_5",
                    condition=Q(**{name: None}) | Q(**{f"{name}__lte": 5}),
                )
                for name in GRADE_FIELDS
            ),
            models.CheckConstraint(
                name="visit_observer_known", condition=Q(observer__in=["crew", "client"])
            ),
            models.CheckConstraint(
                name="visit_moisture_is_a_share",
                condition=Q(moisture_percent=None)
                | Q(moisture_percent__gte=0, moisture_percent__lte=200),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.deck} on {self.visited_on}"

    @property
    def grade(self) -> int | None:
        """The overall grade, or else the worst of the defects that were graded."""
        if self.overall is not None:
            return self.overall
        found = [value for name in GRADE_FIELDS[1:] if (value := getattr(self, name)) is not None]
        return max(found, default=None)
