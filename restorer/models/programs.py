"""Programs and devices that read and write the book over HTTP, and what they were answered."""

from datetime import datetime, timedelta

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower, Now

USE_IS_NOTED_EVERY = timedelta(minutes=1)
ANSWER_KEPT_FOR = timedelta(days=7)


class ApiTokenQuerySet(models.QuerySet["ApiToken"]):
    def in_force(self) -> "ApiTokenQuerySet":
        """Not revoked, and made by somebody who may still sign in."""
        return self.filter(revoked_at=None, made_by__is_active=True)

    def for_list(self) -> "ApiTokenQuerySet":
        """Those in force first, then by name."""
        rows = self.select_related("made_by")
        return rows.order_by(models.F("revoked_at").desc(nulls_first=True), Lower("name"), "id")


class ApiToken(models.Model):
    """The key of one program or device; only the hash of it is kept."""

    class Role(models.TextChoices):
        READ = "read", "Read the book"
        WRITE = "write", "Read, and write the work"
        SEND = "send", "Read, write, and send reminders"

    name = models.CharField("program or device", max_length=80)
    role = models.CharField("may", max_length=5, choices=Role.choices, default=Role.READ)
    token_hash = models.CharField(max_length=64, unique=True)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.CASCADE,
        related_name="api_tokens",
        help_text="In whose name it writes.",
    )
    made_at = models.DateTimeField(db_default=Now())
    last_used_at = models.DateTimeField(null=True, help_text="To the minute.")
    revoked_at = models.DateTimeField(null=True)
    objects = ApiTokenQuerySet.as_manager()

    class Meta:
        ordering = ["name", "id"]
        constraints = [
            models.CheckConstraint(name="api_token_has_a_name", condition=~Q(name="")),
            models.CheckConstraint(
                name="api_token_role_known", condition=Q(role__in=["read", "write", "send"])
            ),
            models.UniqueConstraint(
                Lower("name"), condition=Q(revoked_at=None), name="api_token_once_a_name"
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def may(self, role: str) -> bool:
        """Each role holds those before it."""
        order = self.Role.values
        return order.index(self.role) >= order.index(role)

    def is_use_stale(self, *, now: datetime) -> bool:
        """Whether it is time to note again that it is used."""
        return self.last_used_at is None or self.last_used_at < now - USE_IS_NOTED_EVERY


class KeptAnswerQuerySet(models.QuerySet["KeptAnswer"]):
    def old(self, *, now: datetime) -> "KeptAnswerQuerySet":
        """Kept long enough."""
        return self.filter(answered_at__lt=now - ANSWER_KEPT_FOR)


class KeptAnswer(models.Model):
    """What a program was answered, so that asking again with the same key writes nothing twice."""

    token = models.ForeignKey(ApiToken, on_delete=models.CASCADE, related_name="answers")
    key = models.CharField(max_length=200)
    request_hash = models.CharField(max_length=64, help_text="Of the address and the body.")
    status = models.PositiveSmallIntegerField()
    body = models.TextField(help_text="What was answered, as JSON.")
    answered_at = models.DateTimeField(db_index=True)
    objects = KeptAnswerQuerySet.as_manager()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["token", "key"], name="answer_once_a_key")]

    def __str__(self) -> str:
        return f"{self.token}: {self.key}"
