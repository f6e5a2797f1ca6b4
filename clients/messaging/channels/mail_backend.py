"""E-mail by a Django mail backend other than SMTP, such as a mail service over HTTP (the extra
`esp`, django-anymail).

A backend does not say how far it got, and only some errors carry the other side's answer. What is
known to have been refused is refused; whatever else goes wrong after the last look is unknown, so
nothing is ever sent twice. Bounces come back to the service and not to us: it reports them to
/hooks/mail/ (clients/messaging/incoming/mail_service.py).
"""

import contextlib
from email.mime.image import MIMEImage
from email.utils import formataddr
from typing import Any

from django.conf import settings
from django.core.exceptions import ImproperlyConfigured
from django.core.mail import EmailMultiAlternatives, get_connection

from clients.messaging import message_keys
from clients.messaging.channels.email import (
    UNPRINTABLE,
    SenderIdentity,
    ascii_domain_address,
    attachments_of,
    unsubscribe_headers,
)
from clients.messaging.channels.transport import (
    SendOutcome,
    SendPermit,
    SendResult,
    TransportDownError,
)
from clients.messaging.models import Message
from clients.messaging.texts import LOGO_CONTENT_ID
from clients.models import Business

BACKEND_LEASE_SECONDS = 300.0  # longer than any HTTP client of a backend waits for an answer
MAX_ERROR_LENGTH = 500
REFUSED_STATUSES = {
    "rejected",
    "invalid",
    "failed",
}  # django-anymail's words for a recipient that was not taken
NOT_NOW_CODES = {401, 402, 403, 425, 429, 503}  # not let in, or told to wait: nothing was taken
UNKNOWN_CODES = {408, 409}
# Raised before anything is sent: a setting of the service, a feature it lacks, something that has
# no form in its words.
PRESEND_ERRORS = {"AnymailUnsupportedFeature", "AnymailSerializationError", "AnymailInvalidAddress"}
METADATA = "metadata"


class MailBackendTransport:
    """Keeps `contract.Line` for whatever `EMAIL_BACKEND` names."""

    lease_seconds = BACKEND_LEASE_SECONDS

    def __init__(self, business: Business) -> None:
        self.identity = SenderIdentity.for_business(business)
        self.backend: Any = None

    @property
    def is_open(self) -> bool:
        return self.backend is not None

    def connect(self) -> None:
        try:
            backend = get_connection(settings.OUTBOX_BACKEND)
            backend.open()
        except (ImproperlyConfigured, ImportError, OSError) as error:
            raise TransportDownError(backend_error_text(error)) from error
        self.backend = backend

    def send(self, message: Message, permit: SendPermit) -> SendOutcome:
        mail = build_django_email(self.identity, message)
        if not permit.is_granted():
            return SendOutcome(SendResult.WITHHELD)
        try:
            count = self.send_mail(mail)
        # a backend may raise anything, and what it raises after sending is not told apart
        except Exception as error:
            self.close()
            return error_outcome(error)
        return backend_outcome(mail, count)

    def send_mail(self, mail: EmailMultiAlternatives) -> int | None:
        """A service that takes no metadata says so before anything is sent: then it gets none."""
        try:
            count: int | None = self.backend.send_messages([mail])
        except Exception as error:
            if type(error).__name__ != "AnymailUnsupportedFeature" or METADATA not in str(error):
                raise
            del mail.metadata  # type: ignore[attr-defined]
            count = self.backend.send_messages([mail])
        return count

    def close(self) -> None:
        backend = self.backend
        self.backend = None
        if backend is not None:
            with contextlib.suppress(Exception):  # nothing hangs on how a service says goodbye
                backend.close()


def build_django_email(head: SenderIdentity, message: Message) -> EmailMultiAlternatives:
    """The same headers as over SMTP; `metadata` carries our key to services that hand it back."""
    link = message_keys.unsubscribe_link(head.business, message)
    own = dict(line.split(": ", 1) for line in unsubscribe_headers(link))
    own |= {"Message-ID": message.message_id, "Auto-Submitted": "auto-generated"}
    mail = EmailMultiAlternatives(
        subject=UNPRINTABLE.sub(" ", message.subject).strip(),
        body=message.text,
        from_email=formataddr(
            (
                UNPRINTABLE.sub(" ", head.business.name).strip(),
                ascii_domain_address(head.business.sender),
            )
        ),
        to=[ascii_domain_address(message.address)],
        reply_to=[head.reply_to],
        headers=own,
    )
    if message.html:
        mail.attach_alternative(message.html, "text/html")
    if head.shows_logo(message):
        picture = MIMEImage(head.logo, "png")
        picture.add_header("Content-ID", f"<{LOGO_CONTENT_ID}>")
        picture.add_header("Content-Disposition", "inline")
        mail.attach(picture)
    for file in attachments_of(message):
        mail.attach(file.name, bytes(file.content), file.media_type.partition(";")[0])
    # django-anymail reads it
    mail.metadata = {"key": metadata_key(message)}  # type: ignore[attr-defined]
    return mail


def metadata_key(message: Message) -> str:
    """What a service hands back with its reports:
    the left part of the Message-ID, short and plain enough for all."""
    return message.message_id.strip("<>").rpartition("@")[0]


def backend_outcome(mail: EmailMultiAlternatives, count: int | None) -> SendOutcome:
    """What a backend that raised nothing says of the one recipient."""
    status = getattr(mail, "anymail_status", None)
    states = set(getattr(status, "status", None) or ())
    number = str(getattr(status, "message_id", None) or "")
    said = ", ".join(sorted(map(str, states)))
    if states & REFUSED_STATUSES:
        return SendOutcome(SendResult.REFUSED, said, number)
    if not count:
        return SendOutcome(
            SendResult.UNKNOWN, "The mail backend says that it sent nothing, and not why.", number
        )
    return SendOutcome(SendResult.ACCEPTED, said or "The mail backend took it.", number)


def error_outcome(error: Exception) -> SendOutcome:
    """From the answer that came with an error, if one did."""
    code = getattr(error, "status_code", None)
    if type(error).__name__ in {"AnymailRecipientsRefused"} | PRESEND_ERRORS:
        return SendOutcome(SendResult.REFUSED, backend_error_text(error))
    if code in NOT_NOW_CODES:
        return SendOutcome(SendResult.NOT_NOW, backend_error_text(error))
    if isinstance(code, int) and 400 <= code < 500 and code not in UNKNOWN_CODES:
        return SendOutcome(SendResult.REFUSED, backend_error_text(error))
    return SendOutcome(SendResult.UNKNOWN, backend_error_text(error))


def backend_error_text(error: Exception) -> str:
    return (" ".join(str(error).split()) or type(error).__name__)[:MAX_ERROR_LENGTH]
