"""What the people of the business are told by mail: what clients did, and what goes wrong."""

from django.conf import settings
from django.db import models
from django.db.models import Q


class StaffNotice(models.Model):
    """One thing that one person is to hear of; mailed at most once (docs/decisions/0034)."""

    class Link(models.TextChoices):
        INVITATION = "invitation", "Invitation"
        NEW_PASSWORD = "new_password", "New password"

    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="notices"
    )
    key = models.CharField(max_length=160, help_text="The same matter makes one row a person.")
    words = models.CharField(max_length=500)
    link = models.CharField(
        max_length=12, choices=Link.choices, blank=True, help_text="The mail gets one, made then."
    )
    is_urgent = models.BooleanField(
        default=False, help_text="About the person's own account: at once, whatever they chose."
    )
    url = models.CharField(max_length=300, blank=True, help_text="The page that it is about.")
    made_at = models.DateTimeField()
    mailed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["made_at", "id"]
        indexes = [
            models.Index(fields=["user"], name="notice_to_mail", condition=Q(mailed_at=None)),
        ]
        constraints = [
            models.UniqueConstraint(fields=["user", "key"], name="notice_once_a_person"),
        ]

    def __str__(self) -> str:
        return self.words
