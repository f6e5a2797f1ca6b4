"""Does DNS hold what mailbox providers look for before they believe that a reminder comes from the
business?"""

from clients.messaging.sending_domain.dns import DnsQuery, NoAnswerError, query_dns
from clients.messaging.sending_domain.dns_checks import Finding, check_domain

__all__ = ["DnsQuery", "Finding", "NoAnswerError", "check_domain", "query_dns"]
