"""The mail server that e-mails leave by, where the environment names none."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from clients.sealing import seal, unseal

SMTP_BACKEND = "django.core.mail.backends.smtp.EmailBackend"


class MailServer(models.Model):
    """Host, port and log-in, as entered on a page (a single row); the password is kept sealed."""

    class Security(models.TextChoices):
        STARTTLS = "starttls", "STARTTLS (mostly port 587)"
        TLS = "tls", "TLS from the start (mostly port 465)"
        NONE = "none", "None (only for a server on this machine)"

    host = models.CharField("name of the server", max_length=200)
    port = models.PositiveIntegerField(default=587)
    security = models.CharField(
        "encryption", max_length=8, choices=Security.choices, default=Security.STARTTLS
    )
    username = models.CharField("log-in name", max_length=200, blank=True)
    password_sealed = models.CharField(max_length=1000, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(name="mail_server_is_one_row", condition=Q(id=1)),
            models.CheckConstraint(
                name="mail_server_port_possible", condition=Q(port__gte=1, port__lte=65535)
            ),
        ]

    def __str__(self) -> str:
        return f"{self.host}:{self.port}"

    @classmethod
    def current(cls) -> "MailServer | None":
        return cls.objects.filter(id=1).first()

    @classmethod
    def in_use(cls) -> "MailServer | None":
        """The one entered on the page, unless the environment names a server or another way."""
        if settings.EMAIL_FROM_ENVIRONMENT or settings.OUTBOX_BACKEND != SMTP_BACKEND:
            return None
        return cls.current()

    @property
    def password(self) -> str:
        """Raises `SealError` if it was sealed with another key."""
        return unseal(self.password_sealed)

    def keep_password(self, password: str) -> None:
        self.password_sealed = seal(password)
