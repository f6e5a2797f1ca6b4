"""The history of an offer, with what the client asked and was answered."""

from django.conf import settings
from django.db import models
from django.db.models.functions import Now


class OfferEvent(models.Model):
    """A step an offer took, or a question the client asked: append-only."""

    class Kind(models.TextChoices):
        DRAFTED = "drafted", "Drafted"
        CHANGED = "changed", "Changed"
        SENT = "sent", "Sent"
        UNSENT = "unsent", "Taken back before it left"
        ACCEPTED = "accepted", "Accepted"
        DECLINED = "declined", "Declined"
        ASKED = "asked", "The client asked"
        ANSWERED = "answered", "Answered"
        RESCINDED = "rescinded", "The client withdrew from the contract"
        WITHDRAWN = "withdrawn", "Withdrawn"
        REPLACED = "replaced", "Replaced"
        BOOKED = "booked", "Booked"

    offer = models.ForeignKey("jobs.Offer", on_delete=models.CASCADE, related_name="events")
    at = models.DateTimeField(db_default=Now())
    kind = models.CharField(max_length=9, choices=Kind.choices)
    note = models.TextField(blank=True, max_length=2_000)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL
    )

    class Meta:
        ordering = ["at", "id"]
        indexes = [models.Index(fields=["offer", "at"], name="offer_event_by_offer")]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} at {self.at:%Y-%m-%d %H:%M}"
