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
RIGHT_TO_CANCEL = "right_to_cancel"  # a statement of its own, not one of the terms


def term_field(label: str, help_text: str, max_length: int = 2_000) -> "models.TextField[str, str]":
    return models.TextField(label, blank=True, max_length=max_length, help_text=help_text)


class OfferTerms(models.Model):
    """In one language; an offer keeps the words that it was sent with."""

    language = models.CharField(max_length=12, unique=True)
    payment = term_field("payment", "When the rest is due, how, and what the price leaves out.")
    warranty = term_field("warranty", "What you stand for, how long, and what ends it.")
    cancellation = term_field("cancellation", "Until when, and what it costs.")
    insurance = term_field("insurance", "Insurer, policy and registration numbers.")
    right_to_cancel = term_field(
        "right to cancel, in the words of your province",
        "If its law prescribes the words: the whole statement as the regulation has it, its heading"
        " in the first line, your address where it wants one, and its form if it has one. It stands"
        " on a page of its own, in the place of our words.",
        8_000,
    )

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
        names = [*TERM_HEADINGS, RIGHT_TO_CANCEL]
        return {name: text for name in names if (text := getattr(self, name).strip())}
