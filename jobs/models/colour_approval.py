"""That the client has seen a test patch and wants that colour."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from clients.models import Deck
from jobs.models.product import Product


class ColourApproval(models.Model):
    """Who approved which colour on which day; kept as it was said, the newest counts."""

    deck = models.ForeignKey(Deck, on_delete=models.CASCADE, related_name="colour_approvals")
    product = models.ForeignKey(
        Product, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    colour = models.CharField(max_length=80)
    approved_by = models.CharField("name of the client", max_length=200)
    approved_on = models.DateField()
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL
    )
    created_at = models.DateTimeField(db_default=Now())

    class Meta:
        ordering = ["-approved_on", "-id"]
        constraints = [
            models.CheckConstraint(
                name="colour_approval_says_which_and_who",
                condition=~Q(colour="") & ~Q(approved_by=""),
            )
        ]

    def __str__(self) -> str:
        return f"{self.colour}, {self.approved_by}"
