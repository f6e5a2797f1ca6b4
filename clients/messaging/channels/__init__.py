"""The channels that machines send by: what keeps `transport.Transport` in a module here, and a line
in `TRANSPORTS`."""

from collections.abc import Callable

from django.conf import settings

from clients.messaging.channels import email, mail_backend
from clients.messaging.channels.email import SenderIdentity, mail_connection
from clients.messaging.channels.text import GatewayTransport
from clients.messaging.channels.transport import (
    SendOutcome,
    SendResult,
    Transport,
    TransportDownError,
)
from clients.messaging.models import SMTP_BACKEND
from clients.models import Business, Channel


def email_transport(business: Business) -> Transport:
    """SMTP by our own dialogue, unless the settings name another backend."""
    return (
        email.SmtpTransport(business)
        if settings.OUTBOX_BACKEND == SMTP_BACKEND
        else mail_backend.MailBackendTransport(business)
    )


TRANSPORTS: dict[str, Callable[[Business], Transport]] = {
    str(Channel.EMAIL): email_transport,
    str(Channel.TEXT): GatewayTransport,
}

__all__ = [
    "TRANSPORTS",
    "GatewayTransport",
    "SendOutcome",
    "SendResult",
    "SenderIdentity",
    "Transport",
    "TransportDownError",
    "mail_connection",
]
