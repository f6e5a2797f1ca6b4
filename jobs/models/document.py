"""Documents: data sheets of products; drawings, permits and other papers of decks."""

from pathlib import PurePosixPath

from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from clients.models import Deck
from jobs.models.product import Product

MEDIA_TYPES = {".pdf": "application/pdf", ".jpg": "image/jpeg"}  # by the name it is stored under


class Document(models.Model):
    """A PDF or a picture of a page, kept with one deck or with one product."""

    deck = models.ForeignKey(
        Deck, null=True, blank=True, on_delete=models.CASCADE, related_name="documents"
    )
    product = models.ForeignKey(
        Product, null=True, blank=True, on_delete=models.CASCADE, related_name="documents"
    )
    title = models.CharField(max_length=200)
    file = models.FileField(upload_to="documents/%Y/%m/")
    size = models.PositiveIntegerField(help_text="Bytes.")
    content_hash = models.CharField(
        max_length=64, help_text="SHA-256 of the file as it was sent, in hexadecimal."
    )
    created_at = models.DateTimeField(db_default=Now())

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(
                name="document_of_deck_or_product",
                condition=Q(deck=None, product__isnull=False) | Q(deck__isnull=False, product=None),
            ),
            models.CheckConstraint(name="document_has_title", condition=~Q(title="")),
            models.UniqueConstraint(fields=["deck", "content_hash"], name="document_once_a_deck"),
            models.UniqueConstraint(
                fields=["product", "content_hash"], name="document_once_a_product"
            ),
        ]

    def __str__(self) -> str:
        return self.title

    @property
    def suffix(self) -> str:
        return PurePosixPath(self.file.name or "").suffix

    @property
    def media_type(self) -> str:
        return MEDIA_TYPES.get(self.suffix, "application/octet-stream")

    @property
    def kind_words(self) -> str:
        return "PDF" if self.suffix == ".pdf" else "Picture"

    @property
    def download_name(self) -> str:
        return self.title if self.title.endswith(self.suffix) else f"{self.title}{self.suffix}"
