"""Lists that were brought in, and what came of each of their rows."""

from typing import Any

from django.conf import settings
from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.db.models import Count
from django.db.models.functions import Now

from clients.models import Client, Deck


class ListImportQuerySet(models.QuerySet["ListImport"]):
    def newest_first(self) -> "ListImportQuerySet":
        return self.order_by("-id")

    def working(self) -> "ListImportQuerySet":
        """Those that the worker has to go on with."""
        return self.filter(state__in=[ListImport.State.RUNNING, ListImport.State.UNDOING])

    def same_header(self, fingerprint: str) -> "ListImportQuerySet":
        """Earlier lists with these columns that somebody brought in."""
        brought_in = [ListImport.State.DONE, ListImport.State.UNDONE]
        return self.filter(fingerprint=fingerprint, state__in=brought_in).newest_first()


class ListImport(models.Model):
    """One sheet of a file: which column tells what, what was decided, and what came of it."""

    class State(models.TextChoices):
        ASKING = "asking", "To check"
        RUNNING = "running", "Coming in"
        DONE = "done", "Brought in"
        UNDOING = "undoing", "Being undone"
        UNDONE = "undone", "Undone"

    file_name = models.CharField(max_length=200)
    sheet = models.CharField(max_length=200, blank=True)
    heads = ArrayField(models.TextField(blank=True), default=list)
    fingerprint = models.CharField(max_length=64, blank=True, help_text="Of the header.")
    mapping = ArrayField(
        models.CharField(max_length=20, blank=True), default=list, help_text="Field by column."
    )
    scores = ArrayField(models.FloatField(), default=list, help_text="How sure each guess is.")
    decisions = models.JSONField(
        default=dict, help_text="What a person answered: doubt → key → value."
    )
    remarks = ArrayField(models.TextField(), default=list)
    counts = models.JSONField(default=dict, help_text="What was made, changed and found.")
    made = models.JSONField(default=dict, help_text="Keys of products and batches that it made.")
    state = models.CharField(max_length=8, choices=State.choices, default=State.ASKING)
    rows_total = models.PositiveIntegerField(default=0)
    rows_done = models.PositiveIntegerField(default=0)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL
    )
    created_at = models.DateTimeField(db_default=Now())
    started_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)

    objects = ListImportQuerySet.as_manager()

    class Meta:
        verbose_name = "list brought in"
        verbose_name_plural = "lists brought in"
        ordering = ["-id"]
        indexes = [models.Index(fields=["fingerprint", "-id"], name="list_import_by_header")]
        constraints = [
            models.CheckConstraint(
                name="list_import_state_known",
                condition=models.Q(state__in=["asking", "running", "done", "undoing", "undone"]),
            )
        ]

    def __str__(self) -> str:
        return f"{self.file_name}, {self.sheet}" if self.sheet else self.file_name

    @property
    def is_working(self) -> bool:
        return self.state in {self.State.RUNNING, self.State.UNDOING}


class ImportRowQuerySet(models.QuerySet["ImportRow"]):
    def in_order(self) -> "ImportRowQuerySet":
        return self.order_by("ordinal")

    def to_complete(self) -> "ImportRowQuerySet":
        """Rows that wait until somebody mends them."""
        return self.filter(state=ImportRow.State.TO_COMPLETE).in_order()

    def counts_by_state(self) -> dict[str, int]:
        counted = self.order_by().values_list("state").annotate(rows=Count("pk"))
        return dict(counted)


class ImportRow(models.Model):
    """One row of such a sheet."""

    class State(models.TextChoices):
        WAITING = "waiting", "Waiting"
        MADE = "made", "Added"
        CHANGED = "changed", "Changed"
        MATCHED = "matched", "Known already"
        TO_COMPLETE = "open", "To complete"
        LEFT_OUT = "left_out", "Left out"

    source = models.ForeignKey(ListImport, on_delete=models.CASCADE, related_name="rows")
    number = models.PositiveIntegerField(help_text="As the spreadsheet shows it.")
    ordinal = models.PositiveIntegerField(help_text="Lines of one invoice follow each other.")
    cells = ArrayField(models.TextField(blank=True))
    state = models.CharField(max_length=8, choices=State.choices, default=State.WAITING)
    why = models.JSONField(default=dict, help_text="Field → what to do.")
    remarks = models.TextField(blank=True)
    client = models.ForeignKey(Client, null=True, on_delete=models.SET_NULL, related_name="+")
    deck = models.ForeignKey(Deck, null=True, on_delete=models.SET_NULL, related_name="+")
    made = models.JSONField(default=dict, help_text="Kind → keys of what this row made.")
    before = models.JSONField(
        default=list, help_text="Kind, key, field, old and new value of what it changed."
    )

    objects = ImportRowQuerySet.as_manager()

    class Meta:
        ordering = ["source_id", "ordinal"]
        indexes = [models.Index(fields=["source", "state", "ordinal"], name="import_row_by_state")]
        constraints = [
            models.UniqueConstraint(fields=["source", "number"], name="import_row_once_a_list")
        ]

    def __str__(self) -> str:
        return f"Row {self.number} of {self.source}"

    def cell(self, at: int) -> str:
        found: Any = self.cells[at] if at < len(self.cells) else ""
        return str(found)
