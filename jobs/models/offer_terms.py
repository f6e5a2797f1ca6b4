"""What stands on every offer beside the price: texts of the business, one row a language."""

from django.db import models
from django.utils.translation import gettext_lazy as _

# The parts in the order of the paper, with the heading that a client reads. The words are the
# owner's own: the program comes with none, for they differ from place to place.
TERM_HEADINGS = {
    "payment": _("Payment, and what is not included"),
    "warranty": _("Warranty and its limits"),
    "cancellation": _("If you cancel"),
    "insurance": _("Insurance and registration"),
}


def term_field(label: str, help_text: str) -> "models.TextField[str, str]":
    return models.TextField(label, blank=True, max_length=2_000, help_text=help_text)


class OfferTerms(models.Model):
    """In one language; an offer keeps the words that it was sent with."""

    language = models.CharField(max_length=12, unique=True)
    payment = term_field("payment", "When the rest is due, how, and what the price leaves out.")
    warranty = term_field("warranty", "What you stand for, how long, and what ends it.")
    cancellation = term_field("cancellation", "Until when, and what it costs.")
    insurance = term_field("insurance", "Insurer, policy and registration numbers.")

    class Meta:
        verbose_name_plural = "offer terms"
        ordering = ["language"]
        constraints = [
            models.CheckConstraint(
                name="offer_terms_have_a_language", condition=~models.Q(language="")
            )
        ]

    def __str__(self) -> str:
        return f"Terms in {self.language}"

    @property
    def parts(self) -> dict[str, str]:
        """Part → its words, of those that have any."""
        return {name: text for name in TERM_HEADINGS if (text := getattr(self, name).strip())}
