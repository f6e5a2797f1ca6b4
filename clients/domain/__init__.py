"""Does DNS hold what mailbox providers look for before they believe that a reminder comes from the business?"""

from clients.domain.checking import Finding, check_domain
from clients.domain.dns import Ask, NoAnswerError, ask_dns

__all__ = ["Ask", "Finding", "NoAnswerError", "ask_dns", "check_domain"]
