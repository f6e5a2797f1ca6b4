"""Files that go with a message."""

from django.db import models

from clients.messaging.models.message import Message


class Attachment(models.Model):
    """A file that goes with a message, frozen with it."""

    message = models.ForeignKey(Message, on_delete=models.CASCADE, related_name="attachments")
    name = models.CharField(max_length=120)
    media_type = models.CharField(max_length=120, help_text="Such as application/pdf.")
    content = models.BinaryField()

    class Meta:
        ordering = ["message_id", "id"]

    def __str__(self) -> str:
        return self.name
