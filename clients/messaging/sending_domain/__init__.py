"""Does DNS hold what mailbox providers look for before they believe that a reminder comes from the business?"""

from clients.messaging.sending_domain.checking import Finding, check_domain
from clients.messaging.sending_domain.dns import Ask, NoAnswerError, ask_dns

__all__ = ["Ask", "Finding", "NoAnswerError", "ask_dns", "check_domain"]
