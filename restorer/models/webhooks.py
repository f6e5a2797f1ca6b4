"""Addresses of other programs that are told of what happens in the book, and what they are told."""

import uuid

from django.conf import settings
from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.db.models import Count, Q
from django.db.models.functions import Lower, Now

from clients.sealing import seal, unseal


class WebhookQuerySet(models.QuerySet["Webhook"]):
    def told_of(self, kind: str) -> "WebhookQuerySet":
        return self.filter(is_on=True, kinds__contains=[kind])

    def for_list(self) -> "WebhookQuerySet":
        """With how much waits and how much was set aside."""
        state = WebhookPost.State
        return self.annotate(
            waiting=Count("posts", filter=Q(posts__state__in=[state.WAITING, state.POSTING])),
            set_aside=Count("posts", filter=Q(posts__state=state.SET_ASIDE)),
        ).order_by(Lower("name"), "id")


class Webhook(models.Model):
    """One address, what it is told of, and the secret that signs it."""

    class Kind(models.TextChoices):
        JOB_LOGGED = "job.logged", "A job was logged"
        OFFER_ANSWERED = "offer.answered", "An offer was accepted or declined"
        DECK_DUE = "deck.due", "A deck is due"

    name = models.CharField("program", max_length=80)
    url = models.URLField("address", max_length=500)
    kinds = ArrayField(models.CharField(max_length=20), verbose_name="told of")
    secret_sealed = models.CharField(max_length=500)
    is_on = models.BooleanField("in use", default=True)
    why_off = models.CharField(max_length=300, blank=True)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    made_at = models.DateTimeField(db_default=Now())
    objects = WebhookQuerySet.as_manager()

    class Meta:
        ordering = ["name", "id"]
        constraints = [
            models.CheckConstraint(name="webhook_has_a_name", condition=~Q(name="")),
            models.UniqueConstraint(Lower("name"), name="webhook_once_a_name"),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def secret(self) -> str:
        """Raises `SealError` if it was sealed with another key."""
        return unseal(self.secret_sealed)

    def keep_secret(self, secret: str) -> None:
        self.secret_sealed = seal(secret)

    @property
    def kind_words(self) -> list[str]:
        return [str(self.Kind(kind).label) for kind in self.kinds if kind in self.Kind.values]


class WebhookPost(models.Model):
    """One thing that one address is told, until it was taken or set aside."""

    class State(models.TextChoices):
        WAITING = "waiting", "Waiting"
        POSTING = "posting", "Sending"
        TAKEN = "taken", "Taken"
        SET_ASIDE = "set_aside", "Set aside"

    hook = models.ForeignKey(Webhook, on_delete=models.CASCADE, related_name="posts")
    key = models.CharField(max_length=120, help_text="What happened; told once to each address.")
    event_id = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    kind = models.CharField(max_length=20)
    body = models.TextField(help_text="JSON as it is signed: numbers of rows, nobody's name.")
    state = models.CharField(max_length=9, choices=State.choices, default=State.WAITING)
    attempts = models.PositiveSmallIntegerField(default=0)
    not_before = models.DateTimeField(db_default=Now())
    lease_token = models.UUIDField(null=True, editable=False)
    lease_until = models.DateTimeField(null=True, editable=False)
    reply = models.CharField(max_length=300, blank=True)
    made_at = models.DateTimeField(db_default=Now())
    done_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(fields=["hook", "key"], name="webhook_post_once"),
            models.CheckConstraint(
                name="webhook_post_leased_while_posting",
                condition=Q(state="posting", lease_token__isnull=False, lease_until__isnull=False)
                | (~Q(state="posting") & Q(lease_token=None, lease_until=None)),
            ),
        ]
        indexes = [
            models.Index(
                fields=["not_before", "id"],
                condition=Q(state__in=["waiting", "posting"]),
                name="webhook_post_waiting",
            )
        ]

    def __str__(self) -> str:
        return f"{self.kind} to {self.hook}"


class WebhookAttempt(models.Model):
    """One try: when, and what came back."""

    post = models.ForeignKey(WebhookPost, on_delete=models.CASCADE, related_name="tries")
    at = models.DateTimeField(db_default=Now())
    status = models.PositiveSmallIntegerField(null=True, help_text="Of HTTP; empty: no answer.")
    reply = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["-id"]

    def __str__(self) -> str:
        return f"{self.status or 'no answer'}: {self.reply}"
