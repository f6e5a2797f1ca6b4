"""The channels that machines can send by. A new one is a class that keeps `contract.Line` in a file, and a line here"""

from collections.abc import Callable

from django.conf import settings

from clients.messaging.channels import backend, email, text
from clients.messaging.channels.contract import Line
from clients.models import Business
from clients.models.channel import Channel

SMTP = "django.core.mail.backends.smtp.EmailBackend"


def email_line(business: Business) -> Line:
    """SMTP by our own dialogue, unless the settings name another backend."""
    return email.SmtpLine(business) if settings.OUTBOX_BACKEND == SMTP else backend.BackendLine(business)


LINES: dict[str, Callable[[Business], Line]] = {
    str(Channel.EMAIL): email_line,
    str(Channel.TEXT): text.GatewayLine,
}
