"""Parts of a file that comes over a line that breaks: they wait until the file is whole."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Length
from django.db.models.lookups import GreaterThan, LessThanOrEqual

SHA256_PATTERN = "[0-9a-f]{64}"
MAX_PART_BYTES = 256 * 1024


class UploadPart(models.Model):
    """One stretch of a file, which is known by the SHA-256 of the whole; one person's parts are
    nobody else's."""

    sent_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE)
    sha256 = models.CharField(max_length=64)
    offset = models.PositiveIntegerField(help_text="Bytes of the file before this part.")
    body = models.BinaryField(max_length=MAX_PART_BYTES)
    received_at = models.DateTimeField()

    class Meta:
        ordering = ["sent_by", "sha256", "offset"]
        constraints = [
            models.UniqueConstraint(
                fields=["sent_by", "sha256", "offset"], name="upload_part_lies_there_once"
            ),
            models.CheckConstraint(
                condition=Q(sha256__regex=f"^{SHA256_PATTERN}$"), name="upload_part_hash"
            ),
            models.CheckConstraint(
                condition=Q(GreaterThan(Length("body"), 0))
                & Q(LessThanOrEqual(Length("body"), MAX_PART_BYTES)),
                name="upload_part_size",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.sha256[:8]} from {self.offset}"
