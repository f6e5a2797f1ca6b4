"""What a person signs in with beside the password, and the devices they are signed in on."""

from datetime import datetime

from django.conf import settings
from django.contrib.sessions.models import Session
from django.db import models
from django.db.models import Exists, OuterRef, Q

from clients.sealing import seal, unseal
from clients.signing_in import KnownPasskey


class Authenticator(models.Model):
    """The app whose codes a person types; its key is kept sealed."""

    user = models.OneToOneField(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="authenticator"
    )
    key_sealed = models.CharField(max_length=400)
    last_step = models.BigIntegerField(help_text="Time step of the last code that was accepted.")
    added_at = models.DateTimeField()

    class Meta:
        verbose_name = "authenticator app"

    def __str__(self) -> str:
        return f"Authenticator app of {self.user}"

    @property
    def key(self) -> str:
        """Raises `SealError` if it was sealed with another key."""
        return unseal(self.key_sealed)

    def keep_key(self, key: str) -> None:
        self.key_sealed = seal(key)


class RecoveryCode(models.Model):
    """One of the codes on paper; only its hash is kept, and it opens the account once."""

    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="recovery_codes"
    )
    code_hash = models.CharField(max_length=64)
    used_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["user", "code_hash"], name="recovery_code_once"),
        ]

    def __str__(self) -> str:
        return f"Recovery code {self.pk}"


class Passkey(models.Model):
    """The public half of a passkey; the other stays on the person's device."""

    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="passkeys"
    )
    name = models.CharField(max_length=60)
    credential_id = models.BinaryField(unique=True, max_length=1023)
    public_key = models.BinaryField()
    sign_count = models.BigIntegerField(default=0)
    added_at = models.DateTimeField()
    last_used_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["added_at", "id"]
        constraints = [
            models.CheckConstraint(name="passkey_named", condition=~Q(name="")),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def known(self) -> KnownPasskey:
        return KnownPasskey(bytes(self.credential_id), bytes(self.public_key), self.sign_count)


class DeviceQuerySet(models.QuerySet["Device"]):
    def signed_in(self, *, now: datetime) -> "DeviceQuerySet":
        """Those whose session goes on, the last seen first."""
        going = Session.objects.filter(session_key=OuterRef("session_key"), expire_date__gt=now)
        found = self.filter(Q(ends_at=None) | Q(ends_at__gt=now)).filter(Exists(going))
        return found.order_by("-last_seen_at", "-pk")


class Device(models.Model):
    """A browser that a person has signed in with; known again by the hash of its cookie."""

    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="devices"
    )
    browser_hash = models.CharField(max_length=64)
    words = models.CharField(max_length=80, help_text="Such as “Firefox on a Windows computer”.")
    session_key = models.CharField(max_length=40, blank=True)
    is_trusted = models.BooleanField(default=False, help_text="Stays signed in for 30 days.")
    signed_in_at = models.DateTimeField()
    last_seen_at = models.DateTimeField()
    ends_at = models.DateTimeField(null=True, blank=True, help_text="Then the session is over.")

    objects = DeviceQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["user", "browser_hash"], name="device_once_a_person"),
        ]

    def __str__(self) -> str:
        return self.words
