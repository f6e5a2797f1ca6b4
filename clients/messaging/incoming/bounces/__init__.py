"""What mail servers send back: bounces and other delivery reports, read and made something of exactly once."""

from clients.messaging.incoming.bounces.intake import finish, receive
from clients.messaging.incoming.bounces.mailbox import MailboxError, fetch, is_configured

__all__ = ["MailboxError", "fetch", "finish", "is_configured", "receive"]
