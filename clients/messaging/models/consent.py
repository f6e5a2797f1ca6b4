"""Permission to write to a client, and the addresses that must never be written to again."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from clients.models import Channel, Client


class Consent(models.Model):
    """One entry of the append-only log: a client gave or withdrew permission (a trigger refuses
    changes)."""

    class Basis(models.TextChoices):
        EXPRESS = "express", "Asked and agreed"
        WRITTEN = "written", "Agreed in writing"
        CUSTOMER = "customer", "Existing customer (implied)"
        INQUIRY = "inquiry", "Made an inquiry (implied)"
        REGISTER = "register", "Not on the register of numbers that refuse calls"

    class AskedWhere(models.TextChoices):
        """Where the client was asked, or said it."""

        PAGE = "page", "On their page"
        SIGN_OFF = "sign_off", "At the sign-off"
        TALK = "talk", "Face to face"
        PHONE = "phone", "On the phone"
        PAPER = "paper", "On paper"
        MESSAGE = "message", "In a message"

    client = models.ForeignKey(Client, on_delete=models.CASCADE, related_name="consents")
    channel = models.CharField(max_length=6, choices=Channel.choices)
    is_given = models.BooleanField(help_text="False is a withdrawal.")
    basis = models.CharField(max_length=10, choices=Basis.choices, default=Basis.EXPRESS)
    wording = models.TextField(
        blank=True, max_length=2_000, help_text="The words the client saw or heard."
    )
    evidence = models.CharField(
        max_length=300, blank=True, help_text="Form, message or call that shows it."
    )
    asked_by = models.CharField(
        max_length=100, blank=True, help_text="Who of us asked; empty where nobody did."
    )
    asked_where = models.CharField(max_length=8, choices=AskedWhere.choices, blank=True)
    expires_on = models.DateField(null=True, blank=True)
    recorded_at = models.DateTimeField(db_default=Now())
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL
    )

    class Meta:
        ordering = ["-recorded_at", "-id"]
        indexes = [
            models.Index(
                fields=["client", "channel", "-recorded_at", "-id"], name="consent_newest_first"
            )
        ]
        constraints = [
            models.CheckConstraint(
                name="consent_channel_known", condition=Q(channel__in=Channel.values)
            ),
            models.CheckConstraint(
                name="consent_says_how",
                condition=Q(is_given=False) | ~Q(wording="") | ~Q(evidence=""),
            ),
            models.CheckConstraint(
                name="consent_register_is_of_calls",
                condition=~Q(basis="register") | Q(channel=Channel.CALL),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_channel_display()}: {'given' if self.is_given else 'withdrawn'}"


class Suppression(models.Model):
    """An address that asked not to be written to;
    only a keyed hash is kept, and it outlives the client."""

    channel = models.CharField(max_length=6, choices=Channel.choices)
    address_hash = models.CharField(max_length=64)
    reason = models.CharField(max_length=300)
    created_at = models.DateTimeField(db_default=Now())

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["channel", "address_hash"], name="suppression_once_an_address"
            ),
            models.CheckConstraint(
                name="suppression_hash_is_hex", condition=Q(address_hash__regex=r"^[0-9a-f]{64}$")
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_channel_display()} {self.address_hash[:8]}…"
