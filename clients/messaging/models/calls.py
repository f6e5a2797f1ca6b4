"""What came of a call."""

from django.conf import settings
from django.db import models
from django.db.models.functions import Now

from clients.messaging.models.message import Message


class CallNote(models.Model):
    """How one try to reach a client by telephone ended."""

    class Result(models.TextChoices):
        REACHED = "reached", "Spoke to them"
        LEFT_WORD = "left_word", "Left a message"
        NO_ANSWER = "no_answer", "No answer"
        WRONG = "wrong", "Wrong number"
        STOP = "stop", "Asked not to be called"

    message = models.ForeignKey(Message, on_delete=models.CASCADE, related_name="call_notes")
    at = models.DateTimeField(db_default=Now())
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL
    )
    result = models.CharField(max_length=9, choices=Result.choices)
    note = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering = ["-at", "-id"]

    def __str__(self) -> str:
        return f"{self.get_result_display()} at {self.at:%Y-%m-%d %H:%M}"
