"""The gateway that text messages go through, described by data."""

import hashlib
import hmac

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q


def plain_hook_fields() -> dict[str, str]:
    """Where a plain gateway puts what we read from its reports and answers; a dotted path each."""
    return {
        name: name for name in ("reference", "id", "event_id", "status", "error", "from", "text")
    }


def secret_hash(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()


class TextGateway(models.Model):
    """The HTTP gateway that text messages go through, described by data (a single row)."""

    class Auth(models.TextChoices):
        NONE = "none", "None"
        BASIC = "basic", "Name and password"
        BEARER = "bearer", "Bearer token"
        HEADER = "header", "A header of its own"

    class Body(models.TextChoices):
        JSON = "json", "JSON"
        FORM = "form", "Form fields"

    name = models.CharField(max_length=60, default="Gateway")
    url = models.URLField("address to post to")
    auth = models.CharField(max_length=6, choices=Auth.choices, default=Auth.NONE)
    auth_name = models.CharField("name or header", max_length=120, blank=True)
    auth_secret = models.CharField("password or token", max_length=500, blank=True)
    body = models.CharField(max_length=4, choices=Body.choices, default=Body.JSON)
    template = models.JSONField(
        help_text="Field names of the gateway → {to}, {from}, {text}, {reference}."
    )
    sender = models.CharField(
        "sent from", max_length=20, blank=True, help_text="A number that can be answered."
    )
    id_path = models.CharField(
        "where the answer holds the message's number", max_length=120, default="id"
    )
    refusals = models.JSONField(
        default=dict,
        blank=True,
        help_text="Error code of the gateway → for_good, for_now, opted_out.",
    )
    refusal_path = models.CharField(
        "where the answer holds an error code", max_length=120, default="error", blank=True
    )
    honours_reference = models.BooleanField("sends a repeated reference only once", default=False)
    look_up_url = models.CharField(
        "address to look a message up",
        max_length=300,
        blank=True,
        help_text="With {reference} in it.",
    )
    status_path = models.CharField(
        "where a look-up or status report holds the state", max_length=120, default="status"
    )
    statuses = models.JSONField(
        default=dict,
        blank=True,
        help_text="State of the gateway → delivered, failed, accepted, none.",
    )
    hook_fields = models.JSONField(
        "where reports and answers hold what we read",
        default=plain_hook_fields,
        blank=True,
        help_text=(
            "reference, id, event_id, status, error, from, text → path in what the gateway posts."
        ),
    )
    hook_hash = models.CharField(
        max_length=64, blank=True, help_text="Of the secret in the addresses of our hooks."
    )
    hook_key = models.CharField(
        "signing key", max_length=200, blank=True, help_text="HMAC-SHA256 of the body, if any."
    )
    hook_header = models.CharField("header with the signature", max_length=60, blank=True)
    part_price = models.DecimalField(
        "price of a part",
        max_digits=8,
        decimal_places=5,
        null=True,
        blank=True,
        validators=[MinValueValidator(0)],
        help_text="In the currency of the business.",
    )
    is_on = models.BooleanField("in use", default=False)

    class Meta:
        constraints = [
            models.CheckConstraint(name="text_gateway_is_one_row", condition=Q(id=1)),
            models.CheckConstraint(
                name="part_price_not_below_zero",
                condition=Q(part_price=None) | Q(part_price__gte=0),
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @classmethod
    def current(cls) -> "TextGateway | None":
        """The gateway in use, or None."""
        return cls.objects.filter(id=1, is_on=True).first()

    def knows_hook_secret(self, secret: str) -> bool:
        """Whether the secret in the address of a post is ours; only its hash is kept."""
        return bool(self.hook_hash) and hmac.compare_digest(self.hook_hash, secret_hash(secret))
