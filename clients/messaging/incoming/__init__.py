"""What comes in: posts of gateways and mail services, and the mail that mail servers send back."""

from clients.messaging.incoming.intake import (
    ANSWER_SOURCE,
    STATUS_SOURCE,
    finish_events,
    receive_gateway_post,
    receive_returned_mail,
    receive_service_event,
)
from clients.messaging.incoming.mailbox import (
    MailboxError,
    fetch_unseen_mails,
    has_bounce_mailbox,
)
from clients.messaging.incoming.results import (
    BadReportError,
    ForgedError,
    UnknownHookError,
    log_refused_post,
)

__all__ = [
    "ANSWER_SOURCE",
    "STATUS_SOURCE",
    "BadReportError",
    "ForgedError",
    "MailboxError",
    "UnknownHookError",
    "fetch_unseen_mails",
    "finish_events",
    "has_bounce_mailbox",
    "log_refused_post",
    "receive_gateway_post",
    "receive_returned_mail",
    "receive_service_event",
]
