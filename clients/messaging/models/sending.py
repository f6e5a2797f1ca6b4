"""What one person sent with one press, held for a while so that it can be taken back."""

from datetime import datetime

from django.conf import settings
from django.db import models
from django.db.models import Q


class Sending(models.Model):
    """All messages that somebody sent with one press; none of them leaves before `held_until`."""

    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+")
    at = models.DateTimeField()
    held_until = models.DateTimeField()
    taken_back_at = models.DateTimeField(null=True, blank=True)
    taken_back_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )

    class Meta:
        ordering = ["-at", "-id"]
        constraints = [
            models.UniqueConstraint(fields=["by", "at"], name="sending_once_a_press"),
            models.CheckConstraint(
                name="sending_held_from_its_press", condition=Q(held_until__gte=models.F("at"))
            ),
        ]

    def __str__(self) -> str:
        return f"Sent by {self.by} at {self.at:%Y-%m-%d %H:%M}"

    def is_held(self, *, now: datetime) -> bool:
        """Whether all of it can still be taken back."""
        return self.taken_back_at is None and now < self.held_until
