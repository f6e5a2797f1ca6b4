"""Coats on the boards: what is forecast, reminded about and paced."""

from collections.abc import Collection
from datetime import date

from django.db import models
from django.db.models import Count, OuterRef

from clients.models import Deck
from jobs.models.job import Job
from jobs.models.product import FinishClass, Product


class CoatQuerySet(models.QuerySet["Coat"]):
    def newest(self) -> "CoatQuerySet":
        """The coat that is on each deck now."""
        return self.filter(ended_on=None)

    def laid_before(self, day: date | OuterRef) -> "CoatQuerySet":
        """Those that a visit on that day could find; work of the same day comes after it."""
        return self.filter(laid_on__lt=day)

    def counts_by_deck(self, deck_ids: Collection[int]) -> dict[int, int]:
        """How many coats each of these decks has had; those without any are left out."""
        laid = self.filter(deck__in=deck_ids).order_by()
        return dict(laid.values_list("deck_id").annotate(laid=Count("pk")))


class Coat(models.Model):
    """What one strip or recoat left on the boards, until the next one covered it or took it off.

    A row of a view (migration `0034_surfaces`), never written: it follows its job. A job that laid
    no finish, or whose finish nobody recorded, has a coat without a product; one that was on rails,
    stairs or screens alone has none.
    """

    job = models.OneToOneField(
        Job, primary_key=True, on_delete=models.DO_NOTHING, related_name="coat"
    )
    deck = models.ForeignKey(Deck, on_delete=models.DO_NOTHING, related_name="coats")
    kind = models.CharField(max_length=6, choices=Job.Kind.choices)
    laid_from = models.DateField(null=True, help_text="First possible day; empty if it is known.")
    laid_on = models.DateField(help_text="The day, or the last possible one.")
    ended_on = models.DateField(
        null=True, help_text="The day the next coat was laid; empty for the newest."
    )
    product = models.ForeignKey(
        Product,
        null=True,
        on_delete=models.DO_NOTHING,
        related_name="+",
        help_text="The last finish on the boards.",
    )
    finish_class = models.CharField(max_length=24, choices=FinishClass.choices, blank=True)
    pigment = models.CharField(max_length=5, choices=Product.Pigment.choices, blank=True)
    base = models.CharField(max_length=7, choices=Product.Base.choices, blank=True)
    is_recorded = models.BooleanField(help_text="Whether anybody noted a finish, known or not.")
    coats = models.PositiveSmallIntegerField(
        null=True, help_text="How many coats of finish the job laid, if all were counted."
    )
    build = models.PositiveSmallIntegerField(
        help_text="Coats on the boards since the last strip, touch-ups of this coat included;"
        " a finish whose coats nobody counted is one."
    )

    objects = CoatQuerySet.as_manager()

    class Meta:
        managed = False
        db_table = "jobs_coat"
        ordering = ["-laid_on", "-job_id"]

    def __str__(self) -> str:
        return f"Coat of {self.laid_on} on {self.deck}"
