"""What was put right in the book: doubles merged or told apart, and people erased."""

from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Now

from clients.models.client import Client
from clients.models.deck import Deck
from clients.models.property import Property


class RowMergeQuerySet(models.QuerySet[Any]):
    def standing_of(self, pk: int) -> "RowMergeQuerySet":
        """Not undone, into this row or out of it; the newest first."""
        rows = self.filter(Q(kept=pk) | Q(away=pk), undone_at=None)
        return rows.select_related("kept", "away").order_by("-pk")


class RowMerge(models.Model):
    """Two rows of one thing made one: which rows went over, what was changed, and which rows were
    the newest then, so that it can be undone as long as nothing was built on it."""

    at = models.DateTimeField(db_default=Now())
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    moved = models.JSONField(
        default=list, help_text="[model, field, from, to, [keys]] for each kind of row."
    )
    changed = models.JSONField(
        default=list, help_text="[model, key, field, before, after] for each field."
    )
    newest = models.JSONField(default=dict, help_text="Model → the highest key there was.")
    undone_at = models.DateTimeField(null=True)

    objects = RowMergeQuerySet.as_manager()

    class Meta:
        abstract = True


class ClientMerge(RowMerge):
    """`away` was the same client as `kept`; it stays behind, archived and empty."""

    kept = models.ForeignKey(Client, on_delete=models.CASCADE, related_name="merges")
    away = models.ForeignKey(Client, on_delete=models.CASCADE, related_name="merged_away")

    class Meta:
        constraints = [
            models.CheckConstraint(name="client_merge_of_two", condition=~Q(kept=F("away"))),
            models.UniqueConstraint(
                fields=["away"], condition=Q(undone_at=None), name="client_merged_away_once"
            ),
        ]

    def __str__(self) -> str:
        return f"client {self.away_id} into {self.kept_id}"


class DeckMerge(RowMerge):
    """`away` was the same deck as `kept`."""

    kept = models.ForeignKey(Deck, on_delete=models.CASCADE, related_name="merges")
    away = models.ForeignKey(Deck, on_delete=models.CASCADE, related_name="merged_away")

    class Meta:
        constraints = [
            models.CheckConstraint(name="deck_merge_of_two", condition=~Q(kept=F("away"))),
            models.UniqueConstraint(
                fields=["away"], condition=Q(undone_at=None), name="deck_merged_away_once"
            ),
        ]

    def __str__(self) -> str:
        return f"deck {self.away_id} into {self.kept_id}"


class ToldApart(models.Model):
    """Two clients of whom somebody said that they are not one; never asked again."""

    one = models.ForeignKey(Client, on_delete=models.CASCADE, related_name="+")
    other = models.ForeignKey(Client, on_delete=models.CASCADE, related_name="+")
    at = models.DateTimeField(db_default=Now())
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+"
    )

    class Meta:
        verbose_name_plural = "pairs told apart"
        constraints = [
            models.UniqueConstraint(fields=["one", "other"], name="told_apart_once"),
            models.CheckConstraint(name="told_apart_in_order", condition=Q(one__lt=F("other"))),
        ]

    def __str__(self) -> str:
        return f"clients {self.one_id} and {self.other_id}"


class FormerOwner(models.Model):
    """Whose a property was before, and until when."""

    site = models.ForeignKey(
        Property,
        on_delete=models.CASCADE,
        db_column="property_id",
        verbose_name="property",
        related_name="former_owners",
    )
    client = models.ForeignKey(Client, on_delete=models.CASCADE, related_name="formerly_owned")
    until = models.DateField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+"
    )

    class Meta:
        ordering = ["-until", "-id"]

    def __str__(self) -> str:
        return f"{self.client} until {self.until}"


class Erasure(models.Model):
    """The proof that a person was erased: who did it, when, and how many rows of each kind were
    changed or deleted. No personal data; the number of the client names nobody any more."""

    client_number = models.BigIntegerField(unique=True)
    at = models.DateTimeField(db_default=Now())
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    counts = models.JSONField(default=dict, help_text="Kind of row → how many.")

    class Meta:
        ordering = ["-at", "-id"]

    def __str__(self) -> str:
        return f"client {self.client_number}"

    @property
    def rows(self) -> list[tuple[str, Any]]:
        return sorted(self.counts.items())
