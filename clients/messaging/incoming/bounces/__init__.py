"""What mail servers send back: bounces and other delivery reports, read and made something of
exactly once."""

from clients.messaging.incoming.bounces.intake import finish_bounces, receive_bounce
from clients.messaging.incoming.bounces.mailbox import (
    MailboxError,
    fetch_unseen_mails,
    has_bounce_mailbox,
)

__all__ = [
    "MailboxError",
    "fetch_unseen_mails",
    "finish_bounces",
    "has_bounce_mailbox",
    "receive_bounce",
]
