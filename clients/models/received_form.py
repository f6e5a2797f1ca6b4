"""Forms that came in, by the key of the page that they were filled in on."""

from django.conf import settings
from django.db import models


class ReceivedForm(models.Model):
    """One form that was taken: sent again, by a second press or by a phone that heard no answer,
    it leads where the first one led and writes nothing."""

    form_key = models.UUIDField(primary_key=True)
    address = models.CharField(max_length=200, help_text="Of the page that it led to.")
    received_at = models.DateTimeField()
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL
    )

    def __str__(self) -> str:
        return f"{self.form_key} → {self.address}"
