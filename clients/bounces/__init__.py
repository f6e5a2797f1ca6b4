"""What mail servers send back: bounces and other delivery reports, read and made something of exactly once."""

from clients.bounces.intake import finish, receive
from clients.bounces.mailbox import MailboxError, fetch, is_configured

__all__ = ["MailboxError", "fetch", "finish", "is_configured", "receive"]
