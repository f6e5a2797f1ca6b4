"""Letters printed and posted together."""

from django.conf import settings
from django.db import models
from django.db.models.functions import Now

from clients.messaging.models.message import Message


class LetterBatch(models.Model):
    """Letters printed together as one PDF; posted when a person says so."""

    made_at = models.DateTimeField(db_default=Now())
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    pdf_sha256 = models.CharField(max_length=64, blank=True)
    prints = models.PositiveSmallIntegerField(
        default=0, help_text="How often it was printed; more than one is a reprint."
    )
    posted_at = models.DateTimeField(null=True, blank=True)
    posted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )

    class Meta:
        verbose_name_plural = "letter batches"
        ordering = ["-made_at", "-id"]

    def __str__(self) -> str:
        return f"Letters of {self.made_at:%Y-%m-%d}"


class BatchedLetter(models.Model):
    """One letter's place in its batch."""

    batch = models.ForeignKey(LetterBatch, on_delete=models.CASCADE, related_name="letters")
    message = models.OneToOneField(Message, on_delete=models.CASCADE, related_name="batched")
    position = models.PositiveIntegerField()
    apart = models.JSONField(
        default=dict,
        blank=True,
        help_text="Enclosures that the last print could not hold: number of the file → why.",
    )

    class Meta:
        ordering = ["batch_id", "position"]
        constraints = [
            models.UniqueConstraint(fields=["batch", "position"], name="letter_once_a_position")
        ]

    def __str__(self) -> str:
        return f"{self.batch}, {self.position}"
