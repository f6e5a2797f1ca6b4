"""Backups that were made or tried, and whether one was proven by a restore."""

import uuid
from datetime import datetime, timedelta

from django.db import models
from django.db.models import Q

PROOF_IS_OLD_AFTER = timedelta(days=8)


class BackupRunQuerySet(models.QuerySet["BackupRun"]):
    def newest_made(self) -> "BackupRun | None":
        """The last backup that is a whole file."""
        return self.filter(problem="").order_by("-started_at").first()

    def newest_proven(self) -> "BackupRun | None":
        """The newest backup that was restored once and found equal."""
        return self.filter(proven_at__isnull=False).order_by("-started_at").first()

    def newest_tried(self) -> "BackupRun | None":
        """The last try, whatever became of it."""
        return self.order_by("-started_at").first()


class BackupRun(models.Model):
    """One backup: when, where, and what came of restoring it for a trial."""

    key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    started_at = models.DateTimeField()
    file = models.CharField(max_length=500)
    size_bytes = models.BigIntegerField(default=0)
    is_encrypted = models.BooleanField(default=False)
    row_count = models.BigIntegerField(default=0)
    file_count = models.IntegerField(default=0)
    missing_count = models.IntegerField(
        default=0, help_text="Files that the book names and the store did not have."
    )
    missing_example = models.CharField(max_length=255, blank=True, help_text="The first of them.")
    problem = models.TextField(blank=True, help_text="Why there is no file; empty if there is one.")
    proven_at = models.DateTimeField(
        null=True, help_text="When it was restored for a trial and found equal."
    )
    proof_problem = models.TextField(
        blank=True, help_text="What the last trial found wrong; empty if nothing."
    )
    objects = BackupRunQuerySet.as_manager()

    class Meta:
        ordering = ["-started_at"]
        constraints = [
            models.CheckConstraint(
                name="backup_run_proves_a_file",
                condition=Q(proven_at=None) | Q(problem="", proof_problem=""),
            )
        ]

    def __str__(self) -> str:
        return f"{self.file} of {self.started_at:%Y-%m-%d %H:%M}"

    @property
    def made_file(self) -> bool:
        return not self.problem

    def is_proof_old(self, *, now: datetime) -> bool:
        """Whether it is time for another backup and its proof."""
        return self.started_at < now - PROOF_IS_OLD_AFTER


def say_missing_files(count: int, example: str) -> str:
    """That the store of photographs may be the wrong one; empty where nothing is missing."""
    if not count:
        return ""
    found = "was" if count == 1 else "were"
    many = "1 file" if count == 1 else f"{count:,} files"
    return f"{many} that the book names {found} not found for the backup, the first {example}."
