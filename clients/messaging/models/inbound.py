"""What came in from outside."""

from django.db import models
from django.db.models.functions import Now

from clients.messaging.models.message import Message
from clients.models import Client


class InboundEvent(models.Model):
    """What came in from outside (a status, an answer, a bounce), kept raw before anything is made
    of it."""

    source = models.CharField(max_length=20, help_text="text status, text inbound, bounce.")
    event_id = models.CharField(
        max_length=255, help_text="The far side's own, or a hash of the content."
    )
    received_at = models.DateTimeField(db_default=Now())
    raw = models.TextField()
    message = models.ForeignKey(
        Message, null=True, blank=True, on_delete=models.SET_NULL, related_name="inbound"
    )
    client = models.ForeignKey(
        Client, null=True, blank=True, on_delete=models.SET_NULL, related_name="inbound"
    )
    tries = models.PositiveSmallIntegerField(
        default=0, help_text="How often it could not be processed."
    )
    processed_at = models.DateTimeField(null=True, blank=True)
    outcome = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["-received_at", "-id"]
        constraints = [
            models.UniqueConstraint(fields=["source", "event_id"], name="inbound_event_once")
        ]

    def __str__(self) -> str:
        return f"{self.source} {self.event_id}"
