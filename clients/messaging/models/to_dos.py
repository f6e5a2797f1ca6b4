"""Matters that only a person can settle."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from clients.messaging.models.message import Message
from clients.models import Client


class ToDoQuerySet(models.QuerySet["ToDo"]):
    def open(self) -> "ToDoQuerySet":
        """Not yet settled."""
        return self.filter(done_at=None)


class ToDo(models.Model):
    """Something only a person can settle; it stays until somebody says it is done."""

    class Kind(models.TextChoices):
        ADDRESS = "address", "An address does not work"
        ANSWER = "answer", "A client answered"
        QUESTION = "question", "A client asked about an offer"
        BOOK = "book", "An accepted offer needs a day"
        TELL = "tell", "A client could not be told"
        DEFECT = "defect", "A deck is dangerous"
        UNREAD = "unread", "Something that came in could not be read"

    kind = models.CharField(max_length=8, choices=Kind.choices)
    key = models.CharField(max_length=120, unique=True, help_text="The same matter makes one row.")
    client = models.ForeignKey(
        Client, null=True, blank=True, on_delete=models.CASCADE, related_name="to_dos"
    )
    message = models.ForeignKey(
        Message, null=True, blank=True, on_delete=models.SET_NULL, related_name="to_dos"
    )
    words = models.CharField(max_length=500)
    url = models.CharField(max_length=300, blank=True, help_text="The page on which it is done.")
    made_at = models.DateTimeField(db_default=Now())
    done_at = models.DateTimeField(null=True, blank=True)
    done_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL
    )

    objects = ToDoQuerySet.as_manager()

    class Meta:
        ordering = ["-made_at", "-id"]
        indexes = [models.Index(fields=["-made_at"], name="to_do_open", condition=Q(done_at=None))]

    def __str__(self) -> str:
        return self.words
